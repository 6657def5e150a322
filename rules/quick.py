"""Judges thousands of times for a search: the same verdict and dates, without trail and sentences."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rules.chain import weigh_evidence
from rules.decision import Decision, Need, Verdict
from rules.due_stage import find_due
from rules.evaluator import Values, fire_rows
from rules.facts import Facts
from rules.interval_stage import Interval, find_interval
from rules.reading_stage import measure
from rules.rulebook import Rulebook
from rules.sentences import Words
from rules.tables import Row
from rules.trail import ASKED_OFFERS, Trail

MOST_REMEMBERED = 50_000
"""Answers kept; a reading's figures make most of them, and those seldom come again."""


@dataclass(frozen=True)
class Judgement:
    """The parts of a decision that a search looks for."""

    verdict: Verdict
    restring_by: dt.date | None
    window: tuple[dt.date, dt.date] | None

    @classmethod
    def of(cls, decision: Decision) -> Judgement:
        """Return these parts of a decision."""
        return cls(decision.verdict, decision.restring_by, decision.window)


@dataclass(frozen=True)
class _NoWords(Words):
    """Says nothing, so that no time goes into sentences that nobody reads."""

    def every(self, *_: Any, **__: Any) -> str:
        """Return nothing, and so do the others."""
        return ""

    date = day = when = plays = figure = reading = overdue = term = terms = every


@dataclass
class SilentTrail(Trail):
    """A trail on which no sentence is written."""

    @property
    def words(self) -> Words:
        """Words that say nothing."""
        return _NoWords(self.book.words)

    def write_with(
        self,
        row: Row,
        values: Values,  # noqa: ARG002 - the trail's own form
        read: Mapping[str, Any],  # noqa: ARG002
        words: Mapping[str, str],  # noqa: ARG002
        *,
        against: bool = False,  # noqa: ARG002
    ) -> None:
        """Remember what a fired row offers, and nothing else."""
        for fact in row.offers:
            self.offer(fact, row, ask=fact in ASKED_OFFERS)


class RememberingEngine:
    """Fires the rows of one rulebook in plain Python and remembers what fired for which values."""

    name = "remembering"

    def __init__(self) -> None:
        self._fired: dict[tuple[Any, ...], tuple[Row, ...]] = {}

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order."""
        key = (table, *values.items())
        rows = self._fired.get(key)
        if rows is None:
            if len(self._fired) >= MOST_REMEMBERED:
                self._fired.clear()
            rows = self._fired[key] = fire_rows(book.tables[table], values)
        return rows


@dataclass(frozen=True)
class Judge:
    """Judges by one rulebook again and again."""

    book: Rulebook
    engine: RememberingEngine = field(default_factory=RememberingEngine)
    intervals: dict[tuple[Any, ...], tuple[Interval, tuple[Need, ...]]] = field(default_factory=dict)
    """Intervals found so far by the facts they rest on."""

    def judge(self, facts: Facts) -> Judgement:
        """Return verdict and dates as `decide` does.

        Raises:
            BookError: when rows of the book fire together that may not.
        """
        trail = SilentTrail(facts, self.book, self.engine)
        interval = self._find_interval(trail)
        due = find_due(trail, interval)
        return Judgement(weigh_evidence(trail, due, measure(trail)), due.restring_by, due.window)

    def _find_interval(self, trail: Trail) -> Interval:
        """Return the interval, found once for each kind of player and stringbed: no day but a season's counts in it."""
        facts = trail.facts
        key = (
            facts.level,
            facts.plays_per_week,
            facts.mains_material,
            facts.crosses_material,
            facts.hybrid,
            facts.league_start is not None,
            facts.unknown,
            facts.sport,
            facts.breaks_strings,
            facts.group,
        )
        found = self.intervals.get(key)
        if found is None:
            found = find_interval(trail), tuple(trail.offered)
            if len(self.intervals) < MOST_REMEMBERED:
                self.intervals[key] = found
        else:
            trail.offered.extend(found[1])
        return found[0]
