"""Readings of the stringbed: which figure is fresh, which later, and of what instrument; knows no other slot."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from dialogue.understanding.convert import tidy
from dialogue.understanding.cuebook import CUE_FOLDER, Hit, read_cues
from dialogue.understanding.cues import Scan
from dialogue.understanding.found import Found, overlaps
from dialogue.understanding.lines import IS_NUMBER

BASELINE, READING = "baseline", "reading"
NOW = "now"
MOST_FIGURES = 12
"""Figures of one turn that are weighed; who says more is not reading an instrument out."""
"""Value of the row whose words can only mean the later reading."""
OTHER = {BASELINE: READING, READING: BASELINE}
ROLES = {"baseline": BASELINE, "weak_baseline": BASELINE, "reading": READING, "weak_reading": READING}
ASKED = frozenset({BASELINE, READING})
CHECKED = "reading.checked"
"""The row of a check with its figures right behind it."""
FARTHEST = 9
FARTHEST_LETTERS = 90
"""Farther apart than this no mark and figure belong together; spares counting the words between."""
CROSSING = 4
WEAKER = {"weak_baseline": 0.75, "weak_reading": 0.75, "reading": 3}
"""How much farther a mark counts that says less: "reads" may stand before either figure."""


class ReadingWords:
    """The reading file's own settings."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("readings.yaml", folder)
        self.strong = frozenset(f"reading.{name}" for name in table["strong"])


def speaks_of_readings(scan: Scan, words: ReadingWords) -> bool:
    """Tell whether a line is about readings at all."""
    if scan.asked in ASKED:
        return True
    return any(hit.row.id in words.strong for hit in _cues(scan))


def _cues(scan: Scan) -> list[Hit]:
    return scan.held(
        scan.role("reading", "kind", "baseline", "weak_baseline", "reading", "weak_reading", "number", "hertz_pair")
    )


def read_readings(scan: Scan, settled: Sequence[Hit]) -> list[Found]:
    """Return the fresh and the later reading of a line that talks of readings."""
    numbers = _numbers(scan, settled)[:MOST_FIGURES]
    if not numbers:
        return []
    roles = _share(scan, numbers)
    kinds = [hit for hit in _cues(scan) if hit.row.role == "kind"]
    found = []
    for slot in (READING, BASELINE):
        chosen = [(span, value) for span, value in numbers if roles.get(span) == slot]
        if not chosen:
            continue
        span, value = chosen[-1] if scan.asked == "confirm" else chosen[0]
        found.append(_found(slot, (span, value), [value for _, value in chosen], kinds))
    return found


def _found(slot: str, number: tuple[tuple[int, int], float], repeats: Sequence[float], kinds: Sequence[Hit]) -> Found:
    span, value = number
    # Of two that lie as near, the one that need not be read back: "37 kgf/cm" is no bare "37 kilos".
    kind = min(kinds, key=lambda hit: (_gap(hit.span, span), hit.row.readback is not None), default=None)
    said: dict[str, Any] = {"value": tidy(value), "kind": kind.row.value if kind else None}
    if len(repeats) > 1:
        said = {
            "value": tidy(sum(repeats) / len(repeats)),
            "kind": said["kind"],
            "values": [tidy(one) for one in repeats],
        }
    readback = kind.row.readback if kind else None
    return Found(slot, said, span, f"reading.{slot}", 0.95, readback)


def _gap(one: tuple[int, int], other: tuple[int, int]) -> int:
    return max(one[0] - other[1], other[0] - one[1], 0)


def _numbers(scan: Scan, settled: Sequence[Hit]) -> list[tuple[tuple[int, int], float]]:
    taken = [hit.span for hit in settled]
    pairs = [hit for hit in scan.role("reading", "hertz_pair") if _is_pair(hit)]
    numbers: list[tuple[tuple[int, int], float]] = [
        (hit.span, float(f"{hit.groups['n']}{hit.groups['m']}")) for hit in pairs
    ]
    for token, start in zip(scan.line.tokens, scan.line.starts, strict=True):
        span = (start, start + len(token.word) + 1)
        if not IS_NUMBER.match(token.word) or any(overlaps(span, other.span) for other in pairs):
            continue
        if any(overlaps(span, other) for other in taken) or scan.is_negated(span):
            continue
        if scan.blocked(READING, span):
            continue
        numbers.append((span, float(token.word)))
    return sorted(numbers)


def _is_pair(hit: Hit) -> bool:
    """Tell whether "five twelve" means 512."""
    first, second = hit.groups["n"] or "", hit.groups["m"] or ""
    return first.isdigit() and second.isdigit() and len(first) == 1 and len(second) == 2  # noqa: PLR2004 - digits


