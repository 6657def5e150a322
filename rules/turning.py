"""What would change it: the smallest change of each single fact that turns an answer, found by deciding again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from rules.chain import decide
from rules.decision import Decision
from rules.evaluator import PlainEngine
from rules.explain import tell_fact, tell_value
from rules.explain_words import ExplainWords, load_words
from rules.facts import Fact, Facts
from rules.grid import SIDES, TODAY, Candidate, list_candidates
from rules.quick import Judge, Judgement
from rules.rulebook import Rulebook

Aim = Callable[[Judgement], bool]
"""Tells whether a judgement is the one that is looked for."""


class Part(StrEnum):
    """The part of an answer that is to turn."""

    VERDICT = "verdict"
    DATE = "date"


UNDATED = frozenset({TODAY, Fact.READING, Fact.BASELINE, Fact.SYMPTOMS})
"""What the stages that find the dates never read."""


@dataclass(frozen=True)
class Turn:
    """The smallest change of one fact that turns an answer, decided again."""

    fact: str
    old: Any
    """As facts JSON; None where it was not known."""
    new: Any
    steps: int
    """Steps of the grid; nothing nearer turns it."""
    unit: str
    """One step in words; empty where the change is one of kind."""
    facts: Facts
    """The facts with the change."""
    decision: Decision
    """What is decided then."""
    line: str = ""
    """The change and what follows, in words."""

    def to_dict(self) -> dict[str, Any]:
        """Return the turn as JSON."""
        by = self.decision.restring_by
        return {
            "fact": self.fact,
            "old": self.old,
            "new": self.new,
            "steps": self.steps,
            "unit": self.unit,
            "verdict": self.decision.verdict.value,
            "restring_by": by.isoformat() if by else None,
            "line": self.line,
        }


def find_turns(facts: Facts, book: Rulebook, part: Part = Part.VERDICT) -> tuple[Turn, ...]:
    """Return the smallest change of each fact that turns the verdict, or the date, the smallest of all first.

    Each fact alone is moved over its whole range on the grid of book/explain.yaml, the nearest value first, and
    decided again each time. Changes of degree come first, by steps; then changes of kind, such as another string.
    """
    before = Judge(book).judge(facts)
    if part is Part.VERDICT:
        return search_turns(facts, book, lambda now: now.verdict is not before.verdict)
    days = before.restring_by, before.window
    return search_turns(facts, book, lambda now: (now.restring_by, now.window) != days, part)


def search_turns(facts: Facts, book: Rulebook, aim: Aim, part: Part = Part.VERDICT) -> tuple[Turn, ...]:
    """Return the smallest change of each fact after which the judgement is the one looked for.

    Looking for a date, the facts that no date rests on are left alone.
    """
    before = decide(facts, book, PlainEngine())
    judge, words = Judge(book), load_words(book)
    left_alone = UNDATED if part is Part.DATE else frozenset[str]()
    found = []
    for candidates in list_candidates(facts, book, before, left_alone):
        hit = next((one for one in candidates if aim(judge.judge(one.facts))), None)
        if hit:
            found.append(_turn(facts, before, hit, words))
    return tuple(sorted(found, key=lambda turn: (not turn.unit, turn.steps)))


def _turn(facts: Facts, before: Decision, hit: Candidate, words: ExplainWords) -> Turn:
    then = decide(hit.facts, words.book, PlainEngine())
    old, new = ({**each.to_dict(), TODAY: each.today.isoformat()}.get(hit.fact) for each in (facts, hit.facts))
    throughout = facts.hybrid is False and hit.fact in SIDES
    change = _tell_change("full_bed" if throughout else hit.fact, old, new, words)
    line = words.say("turns", "line", change=change, **_tell_answers(before, then, words))
    return Turn(hit.fact, old, new, hit.steps, hit.unit, hit.facts, then, line)


def _tell_answers(before: Decision, then: Decision, words: ExplainWords) -> dict[str, str]:
    """Return both answers in words: the verdicts where they differ, the days where those do."""
    days = [_tell_days(decision, words) for decision in (before, then)]
    if before.verdict is then.verdict:
        return {"was": days[0], "then": days[1]}
    told = [words.verdict(decision.verdict) for decision in (before, then)]
    if days[0] != days[1]:
        told = [
            words.say("turns", "answer", verdict=verdict, days=day) if decision.restring_by else verdict
            for verdict, day, decision in zip(told, days, (before, then), strict=True)
        ]
    return {"was": told[0], "then": told[1]}


def _tell_days(decision: Decision, words: ExplainWords) -> str:
    if decision.window:
        first, date = (words.date(day) for day in decision.window)
        return words.say("turns", "window", first=first, date=date)
    by = decision.restring_by
    return words.say("turns", "by", date=words.date(by)) if by else words.say("turns", "no_day")


def _tell_change(fact: str, old: Any, new: Any, words: ExplainWords) -> str:
    if fact == TODAY:
        return words.say("turns", "passing", new=tell_value(new, words))
    if fact == Fact.SYMPTOMS:
        before, after = set(old or ()), set(new or ())
        if after > before:
            return words.say("turns", "noticed", new=tell_value(sorted(after - before), words))
        return words.say("turns", "gone", old=tell_value(sorted(before - after), words))
    told = {"new": tell_fact(fact, new, words), "old": tell_fact(fact, old, words)}
    return words.change(fact, new, old, told)
