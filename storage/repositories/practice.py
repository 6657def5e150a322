"""What trainees practised: a card for each row of the rulebook, and a log of every answer; marks nothing."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from typing import Any

from sqlalchemy import select

from storage import models
from storage.audit import UnitSession
from storage.repositories.base import Repository
from storage.rows import PracticeAnswerRow, PracticeCardRow


class _Cards(Repository[models.PracticeCard, PracticeCardRow]):
    model = models.PracticeCard
    row = PracticeCardRow


class _Answers(Repository[models.PracticeAnswer, PracticeAnswerRow]):
    model = models.PracticeAnswer
    row = PracticeAnswerRow


class Practice:
    """The cards and the log of every trainee."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session
        self._cards = _Cards(session)
        self._answers = _Answers(session)

    def cards(self, trainee: str) -> tuple[PracticeCardRow, ...]:
        """Return a trainee's cards, the first due first."""
        card = models.PracticeCard
        return self._cards.rows(select(card).where(card.trainee == trainee).order_by(card.due_at, card.id))

    def keep_card(self, trainee: str, row: str, due_at: dt.datetime, state: Mapping[str, Any]) -> PracticeCardRow:
        """Store how well a trainee knows a row, in place of what was stored before."""
        card = models.PracticeCard
        kept = self._session.scalar(select(card.id).where(card.trainee == trainee, card.row == row))
        copy = json.loads(json.dumps(dict(state)))
        if kept is None:
            return self._cards.add(PracticeCardRow(trainee=trainee, row=row, due_at=due_at, state=copy))
        return self._cards.change(kept, due_at=due_at, state=copy)

    def log(self, answer: PracticeAnswerRow) -> PracticeAnswerRow:
        """Store an answer with its marks; a stored one never changes."""
        return self._answers.add(answer)

    def answers(self, trainee: str | None = None) -> tuple[PracticeAnswerRow, ...]:
        """Return the answers of one trainee, or of all, the oldest first."""
        table = models.PracticeAnswer
        query = select(table).order_by(table.id)
        return self._answers.rows(query if trainee is None else query.where(table.trainee == trainee))

    def trainees(self) -> tuple[str, ...]:
        """Return who has practised, by name."""
        table = models.PracticeAnswer
        return tuple(self._session.scalars(select(table.trainee).distinct().order_by(table.trainee)))
