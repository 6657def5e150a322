"""Exercises for a trainee out of the worked situations and out of places where rows meet; marks, schedules nothing."""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.book_format import OWN
from rules.casebook import load_cases
from rules.chain import decide
from rules.decision import Decision, Verdict
from rules.errors import FactRefused
from rules.evaluator import PlainEngine, find_near_misses
from rules.facts import Facts
from rules.grid import TODAY, list_candidates
from rules.intake import parse_facts
from rules.near_misses import Replayed, explain_why_not
from rules.rulebook import Rulebook
from rules.tables import Row
from rules.trail import REASONS
from rules.turning import Part, search_turns

PRACTISED = (OWN, "stringbed", "interval", "due", "latest", "label", "comparable", "reading", "verdict")
"""The tables whose rows are practised: those that make verdict and date."""
MOST_CHOICES = 5
FURTHEST = 120
"""Values tried on the way to where a row gives way to another; further off nothing is hard about it."""
MOST_LINES = 4
"""Of what a wrong verdict would have needed, the nearest misses."""
DATED = ("due", "latest", "label")


@dataclass(frozen=True)
class Exercise:
    """One situation to decide, and the row it practises."""

    row: str
    table: str
    origin: str
    """The case it comes from; "near" before it where a fact was moved to where rows meet."""
    facts: Mapping[str, Any]
    today: dt.date
    choices: tuple[str, ...]
    """Rows of one table to name the reason out of, in no order; the right one is among them."""

    def to_dict(self) -> dict[str, Any]:
        """Return what a trainee may see, as JSON: row and origin would tell the answer and stay out."""
        shown = {"table": self.table, "facts": dict(self.facts)}
        return {**shown, "today": self.today.isoformat(), "choices": list(self.choices)}


@dataclass(frozen=True)
class Answer:
    """What a trainee says."""

    verdict: str
    date: dt.date | None
    """The latest day to restring; None where there is none."""
    reason: str
    """The row that counts in the exercise's table."""


@dataclass(frozen=True)
class Marks:
    """An answer, marked part by part against what the rulebook decides."""

    verdict: bool
    date: bool
    reason: bool
    expected: Answer
    rows: Mapping[str, bool]
    """Whether each row that the parts rest on was known."""
    lines: tuple[str, ...]
    """Why it is so, and what a wrong part would have needed."""

    @property
    def right(self) -> bool:
        """Tell whether every part is right."""
        return self.verdict and self.date and self.reason

    def to_dict(self) -> dict[str, Any]:
        """Return the marks as JSON."""
        day = self.expected.date
        expected = {"verdict": self.expected.verdict, "date": day and day.isoformat(), "reason": self.expected.reason}
        parts = {"verdict": self.verdict, "date": self.date, "reason": self.reason}
        return {**parts, "right": self.right, "expected": expected, "rows": dict(self.rows), "lines": list(self.lines)}


