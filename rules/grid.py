"""The values a fact could have instead, the nearest first: a fact's real range on the grid of explain.yaml."""

from __future__ import annotations

import datetime as dt
import itertools
import math
from collections.abc import Callable, Container, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any

from rules.book_format import OWN
from rules.decision import Decision
from rules.explain_words import GridSpec, load_grid
from rules.facts import Day, Fact, Facts, Level, Material, Reading, Span, Sport, Symptom
from rules.measurement import exact, mean
from rules.rulebook import Rulebook

TODAY = "today"
SIDES = {"mains_material": "crosses_material", "crosses_material": "mains_material"}


@dataclass(frozen=True)
class Candidate:
    """The facts with one of them changed."""

    fact: str
    facts: Facts
    steps: int
    """How many steps of the grid it is away; 1 for another word."""
    unit: str = ""
    """One step in words; empty where the change is one of kind."""
    size: str = ""
    """The size of a step as a figure."""

    @property
    def on_scale(self) -> bool:
        """Tell whether the change is one of degree."""
        return bool(self.unit)


def list_candidates(
    facts: Facts, book: Rulebook, decision: Decision, left_alone: Container[str] = ()
) -> Iterator[Iterator[Candidate]]:
    """Yield for each fact a rule may read its changes, the nearest first.

    A fact that is not known is changed only where the decision waits for it or could use it: the needed ones,
    those that are asked, and a reading where there is a baseline.
    """
    wanted = {need.fact for need in decision.needs} | {need.fact for need in decision.strengthens if need.ask}
    scales = _Scales(facts, book, load_grid())
    if TODAY not in left_alone:
        yield scales.todays()
    for fact, list_values in _listers(scales).items():
        if fact in left_alone:
            continue
        open_to_change = fact in wanted or fact in ALWAYS
        if fact in MEASURED:
            open_to_change = fact == Fact.READING and bool(facts.baseline)
        if facts.known(fact) or open_to_change:
            yield list_values(fact)


MEASURED = frozenset({Fact.READING, Fact.BASELINE})
ALWAYS = frozenset({Fact.SYMPTOMS, Fact.SPORT, Fact.BREAKS_STRINGS, Fact.GROUP})
"""Facts that may always be added: somebody may notice something any day; the others a shop's own row reads."""


def _listers(scales: _Scales) -> Mapping[str, Callable[[str], Iterator[Candidate]]]:
    own = scales.book.tables.get(OWN)
    read_by_shop = {name for row in own.rows for name in row.when} if own else set()
    listers: dict[str, Callable[[str], Iterator[Candidate]]] = {
        Fact.PLAYS_PER_WEEK: scales.plays,
        Fact.STRUNG_ON: scales.days,
        Fact.LEAGUE_START: scales.days,
        Fact.LABEL_DUE: scales.days,
        Fact.READING: scales.readings,
        Fact.BASELINE: scales.readings,
        Fact.LEVEL: scales.words,
        Fact.MAINS_MATERIAL: scales.words,
        Fact.CROSSES_MATERIAL: scales.words,
        Fact.SYMPTOMS: scales.symptoms,
        Fact.SPORT: scales.words,
        Fact.BREAKS_STRINGS: scales.words,
        Fact.GROUP: scales.words,
    }
    return {
        fact: lister for fact, lister in listers.items() if fact in read_by_shop or fact not in READ_BY_OWN_ROWS_ALONE
    }


READ_BY_OWN_ROWS_ALONE = frozenset({Fact.SPORT, Fact.BREAKS_STRINGS, Fact.GROUP})
WORDS: Mapping[str, tuple[Any, ...]] = {
    Fact.LEVEL: tuple(Level),
    Fact.MAINS_MATERIAL: tuple(Material),
    Fact.CROSSES_MATERIAL: tuple(Material),
    Fact.SPORT: tuple(Sport),
    Fact.BREAKS_STRINGS: (True, False),
}
"""What a fact that is a word may be."""


