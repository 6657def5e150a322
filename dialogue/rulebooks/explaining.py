"""Reasons on request, for any channel: at three depths, why not, why not later, what would change it, who says so."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rules.backing import find_sources
from rules.chain import decide
from rules.decision import Decision, Verdict
from rules.explain import Depth, explain
from rules.explain_words import load_grid, load_words
from rules.facts import Facts
from rules.intake import parse_facts
from rules.near_misses import explain_why_not, explain_why_not_later
from rules.rulebook import Rulebook
from rules.turning import Part, find_turns

LATER = "later"
"""What is asked for beside a verdict: why the day is not a later one."""


@dataclass(frozen=True)
class Told:
    """An answer to one question about the reasons."""

    lines: tuple[str, ...]
    """Sentences to show or say, in order."""
    data: Mapping[str, Any]
    """The same as JSON for other programs."""


@dataclass(frozen=True)
class Explainer:
    """Explains by one edition; facts come as JSON, as slots and stored consultations hold them."""

    book: Rulebook

    def _facts(self, raw: Mapping[str, Any], today: dt.date) -> Facts:
        return parse_facts(raw, today=today, limits=self.book.limits)

    def depth(self, decision: Mapping[str, Any], depth: str) -> Told:
        """Return a decision at one depth: customer, stringer or trainee."""
        told = explain(Decision.from_dict(decision), self.book)
        return Told(told.at(Depth(depth)), told.to_dict())

    def why_not(self, raw: Mapping[str, Any], today: dt.date, asked: str, depth: str | None = None) -> Told:
        """Return why it is not another verdict, or not "later"; for a trainee with the rows set apart.

        Raises:
            FactRefused: when a fact cannot be; so do the others that take facts.
            ValueError: when that is no verdict.
        """
        facts = self._facts(raw, today)
        if asked == LATER:
            why = explain_why_not_later(facts, self.book)
        else:
            why = explain_why_not(facts, self.book, Verdict(asked))
        lines = why.with_rows(load_words(self.book)) if depth == Depth.TRAINEE else why.lines
        return Told(lines, why.to_dict())

    def what_would_change(self, raw: Mapping[str, Any], today: dt.date, part: str = "verdict") -> Told:
        """Return the smallest change of each single fact that turns the verdict, or the date, the smallest first."""
        turns = find_turns(self._facts(raw, today), self.book, Part(part))
        lines = tuple(dict.fromkeys(turn.line for turn in turns))
        if not lines:
            lines = (load_words(self.book).say("turns", "none", reach=load_grid()["days"].reach),)
        return Told(lines, {"part": part, "changes": [turn.to_dict() for turn in turns]})

    def who_says_so(self, decision: Mapping[str, Any]) -> Told:
        """Return the sources of each row of a decision, and published advice that differs."""
        found = find_sources(Decision.from_dict(decision), self.book)
        return Told(found.lines, found.to_dict())

    def decide(self, raw: Mapping[str, Any], today: dt.date) -> dict[str, Any]:
        """Return the decision on facts JSON, as JSON."""
        return decide(self._facts(raw, today), self.book).to_dict()
