"""One trainee's course: which row comes next, an exercise for it, the marks and the record; words nothing."""

from __future__ import annotations

import datetime as dt
import json
import random
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from functools import lru_cache
from typing import Any

from dialogue.counter.outcomes import Outcome
from dialogue.practice.schedule import plan_next, recall_of
from rules.exercises import Answer, Exercise, ExerciseBook, Marks, mark
from rules.rulebook import Rulebook, build_book
from storage.database import Store
from storage.rows import PracticeAnswerRow, PracticeCardRow
from storage.unit_of_work import UnitOfWork

NOON = dt.time(12, tzinfo=dt.UTC)
PAUSE = dt.timedelta(minutes=1)
"""From one answer to the next: the course runs on a clock of its own, so that a script keeps the same days."""


@dataclass(frozen=True, kw_only=True)
class RowProgress(Outcome):
    """How far a trainee has come with one row."""

    row: str
    asked: int
    known: int
    """How often every part that rests on it was right."""
    due_on: dt.date | None
    """None for a row that was never practised."""
    recall: float
    """How likely it is still known today, from 0 to 1."""


@dataclass(frozen=True, kw_only=True)
class Progress(Outcome):
    """How far a trainee has come."""

    trainee: str
    answered: int
    right: int
    """Answers with every part right."""
    due: int
    """Rows that should come again by today."""
    rows: tuple[RowProgress, ...]
    """The weakest first, then those never practised."""


@lru_cache(maxsize=4)
def _exercise_book(edition: str) -> ExerciseBook:
    """Return the exercises of an edition given as its text; making them decides every worked situation."""
    return ExerciseBook(build_book(json.loads(edition)))


@dataclass
class Course:
    """The practice of one trainee on one day."""

    store: Store
    book: Rulebook
    trainee: str
    today: dt.date
    table: str | None = None
    """Only rows of this table, where one is named."""
    exercises: ExerciseBook = field(init=False)

    def __post_init__(self) -> None:
        self.exercises = _exercise_book(self.book.text)

    @property
    def rows(self) -> tuple[str, ...]:
        """The rows that are practised."""
        rows = self.exercises.rows
        return rows if self.table is None else tuple(row for row in rows if self.book.row(row).table == self.table)

    def next(self) -> Exercise:
        """Return the next exercise: a row that is due, else a new one, else the one that is due first.

        Raises:
            KeyError: when there is no row to practise.
        """
        with self.store.view() as unit:
            return self.next_in(unit)

    def next_in(self, unit: UnitOfWork) -> Exercise:
        """Return the next exercise, read in a unit of work of the caller's."""
        cards = {card.row: card for card in unit.practice.cards(self.trainee) if card.row in self.rows}
        count = len(unit.practice.answers(self.trainee))
        chance = random.Random(f"{self.trainee} {count}")  # noqa: S311 - the same course for the same answers
        now = self._now(tuple(cards.values()))
        return self.exercises.make(self._pick(cards, now, chance), chance)

    def _pick(self, cards: Mapping[str, PracticeCardRow], now: dt.datetime, chance: random.Random) -> str:
        due = sorted((card.due_at, row) for row, card in cards.items() if card.due_at <= now)
        if due:
            return due[0][1]
        new = [row for row in self.rows if row not in cards]
        if new:
            return chance.choice(new)
        if not cards:
            raise KeyError(self.table)
        return min((card.due_at, row) for row, card in cards.items())[1]

    def _now(self, cards: tuple[PracticeCardRow, ...]) -> dt.datetime:
        """Return the moment on the course's clock: noon of the day, or a pause after the last answer."""
        noon = dt.datetime.combine(self.today, NOON)
        seen = [dt.datetime.fromisoformat(card.state["last_review"]) for card in cards if card.state["last_review"]]
        return max([noon, *(moment + PAUSE for moment in seen)])

    def mark(self, exercise: Exercise, answer: Answer) -> Marks:
        """Mark an answer against what the rulebook decides, keep it, and plan when its rows come again."""
        with self.store.unit(self.trainee) as unit:
            marks = self.mark_in(unit, exercise, answer)
            unit.commit()
        return marks

    def mark_in(self, unit: UnitOfWork, exercise: Exercise, answer: Answer) -> Marks:
        """Mark an answer and keep it in a unit of work of the caller's, who commits it."""
        marks = mark(exercise, answer, self.book)
        self._keep(unit, exercise, answer, marks)
        return marks

    def _keep(self, unit: UnitOfWork, exercise: Exercise, answer: Answer, marks: Marks) -> None:
        cards = {card.row: card for card in unit.practice.cards(self.trainee)}
        now = self._now(tuple(cards.values()))
        for row, known in marks.rows.items():
            card = cards.get(row)
            planned = plan_next(card.state if card else None, now, known=known)
            unit.practice.keep_card(self.trainee, row, planned.due_at, planned.state)
        said: dict[str, Any] = {**asdict(answer), "date": answer.date and answer.date.isoformat()}
        kept = {name: value for name, value in marks.to_dict().items() if name != "lines"}
        unit.practice.log(
            PracticeAnswerRow(
                trainee=self.trainee,
                row=exercise.row,
                exercise={**exercise.to_dict(), "origin": exercise.origin},
                answer=said,
                marks={**kept, "on": self.today.isoformat()},
                rulebook=self.book.hash,
            )
        )

    def progress(self) -> Progress:
        """Return how far the trainee has come, row by row."""
        with self.store.view() as unit:
            answers = unit.practice.answers(self.trainee)
            cards = {card.row: card for card in unit.practice.cards(self.trainee)}
        now = self._now(tuple(cards.values()))
        told = [marked for answer in answers for marked in answer.marks["rows"].items()]
        rows = []
        for row in self.rows:
            known = [right for name, right in told if name == row]
            card = cards.get(row)
            recall = recall_of(card.state, now) if card else 0.0
            due_on = card.due_at.date() if card else None
            rows.append(
                RowProgress(row=row, asked=len(known), known=sum(known), due_on=due_on, recall=round(recall, 3))
            )
        return Progress(
            trainee=self.trainee,
            answered=len(answers),
            right=sum(bool(answer.marks["right"]) for answer in answers),
            due=sum(card.due_at <= now for row, card in cards.items() if row in self.rows),
            rows=tuple(sorted(rows, key=lambda one: (one.asked == 0, one.known / max(one.asked, 1), one.recall))),
        )


def list_answers(store: Store, trainee: str | None = None) -> tuple[PracticeAnswerRow, ...]:
    """Return the log of one trainee, or of all, the oldest answer first."""
    with store.view() as unit:
        return unit.practice.answers(trainee)


__all__ = ["Answer", "Course", "Exercise", "Marks", "Progress", "RowProgress", "list_answers"]
