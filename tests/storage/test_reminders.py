"""A stringing causes at most one message, whoever crashes when."""

from __future__ import annotations

import datetime as dt
import threading

import pytest

from storage.database import Store
from storage.errors import Conflict
from storage.rows import ReminderRow, ReminderState
from tests.storage.conftest import TODAY, Clock, Counter, bring_racquet

MINUTE = dt.timedelta(minutes=1)


@pytest.fixture
def queued(store: Store, counter: Counter) -> ReminderRow:
    """A reminder that waits for sending."""
    with store.unit() as unit:
        drafted = unit.reminders.draft(counter.job.id, TODAY, "Your strings are due.")
        waiting = unit.reminders.queue(drafted.id)
        unit.commit()
    return waiting


def test_a_second_draft_for_one_stringing_is_the_first_one(store: Store, counter: Counter) -> None:
    """A second draft for one stringing is the first one."""
    with store.unit() as unit:
        first = unit.reminders.draft(counter.job.id, TODAY, "first")
        assert unit.reminders.draft(counter.job.id, TODAY, "second") == first
        with pytest.raises(Conflict):
            unit.reminders.add(ReminderRow(job_id=counter.job.id, due_on=TODAY, text="third"))


def test_a_reminder_is_claimed_once_and_marked_sent(store: Store, queued: ReminderRow, clock: Clock) -> None:
    """A reminder is claimed once and marked sent."""
    now = clock()
    with store.unit() as unit:
        (claimed,) = unit.reminders.claim(now)
        assert unit.reminders.claim(now) == ()
        unit.commit()
    assert (claimed.state, claimed.attempts, claimed.claimed_at) == ("sending", 1, now)
    assert claimed.message_id == queued.message_id is not None
    with store.unit() as unit:
        sent = unit.reminders.mark_sent(claimed.id)
        unit.commit()
    assert (sent.state, sent.message_id) == ("sent", claimed.message_id)
    with store.unit() as unit, pytest.raises(Conflict, match="not sent twice"):
        unit.reminders.queue(sent.id)


def test_a_crash_while_sending_leaves_it_claimed_and_shown(store: Store, queued: ReminderRow, clock: Clock) -> None:
    """A crash while sending leaves it claimed and shown."""
    with store.unit() as unit:
        unit.reminders.claim(clock())
        unit.commit()
    # Here the sender dies: nothing marks the reminder.
    clock.now += 10 * MINUTE
    with store.unit() as unit:
        assert unit.reminders.claim(clock()) == ()
        assert [row.id for row in unit.reminders.interrupted(clock.now - 5 * MINUTE)] == [queued.id]
        assert unit.reminders.interrupted(clock.now - 15 * MINUTE) == ()
        failed = unit.reminders.mark_failed(queued.id, "interrupted")
        assert failed.state == "failed"
        assert unit.reminders.queue(failed.id).message_id == queued.message_id


def test_a_crash_before_the_claim_is_committed_leaves_it_queued(
    store: Store, queued: ReminderRow, clock: Clock
) -> None:
    """A crash before the claim is committed leaves it queued."""
    with store.unit() as unit:
        unit.reminders.claim(clock())
    with store.unit() as unit:
        assert [row.id for row in unit.reminders.claim(clock())] == [queued.id]


def test_a_failed_attempt_is_tried_again_at_its_time(store: Store, queued: ReminderRow, clock: Clock) -> None:
    """A failed attempt is tried again at its time."""
    with store.unit() as unit:
        unit.reminders.claim(clock())
        again = unit.reminders.mark_failed(queued.id, "gateway busy", next_try_at=clock.now + 5 * MINUTE)
        assert (again.state, again.error) == ("queued", "gateway busy")
        assert unit.reminders.claim(clock.now + 4 * MINUTE) == ()
        (claimed,) = unit.reminders.claim(clock.now + 5 * MINUTE)
        assert claimed.attempts == 2
        unit.reminders.mark_failed(queued.id, "number unknown")
        assert [row.id for row in unit.reminders.in_state(ReminderState.FAILED)] == [queued.id]


def test_only_a_claimed_reminder_is_marked_and_only_a_waiting_one_withdrawn(store: Store, queued: ReminderRow) -> None:
    """Only a claimed reminder is marked and only a waiting one withdrawn."""
    with store.unit() as unit:
        with pytest.raises(Conflict, match="claim it before"):
            unit.reminders.mark_sent(queued.id)
        assert unit.reminders.withdraw(queued.id).state == "draft"
        unit.reminders.queue(queued.id)
        unit.reminders.claim(dt.datetime(2027, 1, 1, tzinfo=dt.UTC))
        with pytest.raises(Conflict, match="cannot be withdrawn"):
            unit.reminders.withdraw(queued.id)


def test_workers_side_by_side_never_claim_the_same_reminder(store: Store, clock: Clock) -> None:
    """Workers side by side never claim the same reminder."""
    with store.unit() as unit:
        unit.commit()
    for _ in range(12):
        job = bring_racquet(store).job
        with store.unit() as unit:
            unit.reminders.queue(unit.reminders.draft(job.id, TODAY, "due").id)
            unit.commit()
    now = clock()
    claimed: list[int] = []

    def send() -> None:
        for _ in range(4):
            with store.unit() as unit:
                mine = unit.reminders.claim(now, limit=2)
                unit.commit()
            claimed.extend(row.id for row in mine)

    workers = [threading.Thread(target=send) for _ in range(4)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert len(claimed) == len(set(claimed)) == 12
