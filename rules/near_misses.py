"""Why it is not another verdict, and not later: the rows that did not fire and what stopped each; changes no fact."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Any

from rules.book_format import OWN, Scalar
from rules.chain import decide
from rules.decision import Decision, Step, Verdict
from rules.evaluator import NearMiss, PlainEngine, Values, find_near_misses
from rules.explain import begin_small
from rules.explain_words import ExplainWords, load_words
from rules.facts import Facts
from rules.measurement import exact
from rules.rulebook import Rulebook
from rules.sentences import Words
from rules.tables import Row

FED_BY: Mapping[tuple[str, str], tuple[str, str]] = {
    ("verdict", "measured"): ("reading", "measured"),
    ("interval", "stringbed"): ("stringbed", "stringbed"),
    ("own", "stringbed"): ("stringbed", "stringbed"),
}
"""Inputs that another table gives: table and column -> the table and the key it gives."""
NOTHING: tuple[Scalar | None, ...] = (None, "none", False)
"""What an input says where there is no such evidence at all."""


@dataclass(frozen=True)
class Stop:
    """One condition that did not hold."""

    input: str
    needs: str
    """What it would have taken, in words."""
    met: str
    """What it met instead."""
    value: Scalar | None
    """None when it is not known."""

    def to_dict(self) -> dict[str, Any]:
        """Return the stop as JSON."""
        return {"input": self.input, "needs": self.needs, "met": self.met, "value": self.value}


@dataclass(frozen=True)
class Miss:
    """A row that did not fire and all that stopped it."""

    row: str
    table: str
    stops: tuple[Stop, ...]
    below: tuple[Miss, ...] = ()
    """The rows that would have given what was missing, each with what stopped it."""
    day: dt.date | None = None
    """The last day to restring, had this row fired: for "why not later?" alone."""

    def to_dict(self) -> dict[str, Any]:
        """Return the miss as JSON."""
        found: dict[str, Any] = {"row": self.row, "table": self.table, "stops": [stop.to_dict() for stop in self.stops]}
        if self.below:
            found["below"] = [miss.to_dict() for miss in self.below]
        if self.day:
            found["restring_by"] = self.day.isoformat()
        return found


@dataclass(frozen=True)
class WhyNot:
    """Why an answer is not another one."""

    asked: str
    """A verdict, or "later"."""
    holds: bool
    """True when it is just that."""
    misses: tuple[Miss, ...]
    """The rows that would have said so, the nearest miss first."""
    beaten: tuple[str, ...] = ()
    """Rows that say so and fire, but stand behind the one that decides."""
    lines: tuple[str, ...] = ()
    """All of it in words."""
    rows: tuple[str, ...] = ()
    """The row that each line speaks of; empty where it speaks of none."""

    def with_rows(self, words: ExplainWords) -> tuple[str, ...]:
        """Return the lines for a trainee, each with its row set apart."""
        told = zip(self.lines, self.rows, strict=True)
        return tuple(words.say("trail", "aside", text=text, row=row) if row else text for text, row in told)

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {
            "asked": self.asked,
            "holds": self.holds,
            "beaten": list(self.beaten),
            "misses": [miss.to_dict() for miss in self.misses],
            "lines": list(self.lines),
        }


class RecordingEngine(PlainEngine):
    """Fires rows in plain Python and keeps what every table was told."""

    name = "recording"

    def __init__(self) -> None:
        self.told: list[tuple[str, Mapping[str, Scalar]]] = []

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order."""
        self.told.append((table, dict(values)))
        return super().fire(book, table, values)


