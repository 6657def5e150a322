"""Tells one decision at three depths: a sentence for a customer, reasons for a stringer, the trail for a trainee."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from rules.book_format import COLUMNS
from rules.decision import Decision, Step, Verdict
from rules.explain_words import ExplainWords, load_words, name_of
from rules.facts import Fact
from rules.rulebook import Rulebook
from rules.sentences import Words
from rules.trail import REASONS

CAUTIONS = "cautions"
VERDICT = "verdict"


class Depth(StrEnum):
    """For whom a decision is explained."""

    CUSTOMER = "customer"
    STRINGER = "stringer"
    TRAINEE = "trainee"


@dataclass(frozen=True)
class Explanation:
    """One decision in words, at three depths out of one trail."""

    customer: str
    """One sentence."""
    stringer: tuple[str, ...]
    """Verdict, day, reasons, what speaks against it, what must be said, what is missing."""
    trainee: tuple[str, ...]
    """Every row with what it read and gave, its sentence and its source."""

    def at(self, depth: Depth) -> tuple[str, ...]:
        """Return the lines of one depth."""
        return {Depth.CUSTOMER: (self.customer,), Depth.STRINGER: self.stringer, Depth.TRAINEE: self.trainee}[depth]

    def to_dict(self) -> dict[str, Any]:
        """Return the explanation as JSON."""
        return {"customer": self.customer, "stringer": list(self.stringer), "trainee": list(self.trainee)}


def explain(decision: Decision, book: Rulebook) -> Explanation:
    """Return a decision in words.

    Args:
        decision: the decision as it was taken, or as it was stored.
        book: the edition that took it: it gives the tables' titles and the words.
    """
    telling = _Telling(decision, book, load_words(book))
    return Explanation(telling.customer(), tuple(telling.stringer()), tuple(telling.trainee()))


@dataclass(frozen=True)
class _Telling:
    """A decision to be put in words."""

    decision: Decision
    book: Rulebook
    words: ExplainWords

    def customer(self) -> str:
        decision, say = self.decision, self.words.say
        if decision.verdict is Verdict.NEED_MORE:
            return self._open()
        step = self._deciding()
        measured = step.read.get("measured", "none") != "none"
        if decision.verdict is Verdict.PLAY_ON and decision.restring_by and not measured:
            values = {"date": self.words.date(decision.restring_by), "every": self._every()}
            if decision.window:
                return say("customer", "play_on_window", first=self.words.date(decision.window[0]), **values)
            if decision.every:
                return say("customer", "play_on_until", **values)
        if self.words.verdict(decision.verdict) in step.says.lower():
            return step.says
        return say("customer", decision.verdict.value, reason=begin_small(step.says))

    def _every(self) -> str:
        return self.decision.every or ""

    def _open(self) -> str:
        needs = self.decision.needs
        if not needs:
            return self.words.say("customer", "nobody_knows")
        fact, reason = self.words.fact(needs[0].fact), begin_small(needs[0].because)
        return self.words.say("customer", "need_more", fact=fact, reason=reason)

    def _deciding(self) -> Step:
        return next(step for step in self.decision.trail if step.table == VERDICT)

    def stringer(self) -> Iterator[str]:
        decision, say = self.decision, self.words.say
        yield say("stringer", "verdict", verdict=begin_large(self.words.verdict(decision.verdict)))
        if decision.window:
            first, date = (self.words.date(day) for day in decision.window)
            yield say("stringer", "window", first=first, date=date)
        elif decision.restring_by:
            yield say("stringer", "by", date=self.words.date(decision.restring_by))
        if decision.approximate:
            yield say("stringer", "about")
        for step in decision.trail:
            if step.table in REASONS:
                yield say("stringer", "against", says=step.says) if step.against else step.says
        for step in decision.trail:
            if step.table == CAUTIONS:
                yield say("stringer", "caution", says=step.says)
        for need in decision.needs:
            yield say("stringer", "need", fact=self.words.fact(need.fact), because=need.because)
        for need in decision.strengthens:
            yield say("stringer", "offer", fact=self.words.fact(need.fact), because=need.because)

    def trainee(self) -> Iterator[str]:
        say = self.words.say
        for number, step in enumerate(self.decision.trail, 1):
            table = self.book.tables.get(step.table)
            title = table.title if table else step.table
            key = "step_against" if step.against else "step"
            yield say("trail", key, number=number, table=title, row=step.row)
            read = self.words.also([self._read(step.table, name, value) for name, value in step.read.items()] or [""])
            yield say("trail", "read", read=read) if read else say("trail", "read_nothing")
            gives = [self.words.given(step.table, name, value) for name, value in step.gives.items()]
            yield say("trail", "gives", gives=self.words.also(gives))
            yield say("trail", "says", says=step.says)
            yield say("trail", "source", source=step.source)
        for need in self.decision.needs:
            yield say("stringer", "need", fact=self.words.fact(need.fact), because=need.because)
        yield say("trail", "rulebook", hash=self.decision.rulebook)

    def _read(self, table: str, name: str, value: Any) -> str:
        """Return what a row read: a condition that was met, or a fact."""
        if name in COLUMNS.get(table, {}):
            return self.words.met(table, name, value, {})
        return self.words.say("trail", "pair", name=self.words.fact(name), value=tell_fact(name, value, self.words))


def tell_fact(fact: str, value: Any, words: ExplainWords) -> str:
    """Return the value of a fact in words, as they are said of that fact."""
    if fact == Fact.PLAYS_PER_WEEK and value is not None:
        ends = (value["min"], value["max"]) if isinstance(value, Mapping) else (value, value)
        return words.plays(*map(float, ends))
    return tell_value(value, words)


def tell_value(value: Any, words: ExplainWords) -> str:
    """Return a JSON value of a fact in words: a day, a term of the trade, a number, a reading."""
    if value is None or isinstance(value, bool):
        return words.say("trail", "not_known" if value is None else name_of(value))
    if isinstance(value, (int, float)):
        return words.figure(float(value))
    if isinstance(value, (list, tuple)):
        return ", ".join(tell_value(one, words) for one in value) or words.say("trail", "none")
    if isinstance(value, Mapping):
        return _tell_mapping(value, words)
    try:
        return words.date(dt.date.fromisoformat(value))
    except ValueError:
        return words.words.term(value)


def _tell_mapping(value: Mapping[str, Any], words: ExplainWords) -> str:
    """Return a range, a day that is only about known, a tension or a reading in words."""
    if "min" in value:
        ends = {"low": words.figure(value["min"]), "high": words.figure(value["max"])}
        return str(words.book.words["span"].format(**ends))
    if value.get("approx"):
        return words.words.about(_said_day(str(value["value"]), words.words))
    figures = value.get("values") or [value.get("value")]
    told = ", ".join(tell_value(one, words) for one in figures)
    unit = value.get("unit") or words.unit(value.get("kind") or "")
    return f"{told} {unit}".strip()


def _said_day(said: str, words: Words) -> str:
    year, month, day = ([*said.split("-"), "", ""])[:3]
    if day:
        return words.date(dt.date.fromisoformat(said))
    return f"{words.words['months'][int(month) - 1]} {year}" if month else year


def begin_small(text: str) -> str:
    """Return a sentence to stand inside another one."""
    return text[:1].lower() + text[1:]


def begin_large(text: str) -> str:
    """Return words as the beginning of a sentence."""
    return text[:1].upper() + text[1:]