class ExerciseBook:
    """Makes exercises for the rows of one edition."""

    def __init__(self, book: Rulebook) -> None:
        self.book = book
        self._shown: dict[str, list[tuple[str, Facts]]] = {}
        for case in load_cases():
            try:
                facts = case.read_facts(book)
            except FactRefused:
                continue
            for row in _practised(decide(facts, book, PlainEngine())):
                self._shown.setdefault(row, []).append((case.name, facts))

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows that can be practised, in the order of the book."""
        tables = (self.book.tables[name] for name in PRACTISED if name in self.book.tables)
        return tuple(row.id for table in tables for row in table.rows if row.id in self._shown)

    def make(self, row_id: str, chance: random.Random) -> Exercise:
        """Return an exercise for a row: a worked situation, or one moved to where the row gives way to another.

        Raises:
            KeyError: when no worked situation shows the row.
        """
        name, facts = chance.choice(self._shown[row_id])
        if chance.random() < 1 / 2:
            moved = self._move_to_edge(row_id, facts, chance)
            if moved is not None:
                name, facts = f"near {name}", moved
        row = self.book.row(row_id)
        return Exercise(row_id, row.table, name, facts.to_dict(), facts.today, self._choices(row, facts, chance))

    def _move_to_edge(self, row_id: str, facts: Facts, chance: random.Random) -> Facts | None:
        """Return facts in which one step more would make another row count; None where no step does."""
        before = decide(facts, self.book, PlainEngine())
        walks = list(list_candidates(facts, self.book, before, left_alone=(TODAY,)))
        chance.shuffle(walks)
        for walk in walks:
            last: Facts | None = None
            for candidate in walk:
                if not candidate.on_scale or candidate.steps > FURTHEST:
                    break
                if row_id not in _practised(decide(candidate.facts, self.book, PlainEngine())):
                    if last is not None:
                        return last
                    break
                last = candidate.facts
        return None

    def _choices(self, row: Row, facts: Facts, chance: random.Random) -> tuple[str, ...]:
        """Return the row among its nearest misses."""
        replayed = Replayed.of(facts, self.book)
        fired = {step.row for step in replayed.decision.trail}
        table = self.book.tables[row.table]
        misses = find_near_misses(table, replayed.inputs(row.table))
        others = [miss.row.id for miss in misses if miss.row.id not in fired]
        chosen = [row.id, *others[: MOST_CHOICES - 1]]
        chance.shuffle(chosen)
        return tuple(chosen)


def _practised(decision: Decision) -> Iterator[str]:
    """Yield the rows a decision rests on; of the verdict's only the one that decides."""
    seen_verdict = False
    for step in decision.trail:
        if step.table == "verdict":
            if seen_verdict:
                continue
            seen_verdict = True
        if step.table in PRACTISED:
            yield step.row


def mark(exercise: Exercise, answer: Answer, book: Rulebook) -> Marks:
    """Return an answer marked part by part: the verdict, the date, the reason."""
    facts = parse_facts(exercise.facts, today=exercise.today, limits=book.limits)
    decision = decide(facts, book)
    expected = Answer(decision.verdict.value, decision.restring_by, exercise.row)
    right = {
        "verdict": answer.verdict == expected.verdict,
        "date": answer.date == expected.date,
        "reason": answer.reason == expected.reason,
    }
    rows: dict[str, bool] = {}
    for part, row in _rows_of_parts(exercise, decision):
        rows[row] = rows.get(row, True) and right[part]
    told = () if all(right.values()) else _explain(facts, decision, answer, right, book)
    lines = tuple(dict.fromkeys(told))
    return Marks(**right, expected=expected, rows=rows, lines=lines)


def _rows_of_parts(exercise: Exercise, decision: Decision) -> Iterator[tuple[str, str]]:
    yield "reason", exercise.row
    verdict = next((step.row for step in decision.trail if step.table == "verdict"), None)
    if verdict:
        yield "verdict", verdict
    dated = next((step.row for step in decision.trail if step.table in DATED), None)
    if dated and decision.restring_by:
        yield "date", dated


def _explain(
    facts: Facts, decision: Decision, answer: Answer, right: Mapping[str, bool], book: Rulebook
) -> Iterator[str]:
    """Yield the reasons of the right answer, and what each wrong part would have needed."""
    yield from (step.says for step in decision.trail if step.table in REASONS)
    if not right["verdict"] and answer.verdict in set(Verdict):
        yield from explain_why_not(facts, book, Verdict(answer.verdict)).lines[:MOST_LINES]
    if not right["date"] and answer.date:
        turns: Sequence[Any] = search_turns(facts, book, lambda now: now.restring_by == answer.date, Part.DATE)
        yield from (turn.line for turn in turns[:1])
    if not right["reason"]:
        replayed = Replayed.of(facts, book)
        try:
            table = book.row(answer.reason).table
        except KeyError:
            return
        yield from (replayed.line(miss, "chosen") for miss in replayed.misses(table) if miss.row == answer.reason)
