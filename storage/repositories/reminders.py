"""The outbox: at most one message a stringing, whatever crashes when; sends nothing itself."""

from __future__ import annotations

import datetime as dt
import uuid

from storage import models
from storage.errors import Conflict
from storage.repositories.base import Repository
from storage.rows import ReminderRow, ReminderState

_OPEN = (ReminderState.DRAFT, ReminderState.QUEUED, ReminderState.FAILED)


class Reminders(Repository[models.Reminder, ReminderRow]):
    """Every reminder ever drafted.

    A reminder is claimed and committed before it is sent, and marked after: a crash in between leaves it in
    `sending`, which nothing claims again by itself. `interrupted` shows those, and a person or a gateway that
    knows the message id says whether they went out.
    """

    model = models.Reminder
    row = ReminderRow

    def draft(self, job_id: int, due_on: dt.date, text: str) -> ReminderRow:
        """Return the reminder of a stringing, drafted now unless it exists already; an existing one stays as it is."""
        return self.of_job(job_id) or self.add(ReminderRow(job_id=job_id, due_on=due_on, text=text))

    def of_job(self, job_id: int) -> ReminderRow | None:
        """Return the reminder of a stringing."""
        return self.first(self._select().where(models.Reminder.job_id == job_id))

    def in_state(self, state: ReminderState) -> tuple[ReminderRow, ...]:
        """Return the reminders that have come this far, by due day."""
        return self.rows(
            self._select().where(models.Reminder.state == state).order_by(models.Reminder.due_on, models.Reminder.id)
        )

    def queue(self, key: int, not_before: dt.datetime | None = None) -> ReminderRow:
        """Release a drafted or failed reminder for sending and return it; Conflict when it is on its way or sent."""
        live = self._live(key)
        if live.state not in _OPEN:
            raise Conflict("reminder", key, f"The reminder is {live.state}; it is not sent twice.")
        return self.change(
            key,
            state=ReminderState.QUEUED.value,
            message_id=live.message_id or uuid.uuid4().hex,
            next_try_at=not_before or self._session.clock(),
            error=None,
        )

    def withdraw(self, key: int) -> ReminderRow:
        """Take a reminder that is not on its way back to a draft and return it; Conflict otherwise."""
        live = self._live(key)
        if live.state not in _OPEN:
            raise Conflict("reminder", key, f"The reminder is {live.state}; it cannot be withdrawn.")
        return self.change(key, state=ReminderState.DRAFT.value, next_try_at=None)

    def claim(self, now: dt.datetime, limit: int = 20) -> tuple[ReminderRow, ...]:
        """Take the queued reminders whose time has come, mark them as being sent and return them.

        Commit before sending: then no other worker sends them too.
        """
        reminder = models.Reminder
        lives = self._session.scalars(
            self._select()
            .where(reminder.state == ReminderState.QUEUED, reminder.next_try_at <= now)
            .order_by(reminder.next_try_at, reminder.id)
            .limit(limit)
            .with_for_update(skip_locked=True)
        ).all()
        for live in lives:
            live.state = ReminderState.SENDING.value
            live.claimed_at = now
            live.attempts += 1
        self._flush()
        return self.to_rows(lives)

    def mark_sent(self, key: int, message_id: str | None = None) -> ReminderRow:
        """Record that a claimed reminder went out and return it; Conflict when it was not claimed."""
        live = self._claimed(key)
        kept = message_id or live.message_id
        return self.change(key, state=ReminderState.SENT.value, sent_at=self._session.clock(), message_id=kept)

    def mark_failed(self, key: int, error: str, next_try_at: dt.datetime | None = None) -> ReminderRow:
        """Record that sending failed: queued again when a next time is given, else left to a person."""
        self._claimed(key)
        state = ReminderState.QUEUED if next_try_at else ReminderState.FAILED
        return self.change(key, state=state.value, error=error, next_try_at=next_try_at)

    def interrupted(self, before: dt.datetime) -> tuple[ReminderRow, ...]:
        """Return what was claimed before this moment and never marked: it may have gone out or not."""
        reminder = models.Reminder
        return self.rows(
            self._select()
            .where(reminder.state == ReminderState.SENDING, reminder.claimed_at < before)
            .order_by(reminder.id)
        )

    def _claimed(self, key: int) -> models.Reminder:
        live: models.Reminder = self._live(key)
        if live.state != ReminderState.SENDING:
            raise Conflict("reminder", key, f"The reminder is {live.state}; claim it before sending it.")
        return live
