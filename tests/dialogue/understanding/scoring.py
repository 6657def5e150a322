"""Scores what was understood against annotated lines: intents, slot values, whole frames."""

from __future__ import annotations

import datetime as dt
import json
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from dateutil.relativedelta import relativedelta

CORPUS = Path(__file__).parent / "corpus.jsonl"
REFERENCE_DAY = dt.date(2026, 11, 24)
"""The day on which the annotated lines were said."""
DATE_SLOTS = frozenset({"strung_on", "label_due", "league_start"})
UNSCORED = frozenset({"hours_per_week", "season", "hybrid"})
"""Said in passing and not always annotated."""
ROUNDING = 0.011
SPAN = re.compile(r"(-?)P(\d+)([DWMY])")
LONG_SLACK = 35
SLACK_DAYS = {"D": 2, "W": 2, "M": 10, "Y": LONG_SLACK}


@dataclass(frozen=True)
class Line:
    """One annotated line."""

    id: str
    text: str
    asked: str | None
    channel: str
    intent: str
    slots: Mapping[str, Any]
    accept: Mapping[str, list[Any]]
    """Other values, or intents, that are as right."""
    tags: tuple[str, ...]

    @property
    def held_out(self) -> bool:
        """True for lines that the cues were not written with."""
        return "held_out" in self.tags


@dataclass
class Score:
    """Counts over lines, and the figures that follow from them."""

    lines: int = 0
    intents_right: int = 0
    frames_right: int = 0
    right: int = 0
    wrong: int = 0
    missed: int = 0
    by_intent: dict[str, list[int]] = field(default_factory=lambda: defaultdict(lambda: [0, 0]))
    misses: list[str] = field(default_factory=list)

    @property
    def intent(self) -> float:
        """Share of lines with the right intent, in %."""
        return 100 * self.intents_right / max(1, self.lines)

    @property
    def mean_recall(self) -> float:
        """Recall of intents, averaged over the intents, in %."""
        return 100 * sum(hit / of for hit, of in self.by_intent.values()) / max(1, len(self.by_intent))

    @property
    def precision(self) -> float:
        """Share of the values that were read which are right, in %."""
        return 100 * self.right / max(1, self.right + self.wrong)

    @property
    def recall(self) -> float:
        """Share of the values that were said which were read, in %."""
        return 100 * self.right / max(1, self.right + self.missed)

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall of values, in %."""
        return 2 * self.precision * self.recall / max(1e-9, self.precision + self.recall)

    @property
    def frame(self) -> float:
        """Share of lines with the intent and every value right, in %."""
        return 100 * self.frames_right / max(1, self.lines)

    def add(self, line: Line, intent: str, slots: Mapping[str, Any]) -> None:
        """Count one line."""
        right, wrong, missed = compare(line, slots)
        hit = intent in (line.intent, *line.accept.get("intent", ()))
        whole = hit and not wrong and not missed
        self.lines += 1
        self.intents_right += hit
        self.frames_right += whole
        self.right, self.wrong, self.missed = self.right + right, self.wrong + wrong, self.missed + missed
        self.by_intent[line.intent][0] += hit
        self.by_intent[line.intent][1] += 1
        if not whole:
            self.misses.append(f"{line.id} {line.text!r} asked={line.asked}: {intent} {dict(slots)}")


def read_corpus(path: Path = CORPUS) -> list[Line]:
    """Return the annotated lines of a file."""
    with path.open(encoding="utf8") as lines:
        return [_line(json.loads(line)) for line in lines]


def _line(raw: Mapping[str, Any]) -> Line:
    return Line(
        raw["id"], raw["text"], raw["asked"], raw["channel"], raw["intent"], raw["slots"],
        raw.get("accept", {}), tuple(raw.get("tags", ())),
    )  # fmt: skip


def score(answers: Iterable[tuple[Line, str, Mapping[str, Any]]]) -> Score:
    """Return the score of lines with their answered intent and slots."""
    total = Score()
    for line, intent, slots in answers:
        total.add(line, intent, slots)
    return total


def compare(line: Line, slots: Mapping[str, Any]) -> tuple[int, int, int]:
    """Return how many values of a line are right, wrong and missed."""
    right = wrong = missed = 0
    for slot in (set(line.slots) | set(slots)) - UNSCORED:
        allowed = [*([line.slots[slot]] if slot in line.slots else []), *line.accept.get(slot, ())]
        if slot == "symptoms" and slot in line.slots:
            said, read = _symptoms(line.slots[slot]), _symptoms(slots.get(slot)) if slot in slots else set()
            right, wrong, missed = right + len(said & read), wrong + len(read - said), missed + len(said - read)
        elif slot not in slots:
            missed += None not in allowed
        elif any(same(slot, one, slots[slot]) for one in allowed if one is not None):
            right += slot in line.slots
        else:
            wrong += 1
            missed += slot in line.slots
    return right, wrong, missed


def _symptoms(value: Any) -> set[str]:
    return set(value or ["none"])


def same(slot: str, said: Any, read: Any) -> bool:
    """Tell whether a value that was read is the one that was said; a date need only fall into what the words allow."""
    if slot in DATE_SLOTS:
        days, middle = allowed_days(said["value"]), _middle(read)
        return days is not None and middle is not None and days[0] <= middle <= days[1]
    if isinstance(said, Mapping):
        return isinstance(read, Mapping) and all(same("", value, read.get(key)) for key, value in said.items())
    if isinstance(said, bool) or said is None or isinstance(said, list):
        return said == read
    if isinstance(said, (int, float)):
        return isinstance(read, (int, float)) and abs(said - read) <= ROUNDING
    return str(said).lower() == str(read).lower()


def _middle(read: Any) -> dt.date | None:
    days = allowed_days(read["value"]) if isinstance(read, Mapping) else None
    return days[0] + (days[1] - days[0]) / 2 if days else None


def allowed_days(value: str) -> tuple[dt.date, dt.date] | None:
    """Return the first and the last day that a date value allows."""
    if span := SPAN.fullmatch(value):
        sign, number, unit = -1 if span[1] else 1, int(span[2]), span[3]
        name = {"D": "days", "W": "weeks", "M": "months", "Y": "years"}[unit]
        day = REFERENCE_DAY + relativedelta(**{name: sign * number})  # type: ignore[arg-type]
        slack = dt.timedelta(LONG_SLACK if unit == "M" and number >= 12 else SLACK_DAYS[unit])
        return day - slack, day + slack
    parts = [int(part) for part in value.split("-")]
    first = dt.date(*parts, *([1] * (3 - len(parts))))
    length = {1: relativedelta(years=1), 2: relativedelta(months=1), 3: relativedelta(days=1)}[len(parts)]
    return first, first + length - dt.timedelta(1)


def by_held_out(lines: Iterable[Line]) -> Iterator[tuple[bool, list[Line]]]:
    """Yield the lines the cues were written with, and those held out."""
    everything = list(lines)
    for held_out in (False, True):
        yield held_out, [line for line in everything if line.held_out == held_out]