def _share(scan: Scan, numbers: Sequence[tuple[tuple[int, int], float]]) -> Mapping[tuple[int, int], str]:
    marks = sorted((hit for hit in _cues(scan) if hit.row.role in ROLES), key=_begin)
    plain = [hit for hit in marks if not hit.row.role.startswith("weak")]
    if len(numbers) == 1:
        return {numbers[0][0]: _only(scan, numbers[0][0], marks)}
    if (whole := _two_by_two(scan, numbers, marks)) is not None:
        return whole
    pairs = sorted(
        (_distance(scan, hit, span, marks), index, span, ROLES[hit.row.role])
        for index, hit in enumerate(marks)
        for span, _ in numbers
        if _gap(hit.span, span) <= FARTHEST_LETTERS
    )
    roles: dict[tuple[int, int], str] = {}
    used: set[int] = set()
    for distance, index, span, role in pairs:
        if distance <= FARTHEST and span not in roles and index not in used:
            roles[span] = role
            used.add(index)
    default = scan.asked if scan.asked in ASKED else READING
    if any(hit.row.id == CHECKED for hit in marks) and set(roles.values()) <= {READING}:
        # "Check Tobias: 27 and 28" is one check with its repeats.
        return dict.fromkeys((span for span, _ in numbers), READING)
    said = set(roles.values())
    rest = [span for span, _ in numbers if span not in roles]
    if len(said) == 1 and len(rest) > 1 and not scan.asked:
        # "Baseline 38, 37 and 39": read several times, and named once.
        return {**dict.fromkeys(rest, next(iter(said))), **roles}
    for span in rest:
        roles[span] = (
            OTHER[next(iter(said))] if len(said) == 1 and len(rest) == 1 and (plain or not scan.asked) else str(default)
        )
    return roles


def _two_by_two(
    scan: Scan, numbers: Sequence[tuple[tuple[int, int], float]], marks: Sequence[Hit]
) -> Mapping[tuple[int, int], str] | None:
    """Return the roles of two figures where both roles are named: of the two ways the one that lies closer."""
    if len(numbers) != len((BASELINE, READING)):
        return None
    first, second = (span for span, _ in numbers)
    ways = []
    for roles in ((BASELINE, READING), (READING, BASELINE)):
        near = [
            min((_distance(scan, hit, span, ()) for hit in marks if ROLES[hit.row.role] == role), default=None)
            for span, role in zip((first, second), roles, strict=True)
        ]
        if None in near:
            return None
        ways.append((sum(one for one in near if one is not None), dict(zip((first, second), roles, strict=True))))
    return min(ways, key=lambda way: way[0])[1]


def _only(scan: Scan, span: tuple[int, int], marks: Sequence[Hit]) -> str:
    strong = [hit for hit in marks if hit.row.role in {"baseline", "weak_reading"}]
    if scan.asked in ASKED:
        fresh = any(hit.row.role == "baseline" for hit in marks)
        now = any(hit.row.value == NOW for hit in marks)
        if fresh != now:
            return BASELINE if fresh else READING
        return str(scan.asked)
    if any(hit.row.role == "baseline" for hit in strong):
        near = min(marks, key=lambda hit: (_distance(scan, hit, span, ()), hit.row.role != "baseline"))
        named = [hit for hit in marks if hit.row.role in {"baseline", "reading"}]
        near = (
            min(named, key=lambda hit: (hit.row.role != "baseline", _gap(hit.span, span)))
            if len(named) > 1 and near.row.role == "weak_reading"
            else near
        )
        return ROLES[near.row.role] if near.row.role != "reading" else BASELINE
    return READING


def _begin(hit: Hit) -> int:
    return hit.span[0]


def _distance(scan: Scan, hit: Hit, span: tuple[int, int], marks: Sequence[Hit]) -> float:
    """Return how far a mark lies from a figure, in words; what lies between counts more, of marks in their order."""
    before = hit.span[1] <= span[0]
    low, high = (hit.span[1], span[0]) if before else (span[1], hit.span[0])
    words = scan.line.text[low:high].split() if low < high else []
    stops = sum(word in scan.line.breaks for word in words)
    between = marks[bisect_left(marks, low, key=_begin) : bisect_left(marks, high, key=_begin)]
    crossed = sum(1 for other in between if other is not hit and other.span[1] <= high)
    numbers = sum(bool(IS_NUMBER.match(word)) for word in words)
    weak = WEAKER.get(hit.row.role, 0)
    return len(words) + 2 * stops + CROSSING * (crossed + numbers) + (0 if before else 0.6) + weak