class ForcingEngine(PlainEngine):
    """Fires rows in plain Python, but in one table a given row alone: what would be, had it fired."""

    name = "forcing"

    def __init__(self, row: Row) -> None:
        self.row = row

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, or the given one."""
        return (self.row,) if table == self.row.table else super().fire(book, table, values)


@dataclass(frozen=True)
class Replayed:
    """A decision with what each table was told on the way."""

    facts: Facts
    book: Rulebook
    decision: Decision
    told: tuple[tuple[str, Mapping[str, Scalar]], ...]
    words: ExplainWords = field(repr=False)

    @cached_property
    def chart_only(self) -> Decision:
        """The decision had there been no label."""
        return decide(replace(self.facts, label_due=None), self.book, PlainEngine())

    @cached_property
    def days(self) -> Mapping[str, str]:
        """The days of label and chart, in words."""
        label, chart = self.facts.label_due, self.chart_only
        window = chart.window and [self.words.date(day) for day in chart.window]
        return {
            "label_due": self.words.words.day(label) if label else "",
            "chart_due": self.words.date(chart.restring_by) if chart.restring_by else "",
            "window": self.book.words["span"].format(low=window[0], high=window[1]) if window else "",
        }

    @classmethod
    def of(cls, facts: Facts, book: Rulebook) -> Replayed:
        """Decide and keep what every table was told."""
        engine = RecordingEngine()
        decision = decide(facts, book, engine)
        return cls(facts, book, decision, tuple(engine.told), load_words(book))

    def inputs(self, table: str) -> Mapping[str, Scalar]:
        """Return what a table was told last; nothing where it was never reached."""
        return next((values for name, values in reversed(self.told) if name == table), {})

    def misses(self, table: str) -> tuple[Miss, ...]:
        """Return the rows of a table that did not fire, the nearest miss first."""
        values = self.inputs(table)
        found = find_near_misses(self.book.tables[table], values) if table in self.book.tables else ()
        return tuple(self._miss(miss, values) for miss in found)

    def _miss(self, miss: NearMiss, values: Mapping[str, Scalar]) -> Miss:
        table = miss.row.table
        stops = tuple(
            Stop(
                name,
                self.words.needs(table, name, miss.row.when[name]),
                self.words.met(table, name, values.get(name), self.days),
                values.get(name),
            )
            for name in miss.stopped_by
        )
        below = list(self._below(miss))
        fewest = min((len(one.stops) for one in below), default=0)
        return Miss(miss.row.id, table, stops, tuple(one for one in below if len(one.stops) == fewest))

    def _below(self, miss: NearMiss) -> Iterator[Miss]:
        """Yield the rows of another table that would have given what this one needs."""
        for name in miss.stopped_by:
            table, key = FED_BY.get((miss.row.table, name), ("", ""))
            if not table or not self.inputs(table):
                continue
            wanted = miss.row.when[name].one_of
            for below in self.misses(table):
                if self.book.row(below.row).gives.get(key) in wanted:
                    yield below

    def line(self, miss: Miss, key: str = "miss", verdict: str = "") -> str:
        """Return what a row would have taken and what it met."""
        needs = self.words.both([stop.needs for stop in miss.stops])
        met = self.words.both(dict.fromkeys(stop.met for stop in miss.stops))
        return self.words.say("why_not", key, needs=needs, met=met, verdict=verdict)


def explain_why_not(facts: Facts, book: Rulebook, verdict: Verdict) -> WhyNot:
    """Return which rows would have given another verdict, and what stopped each of them.

    Args:
        facts: what is known.
        book: the rulebook.
        verdict: the verdict asked about; the one that was given is said to hold.
    """
    replayed = Replayed.of(facts, book)
    if verdict is replayed.decision.verdict:
        return _holds(replayed, verdict)
    if verdict is Verdict.NEED_MORE:
        winner = _winner(replayed)
        line = replayed.words.say("why_not", "not_open", says=begin_small(winner.says))
        return WhyNot(verdict.value, holds=False, misses=(), lines=(line,), rows=(winner.row,))
    wanted = {row.id for row in book.tables["verdict"].rows if row.gives["verdict"] == verdict}
    fired = [step for step in replayed.decision.trail if step.table == "verdict" and step.row in wanted]
    misses = [miss for miss in replayed.misses("verdict") if miss.row in wanted]
    misses.sort(key=_without_evidence)
    told = [(_beaten_line(replayed, step), step.row) for step in fired]
    for number, miss in enumerate(misses):
        key = "miss" if number else "first_miss"
        told.append((replayed.line(miss, key, replayed.words.verdict(verdict)), miss.row))
        told += [(replayed.line(below, "below"), below.row) for below in miss.below]
    for need in replayed.decision.needs:
        fact = replayed.words.fact(need.fact)
        told.append((replayed.words.say("stringer", "need", fact=fact, because=need.because), need.row))
    beaten = tuple(step.row for step in fired)
    return _told(WhyNot(verdict.value, holds=False, misses=tuple(misses), beaten=beaten), told)


def _told(why: WhyNot, told: Iterable[tuple[str, str]]) -> WhyNot:
    """Return the answer with its lines and the row of each; what is told once is not told again."""
    rows = dict(told)
    return replace(why, lines=tuple(rows), rows=tuple(rows.values()))


def _without_evidence(miss: Miss) -> int:
    """Return for how many of its inputs there is no evidence at all: such a row is no near miss."""
    return sum(stop.value in NOTHING for stop in miss.stops)


def _holds(replayed: Replayed, verdict: Verdict) -> WhyNot:
    told = replayed.words.verdict(verdict)
    if verdict is Verdict.NEED_MORE:
        needs = replayed.words.also([replayed.words.fact(need.fact) for need in replayed.decision.needs] or [told])
        line = replayed.words.say("why_not", "holds_open", verdict=told, needs=needs)
    else:
        line = replayed.words.say("why_not", "holds", verdict=told, says=_winner(replayed).says)
    row = "" if verdict is Verdict.NEED_MORE else _winner(replayed).row
    return WhyNot(verdict.value, holds=True, misses=(), lines=(line,), rows=(row,))


def _winner(replayed: Replayed) -> Step:
    return next(step for step in replayed.decision.trail if step.table == "verdict")


def _beaten_line(replayed: Replayed, step: Step) -> str:
    winner = _winner(replayed)
    return replayed.words.say(
        "why_not",
        "beaten",
        says=begin_small(step.says),
        winner_says=begin_small(winner.says),
    )


MOST_LATER = 4
"""Rows that are told of when asked "why not later?"; all of them are found."""
DATED = ("due", "latest", "label")
"""The tables that set the day."""


def explain_why_not_later(facts: Facts, book: Rulebook) -> WhyNot:
    """Return what sets the day to restring, and the rows of the chart that would give a later one."""
    replayed = Replayed.of(facts, book)
    day = replayed.decision.restring_by
    if day is None:
        line = replayed.words.say("why_not_later", "none")
        return WhyNot("later", holds=False, misses=(), lines=(line,), rows=("",))
    later = _later_rows(replayed, day)
    told = [*_what_sets(replayed, day), *((_later_line(replayed, miss), miss.row) for miss in later[:MOST_LATER])]
    if not later:
        told.append((replayed.words.say("why_not_later", "latest"), ""))
    return _told(WhyNot("later", holds=False, misses=tuple(later)), told)


def _later_rows(replayed: Replayed, day: dt.date) -> list[Miss]:
    """Return the rows of the chart that would give a later day, by what stops them and then the earliest day."""
    found = []
    for miss in replayed.misses("interval") if replayed.inputs("interval") else ():
        forced = decide(replayed.facts, replayed.book, ForcingEngine(replayed.book.row(miss.row)))
        if _has_chart_day(forced) and forced.restring_by and forced.restring_by > day:
            found.append(replace(miss, day=forced.restring_by))
    return sorted(found, key=lambda miss: (len(miss.stops), miss.day))


def _has_chart_day(decision: Decision) -> bool:
    """Tell whether the chart itself gave a day, not the label alone."""
    return any(step.table == "due" for step in decision.trail)


def _later_line(replayed: Replayed, miss: Miss) -> str:
    return replayed.words.say(
        "why_not_later",
        "later",
        date=replayed.words.date(miss.day or dt.date.max),
        needs=replayed.words.both([stop.needs for stop in miss.stops]),
        met=replayed.words.both(dict.fromkeys(stop.met for stop in miss.stops)),
    )


def _what_sets(replayed: Replayed, day: dt.date) -> Iterator[tuple[str, str]]:
    """Yield what sets the day, each line with its row."""
    say, date, decision = replayed.words.say, replayed.words.date, replayed.decision
    without_label = replayed.chart_only
    by_label = without_label.restring_by != day
    step = next(
        (step for step in decision.trail if step.table in DATED and (step.table == "label") == by_label),
        decision.trail[-1],
    )
    yield say("why_not_later", "set_by", says=begin_small(step.says)), step.row
    if by_label and without_label.restring_by:
        yield say("why_not_later", "label", date=date(without_label.restring_by)), ""
    yield from _what_cuts(replayed)


def _what_cuts(replayed: Replayed) -> Iterator[tuple[str, str]]:
    """Yield the upper limits that shorten the interval: the row's own, and the shop's."""
    told, words = replayed.words, Words(replayed.book.words)
    plays = replayed.facts.plays_per_week
    for step in replayed.decision.trail:
        row = replayed.book.row(step.row)
        if step.table == OWN:
            by_chart = _without_own_rows(replayed)
            if by_chart and by_chart != replayed.decision.restring_by:
                yield told.say("why_not_later", "own", date=words.date(by_chart)), row.id
        if step.table == "interval" and row.gives.get("rule") == "per_year" and plays and plays.low > 0:
            count = exact(replayed.book.values["year_months"]) / exact(plays.low)
            ceiling = exact(replayed.book.values[str(row.gives["ceiling"])])
            if count > ceiling:
                values = {"every": words.every(count, count), "limit": told.amount_of(str(row.gives["ceiling"]))}
                often = told.plays(plays.low, plays.high)
                yield told.say("why_not_later", "ceiling", plays=often, **values), row.id
        if step.table == "others_say" and row.policy and replayed.book.policies[row.policy]:
            uncut = _without_policies(replayed)
            if uncut and replayed.decision.restring_by and uncut > replayed.decision.restring_by:
                yield told.say("why_not_later", "policy", date=words.date(uncut)), row.id


def _without_own_rows(replayed: Replayed) -> dt.date | None:
    """Return the day the chart would give in a shop without rows of its own."""
    tables = {name: table for name, table in replayed.book.tables.items() if name != OWN}
    return decide(replayed.facts, replace(replayed.book, tables=tables), PlainEngine()).restring_by


def _without_policies(replayed: Replayed) -> dt.date | None:
    """Return the day there would be in a shop that follows none of the published limits."""
    book = replace(replayed.book, policies=dict.fromkeys(replayed.book.policies, False))
    return decide(replayed.facts, book, PlainEngine()).restring_by


def find_needed(facts: Facts, book: Rulebook, row_id: str) -> Miss | None:
    """Return what a row would have needed to fire for these facts, or None where it fired.

    Raises:
        KeyError: when the book has no such row.
    """
    replayed = Replayed.of(facts, book)
    row = book.row(row_id)
    if any(step.row == row_id for step in replayed.decision.trail):
        return None
    return next((miss for miss in replayed.misses(row.table) if miss.row == row_id), None)


__all__ = ["Miss", "Replayed", "Stop", "WhyNot", "explain_why_not", "explain_why_not_later", "find_needed"]