@dataclass(frozen=True)
class _Scales:
    """Lists the changes of one fact of some facts."""

    facts: Facts
    book: Rulebook
    grid: Mapping[str, GridSpec]

    def _change(self, fact: str, value: Any, steps: int, spec: GridSpec | None = None) -> Candidate:
        changes = {fact: value}
        if self.facts.hybrid is False and fact in SIDES:
            changes[SIDES[fact]] = value
        unknown = self.facts.unknown - {fact}
        unit, size = (spec.unit, f"{spec.step:g}") if spec else ("", "")
        return Candidate(fact, self.facts.change(**changes, unknown=unknown), steps, unit, size)

    def plays(self, fact: str) -> Iterator[Candidate]:
        """Yield plays a week on their grid; a range moves as a whole."""
        spec, limits = self.grid[fact], self.book.limits.ranges[fact]
        known: Span | None = getattr(self.facts, fact)
        if known is None:
            for steps, value in enumerate(_multiples(spec, limits), 1):
                yield self._change(fact, Span(float(value), float(value)), steps)
            return
        if known.low == known.high:
            for steps, value in _nearest(spec, limits, exact(known.low)):
                yield self._change(fact, Span(float(value), float(value)), steps, spec)
            return
        for steps in itertools.count(1):
            shift = float(exact(spec.step) * steps)
            moved = [Span(known.low + way, known.high + way) for way in (-shift, shift)]
            inside = [span for span in moved if limits[0] <= span.low and span.high <= limits[1]]
            if not inside:
                return
            yield from (self._change(fact, span, steps, spec) for span in inside)

    def days(self, fact: str) -> Iterator[Candidate]:
        """Yield days around the known one, or around today where none is known."""
        spec = self.grid["days"]
        known: Day | None = getattr(self.facts, fact)
        base = known.day if known else self.facts.today
        first, last = (int(year) for year in self.book.limits.ranges["year"])
        for steps in range(1 if known else 0, spec.reach + 1):
            for way in (-1, 1) if steps else (1,):
                day = base + dt.timedelta(days=way * steps)
                if not first <= day.year <= last or (fact == Fact.STRUNG_ON and day > self.facts.today):
                    continue
                changed = Day(day, known.approx if known else False)
                yield self._change(fact, changed, max(steps, 1), spec if known else None)

    def todays(self) -> Iterator[Candidate]:
        """Yield the days to come on which the same question may be asked."""
        spec, last = self.grid["days"], int(self.book.limits.ranges["year"][1])
        # A reading without a day was taken today, and stays so when the question is asked later.
        readings = tuple(
            reading if reading.taken_on else replace(reading, taken_on=self.facts.today)
            for reading in self.facts.reading
        )
        for steps in range(1, spec.reach + 1):
            day = self.facts.today + dt.timedelta(days=steps)
            if day.year > last:
                return
            facts = self.facts.change(today=day, reading=readings)
            yield Candidate(TODAY, facts, steps, spec.unit, f"{spec.step:g}")

    def readings(self, fact: str) -> Iterator[Candidate]:
        """Yield other figures for each reading, or a first reading where only the baseline is known."""
        known: tuple[Reading, ...] = getattr(self.facts, fact)
        if known:
            lists = [self._figures(fact, known, index) for index in range(len(known))]
        else:
            fresh = replace(self.facts.baseline[-1], taken_on=None, estimated=False)
            lists = [self._figures(fact, (fresh,), 0)]
        merged = [candidate for figures in lists for candidate in figures]
        yield from sorted(merged, key=lambda candidate: candidate.steps)

    def _figures(self, fact: str, readings: tuple[Reading, ...], index: int) -> Iterator[Candidate]:
        reading = readings[index]
        spec = self.grid[reading.kind or "unnamed"]
        limits = self.book.limits.ranges[reading.kind or "unnamed_reading"]
        for steps, value in _nearest(spec, limits, mean(reading)):
            if fact == Fact.BASELINE and value <= 0:
                continue
            changed = replace(reading, values=(float(value),))
            yield self._change(fact, (*readings[:index], changed, *readings[index + 1 :]), steps, spec)

    def words(self, fact: str) -> Iterator[Candidate]:
        """Yield every other word; a full bed that was said to be one stays one."""
        known = getattr(self.facts, fact)
        options = self.book.tables[OWN].inputs[fact].one_of if fact == Fact.GROUP else WORDS[fact]
        yield from (self._change(fact, option, 1) for option in options if option != known)

    def symptoms(self, fact: str) -> Iterator[Candidate]:
        """Yield one symptom more, and each of those there are taken away."""
        known = self.facts.symptoms or ()
        for symptom in Symptom:
            if symptom not in known:
                yield self._change(fact, (*known, symptom), 1)
        for symptom in known:
            yield self._change(fact, tuple(one for one in known if one is not symptom), 1)


def _multiples(spec: GridSpec, limits: tuple[float, float]) -> list[Fraction]:
    """Return every multiple of the step within the limits."""
    step, (low, high) = exact(spec.step), limits
    first, last = -(-exact(low) // step), exact(high) // step
    return [step * number for number in range(int(first), int(last) + 1)]


def _nearest(spec: GridSpec, limits: tuple[float, float], known: Fraction) -> list[tuple[int, Fraction]]:
    """Return the values other than the known one by their distance from it in steps, the lower first."""
    values = sorted(
        (value for value in _multiples(spec, limits) if value != known), key=lambda value: (abs(value - known), value)
    )
    return [(math.ceil(abs(value - known) / exact(spec.step)), value) for value in values]
