"""Finds every cue in a line and reads the simple slots from them; decides neither intent nor what is kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from dialogue.understanding.convert import convert, tidy
from dialogue.understanding.cuebook import CueBook, Hit
from dialogue.understanding.found import Found, covers, longest, overlaps
from dialogue.understanding.lines import STOPS, Line

NUMERIC = ("plays_per_week", "hours_per_play", "racquet_count", "tension", "date")
"""Slots that compete for the same figures: the longest reading of a figure wins."""
PLAIN = ("level", "season", "sport", "hybrid", "breaks_strings", "plays_per_week", "hours_per_play", "racquet_count")
READING_SLOTS = frozenset({"reading", "baseline"})
COUNT_DAYS = "count_days"
"""The converter of rows that list days of the week."""
DAYS_SLOT = "plays_per_week"
BESIDE = 3
"""How many words may stand between a value, the word that replaces it and the new value."""
NEGATION_REACH = 4
"""How many words may stand between a negating word and what it takes back."""
SILENT_ROLES = frozenset(
    {
        "owner",
        "self",
        "same",
        "before",
        "before_symptom",
        "before_side",
        "after",
        "restate",
        "instead",
        "either",
        "block",
        "anchor",
        "vague",
        "name_end",
    }
)
DENIABLE = frozenset({"symptoms", "hybrid", "level"})


@dataclass(frozen=True)
class Scan:
    """Every cue of one line, by slot."""

    line: Line
    asked: str | None
    hits: Mapping[str, Sequence[Hit]] = field(default_factory=dict)

    @classmethod
    def of(cls, book: CueBook, line: Line, asked: str | None) -> Scan:
        """Return the cues of a line."""
        by_slot: dict[str, list[Hit]] = {}
        for hit in book.find(line, asked):
            by_slot.setdefault(hit.row.slot, []).append(hit)
        return cls(line, asked, by_slot)

    @cached_property
    def blocks(self) -> list[tuple[frozenset[str], tuple[int, int]]]:
        """Spans from which some slots may not be read."""
        return [
            (hit.row.blocks or frozenset({hit.row.slot}), hit.span)
            for hits in self.hits.values()
            for hit in hits
            if hit.row.role == "block"
        ]

    def role(self, slot: str, *roles: str) -> list[Hit]:
        """Return the unblocked hits of a slot in given roles."""
        return [hit for hit in self.hits.get(slot, ()) if hit.row.role in roles and not self.blocked(slot, hit.span)]

    def blocked(self, slot: str, span: tuple[int, int]) -> bool:
        """Tell whether a slot may not be read from a span."""
        return any(slot in slots and overlaps(blocked, span) for slots, blocked in self.blocks)

    @cached_property
    def negated(self) -> list[tuple[int, int]]:
        """Spans of the values that a negating word takes back."""
        targets = sorted(
            [
                (hit.span, hit.row.slot)
                for slot, hits in self.hits.items()
                if slot not in {"negation", "owner", "act", "customer"}
                for hit in hits
                if hit.row.role not in SILENT_ROLES and not self.blocked(slot, hit.span)
            ]
            + [(span, "number") for span in self.line.numbers]
        )
        spans = self._replaced(targets)
        for negator in self.role("negation", "before", "before_symptom", "before_side", "after"):
            if any(covers(span, negator.span) for span, _ in targets):
                continue
            found = self._target(negator, targets)
            if found:
                spans.append(found)
        return spans

    def _replaced(self, targets: list[tuple[tuple[int, int], str]]) -> list[tuple[int, int]]:
        """Return the values that the speaker replaces in the same breath: "fifty five, I mean fifty seven"."""
        spans = []
        for mark in self.role("negation", "instead"):
            after = {slot for span, slot in targets if mark.span[1] <= span[0] and self._beside(mark.span[1], span[0])}
            before = [
                span for span, slot in targets
                if slot in after and span[1] <= mark.span[0] and self._beside(span[1], mark.span[0])
            ]  # fmt: skip
            spans += before
        return spans

    @cached_property
    def replaces(self) -> bool:
        """Tell whether the speaker replaces a value in the same breath."""
        return any(hit.span[0] > span[0] for span in self.negated for hit in self.role("negation", "instead"))

    def _beside(self, end: int, start: int) -> bool:
        between = [word for word in self.line.text[end:start].split() if word not in STOPS]
        return len(between) <= BESIDE

    def _target(self, negator: Hit, targets: list[tuple[tuple[int, int], str]]) -> tuple[int, int] | None:
        if negator.row.role == "after":
            before = [span for span, _ in targets if span[1] <= negator.span[0] and self.near(span[1], negator.span[0])]
            return max(before, key=lambda span: (span[1], span[1] - span[0]), default=None)
        for span, slot in targets:
            if span[0] <= negator.span[0] or span[1] <= negator.span[1]:
                continue
            if negator.row.role == "before_symptom" and slot not in DENIABLE:
                continue
            if negator.row.role == "before_side" and slot != "side":
                continue
            if self.near(negator.span[1], span[0]):
                same_start = [other for other, _ in targets if other[0] == span[0]]
                return max(same_start, key=lambda other: other[1])
            return None
        return None

    def near(self, end: int, start: int) -> bool:
        """Tell whether few words and no stop lie between two places."""
        between = self.line.text[end:start].split()
        return len(between) <= NEGATION_REACH and not any(word in STOPS for word in between)

    def is_negated(self, span: tuple[int, int]) -> bool:
        """Tell whether a value was taken back."""
        return any(overlaps(span, negated) for negated in self.negated)

    @cached_property
    def owners(self) -> list[Hit]:
        """The places where somebody else, or the speaker again, is spoken of."""
        return self.role("owner", "owner", "self")

    def owner_of(self, span: tuple[int, int]) -> str | None:
        """Return whose value a span is; None for the speaker's own."""
        before = [hit for hit in self.owners if hit.span[0] <= span[0] and not covers(span, hit.span)]
        return before[-1].words.strip() if before and before[-1].row.role == "owner" else None

    def held(self, hits: Iterable[Hit]) -> list[Hit]:
        """Return the hits that were not taken back."""
        return [hit for hit in hits if not self.is_negated(hit.span)]


