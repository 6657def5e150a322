"""Practice in the conversation: the next situation, its marks, both as JSON; words nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dialogue.options import trainee_said
from dialogue.services.turns import TurnWork
from storage.rows import PracticeAnswerRow

if TYPE_CHECKING:
    from dialogue.practice.course import Course

# A talk without practice, as most are, starts without what only practice needs.
RIDE = "a real consultation"


class Lessons(TurnWork):
    """What a trainee who practises by talk needs."""

    def trainee_in(self, text: str) -> str | None:
        """Return who a text says will practise: somebody who has practised or works here, or who says a name."""
        with self.work() as unit:
            known = (*unit.practice.trainees(), *(member.name for member in unit.staff.active()))
        return trainee_said(text, known)

    def latest_day(self, said: Mapping[str, Any], today: dt.date) -> str | None:
        """Return the last day that a date means, as ISO text."""
        meant = self.facts({"label_due": said}, today).label_due
        return meant.day.isoformat() if meant else None

    def next_exercise(self, trainee: str, today: dt.date) -> dict[str, Any]:
        """Return the next situation of a trainee's course, with the sentences of the rows to choose among."""
        from dialogue.rulebooks.page import blank_sentence  # noqa: PLC0415

        with self.work() as unit:
            exercise = self._course(trainee, today).next_in(unit)
        sentences = [blank_sentence(self.book.row(row), self.book) for row in exercise.choices]
        hidden = {"row": exercise.row, "origin": exercise.origin}
        title = self.book.tables[exercise.table].title
        return {**exercise.to_dict(), **hidden, "sentences": sentences, "title": title}

    def mark_exercise(self, trainee: str, today: dt.date, put: Mapping[str, Any], said: Mapping[str, Any]) -> Any:
        """Return the marks of an answer as JSON, and keep them in the trainee's course.

        Args:
            trainee: whose course it is.
            today: the day of the turn.
            put: the exercise as `next_exercise` gave it.
            said: verdict, date (a day or None) and reason (a row).
        """
        from dialogue.practice.course import Answer, Exercise  # noqa: PLC0415

        exercise = Exercise(
            put["row"],
            put["table"],
            put["origin"],
            put["facts"],
            dt.date.fromisoformat(put["today"]),
            tuple(put["choices"]),
        )
        day = said["date"] and dt.date.fromisoformat(said["date"])
        with self.work() as unit:
            marks = self._course(trainee, today).mark_in(unit, exercise, Answer(said["verdict"], day, said["reason"]))
        return marks.to_dict()

    def mark_ride(
        self,
        trainee: str,
        today: dt.date,
        decision: Mapping[str, Any],
        facts: Mapping[str, Any],
        said: Mapping[str, Any],
    ) -> dict[str, bool]:
        """Return whether verdict and day were said right before a real answer was told, and log it for whoever trains.

        The consultation itself is left alone, and so is the trainee's course: nobody chose the case for it.
        """
        marks = {"verdict": said["verdict"] == decision["verdict"], "date": said["date"] == decision["restring_by"]}
        row = next(step["row"] for step in decision["trail"] if step["table"] == "verdict")
        right = all(marks.values())
        expected = {"verdict": decision["verdict"], "date": decision["restring_by"], "reason": row}
        known = {name: value for name, value in facts.items() if name != "words"}
        put = {"table": "verdict", "facts": known, "today": today.isoformat(), "choices": [], "origin": RIDE}
        rest = {"reason": None, "right": right, "expected": expected, "rows": {row: marks["verdict"]}}
        kept = PracticeAnswerRow(
            trainee=trainee,
            row=row,
            exercise=put,
            answer={**said, "reason": None},
            marks={**marks, **rest, "on": today.isoformat()},
            rulebook=decision["rulebook"],
        )
        with self.work() as unit:
            unit.practice.log(kept)
        return marks

    def _course(self, trainee: str, today: dt.date) -> Course:
        from dialogue.practice.course import Course  # noqa: PLC0415

        return Course(self.store, self.book, trainee, today)
