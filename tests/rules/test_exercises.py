"""Exercises are fair and marked as the rulebook decides: from worked situations, and from places where rows meet."""

from __future__ import annotations

import datetime as dt
import random

import pytest

from rules.chain import decide
from rules.decision import Decision
from rules.exercises import PRACTISED, Answer, Exercise, ExerciseBook, mark
from rules.intake import parse_facts
from rules.rulebook import load_book
from tests.rules.editions import ENGINES

BOOK = load_book()
EXERCISES = ExerciseBook(BOOK)


def solve(exercise: Exercise) -> Decision:
    """Decide an exercise with the other engine than the one that marks."""
    facts = parse_facts(exercise.facts, today=exercise.today, limits=BOOK.limits)
    return decide(facts, BOOK, ENGINES[1])


def right_answer(exercise: Exercise) -> Answer:
    """Return what the rulebook decides."""
    decision = solve(exercise)
    fired = [step.row for step in decision.trail if step.table == exercise.table]
    named = [row for row in exercise.choices if row in fired]
    if exercise.table == "verdict":
        named = fired[:1]
    assert len(named) == 1, "just one choice is right"
    return Answer(decision.verdict.value, decision.restring_by, named[0])


def test_every_row_that_makes_verdict_or_date_can_be_practised() -> None:
    """No row is left out but the one that takes a limit this shop does not follow."""
    rows = {row.id for name in PRACTISED for row in BOOK.tables[name].rows}
    assert set(EXERCISES.rows) == rows - {"due-season-limit"}


@pytest.mark.parametrize("row", EXERCISES.rows)
def test_the_right_answer_is_marked_right(row: str) -> None:
    """Decided by the other engine: all three parts right, the row credited, nothing explained away."""
    for seed in range(2):
        exercise = EXERCISES.make(row, random.Random(f"{row} {seed}"))  # noqa: S311
        marks = mark(exercise, right_answer(exercise), BOOK)
        assert marks.right
        assert marks.lines == ()
        assert marks.rows[row]
        assert len(exercise.choices) > 1
        assert row not in {key for key in exercise.to_dict() if key != "choices"}


@pytest.mark.parametrize("row", EXERCISES.rows[::3])
def test_a_wrong_part_is_marked_and_explained(row: str) -> None:
    """Each part alone: the others stay right, the trail is told, and what the wrong one would have needed."""
    exercise = EXERCISES.make(row, random.Random(row))  # noqa: S311
    right = right_answer(exercise)
    other = next(verdict for verdict in ("play_on", "restring_now") if verdict != right.verdict)
    reason = next(choice for choice in exercise.choices if choice != right.reason)
    for wrong, part in (
        (Answer(other, right.date, right.reason), "verdict"),
        (Answer(right.verdict, dt.date(2001, 1, 1), right.reason), "date"),
        (Answer(right.verdict, right.date, reason), "reason"),
    ):
        marks = mark(exercise, wrong, BOOK)
        assert [name for name in ("verdict", "date", "reason") if not getattr(marks, name)] == [part]
        assert marks.lines
        if part == "reason":
            assert any("The reason you named would take" in line for line in marks.lines)
            assert not marks.rows[row]


def test_exercises_are_moved_to_where_rows_meet() -> None:
    """One step of some fact further and another row of the book counts."""
    near = [
        exercise
        for seed in range(30)
        if (exercise := EXERCISES.make("verdict-date-ahead", random.Random(seed))).origin.startswith("near ")  # noqa: S311
    ]
    assert near
    dates = [(solve(exercise).restring_by, exercise.today) for exercise in near]
    days = [(date - today).days for date, today in dates if date]
    assert 15 in days, "one day less is fourteen, and soon"


def test_the_same_chance_makes_the_same_exercise() -> None:
    """A course can be taken again from its beginning."""
    first, second = (EXERCISES.make("reading-worn", random.Random(5)) for _ in range(2))  # noqa: S311
    assert first == second


def test_an_unknown_row_is_an_error() -> None:
    """Nothing is made up for a row nobody has worked out."""
    with pytest.raises(KeyError):
        EXERCISES.make("no-such-row", random.Random(1))  # noqa: S311