def settle(scan: Scan, pool: Iterable[Hit]) -> list[Hit]:
    """Return the hits that win where several read the same figures, those taken back left out."""
    return scan.held(longest(list(pool)))


def numeric_pool(scan: Scan) -> list[Hit]:
    """Return all cues that read figures, of every slot that competes for them."""
    return [hit for slot in NUMERIC for hit in scan.role(slot, "value", "weekly", "block_value")]


def read_plain(scan: Scan, settled: Sequence[Hit]) -> list[Found]:
    """Return the values of the slots that need nothing but their cues."""
    found = []
    for slot in PLAIN:
        if slot in NUMERIC:
            hits = [hit for hit in settled if hit.row.slot == slot]
        else:
            hits = scan.held(longest(scan.role(slot, "value")))
        if slot == DAYS_SLOT:
            hits = _listed_once(scan, hits)
        for hit in hits:
            value = count_days(scan, hit.span) if hit.row.reads == COUNT_DAYS else convert(hit)
            if value is None:
                continue
            name = "hours_per_week" if hit.row.role == "weekly" else slot
            found.append(make(name, value, hit))
    return found


def _listed_once(scan: Scan, hits: list[Hit]) -> list[Hit]:
    """Return the hits with all lists of days as one, from the first day named to the last."""
    lists = [hit for hit in hits if hit.row.reads == COUNT_DAYS]
    if not lists:
        return hits
    days = [hit.span for hit in scan.role(DAYS_SLOT, "weekday")] if scan.asked == DAYS_SLOT else []
    ends = [*(hit.span for hit in lists), *days]
    whole = replace(lists[0], span=(min(start for start, _ in ends), max(end for _, end in ends)))
    return [*(hit for hit in hits if hit.row.reads != COUNT_DAYS), whole]


def count_days(scan: Scan, span: tuple[int, int]) -> int | None:
    """Return how many different days of the week are named in a span."""
    return len({hit.row.value for hit in scan.role("plays_per_week", "weekday") if covers(span, hit.span)}) or None


def make(slot: str, value: object, hit: Hit, readback: str | None = None) -> Found:
    """Return a candidate for a slot from one hit."""
    return Found(slot, value, hit.span, hit.row.id, hit.row.confidence, readback or hit.row.readback)


def read_symptoms(scan: Scan) -> list[Found]:
    """Return the symptoms that are told of and not denied, and an empty one where all are denied."""
    denials = [(hit.row.value, hit.span) for hit in scan.role("symptoms", "denial")]
    found = []
    for hit in longest(scan.role("symptoms", "value")):
        if hit.row.value == []:
            continue
        denied = any(value == hit.row.value and overlaps(span, hit.span) for value, span in denials)
        if not denied and not scan.is_negated(hit.span):
            found.append(make("symptoms", hit.row.value, hit))
    if not found:
        none = [hit for hit in scan.role("symptoms", "value") if hit.row.value == []]
        found = [make("symptoms", [], hit) for hit in none[:1]]
    return found


def combine_plays(values: Sequence[Found]) -> tuple[Found | None, bool]:
    """Return what several statements of one frequency come to, and whether they contradict each other."""
    first = values[0]
    distinct = list({repr(one.value): one for one in values}.values())
    if len(distinct) == 1:
        return max(values, key=lambda one: one.confidence), False
    last = _ends(values[-1].value)
    if any(low <= last[0] and last[1] <= high for low, high in (_ends(one.value) for one in values[:-1])):
        return values[-1], False
    ends = [end for one in distinct for end in _ends(one.value)]
    low, high = min(ends), max(ends)
    if low > 0 and high <= 2 * low:
        span = (first.span[0], max(one.span[1] for one in values))
        value = {"min": tidy(low), "max": tidy(high)}
        return Found(first.slot, value, span, first.rule, first.confidence, "joined"), False
    return None, True


def _ends(value: object) -> tuple[float, float]:
    if isinstance(value, Mapping):
        return float(value["min"]), float(value["max"])
    return float(str(value)), float(str(value))
