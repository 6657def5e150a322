"""At most one reminder a stringing, only with consent, and only while the strings are the ones in the racquet."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from dialogue.counter.bench import Strung, log_strung
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, change_customer
from dialogue.counter.drop_off import Frame
from dialogue.counter.pickup import hand_over
from dialogue.counter.reminders import (
    claim_reminder,
    draft_reminders,
    list_interrupted,
    list_reminders,
    mark_failed,
    mark_sent,
    quiet_until,
    release_reminders,
    settle_reminder,
    state_named,
)
from storage.errors import Conflict
from tests.dialogue.counter.conftest import MAYA, bring, need, on, tag_of

SEPTEMBER = dt.date(2026, 9, 1)
NOON = dt.datetime(2026, 9, 1, 12, tzinfo=dt.UTC)


@pytest.fixture
def september(counter: Counter, collected: str) -> Counter:
    """The first of September, three days before Maya's racquet is due."""
    assert collected
    return on(counter, SEPTEMBER)


def test_a_reminder_is_drafted_once(september: Counter, collected: str) -> None:
    """The text names whose racquet, by when and under which tag; a second round drafts nothing."""
    (reminder,) = draft_reminders(september).reminders
    assert reminder.due_on == dt.date(2026, 9, 4)
    for part in ("Maya Okoro", "racquet (red frame)", "by 4 September 2026", collected, "only reminder"):
        assert part in reminder.text
    again = draft_reminders(on(september, dt.date(2026, 9, 3)))
    assert (again.reminders, again.already) == ((), 1)


def test_an_overdue_and_an_approximate_date_are_worded_so(counter: Counter) -> None:
    """Past dates say were due; approximate ones say about."""
    ines = CustomerDraft(name="Ines Marlow", level="recreational", consent_to_contact=True, phone="202 555 0163")
    tag = tag_of(bring(counter, new_customer=ines))
    need(log_strung(counter, Strung(tag=tag, unknown=("plays_per_week",))))
    need(hand_over(counter, tag))
    (about,) = draft_reminders(on(counter, dt.date(2027, 5, 1))).reminders
    assert "by about 4 May 2027" in about.text
    tag = tag_of(bring(counter, new_customer=replace(MAYA, name="Tobias Wren")))
    need(log_strung(counter, Strung(tag=tag)))
    need(hand_over(counter, tag))
    (passed,) = draft_reminders(on(counter, dt.date(2026, 9, 20))).reminders
    assert "were due for a change by 4 September 2026" in passed.text


def test_nobody_is_reminded_without_consent_address_or_racquet(counter: Counter) -> None:
    """Each reason is counted; what is long past is no news."""
    people = {
        "no_consent": replace(MAYA, name="Ines Marlow", consent_to_contact=False),
        "no_address": CustomerDraft(
            name="Bo Castellane", level="recreational", plays_per_week=3, consent_to_contact=True
        ),
        "not_with_customer": replace(MAYA, name="Tobias Wren"),
    }
    for reason, draft in people.items():
        tag = tag_of(bring(counter, new_customer=draft))
        need(log_strung(counter, Strung(tag=tag)))
        if reason != "not_with_customer":
            need(hand_over(counter, tag))
    drafted = draft_reminders(on(counter, SEPTEMBER))
    assert drafted.reminders == ()
    assert {name: getattr(drafted, name) for name in people} == dict.fromkeys(people, 1)
    long_past = draft_reminders(on(counter, dt.date(2026, 10, 10)))
    assert sum(getattr(long_past, name) for name in people) == 0


def test_consent_taken_back_or_new_strings_stop_a_queued_reminder(september: Counter, collected: str) -> None:
    """What must not be sent any more is set aside at the last moment."""
    draft_reminders(september)
    release_reminders(september, NOON)
    with september.look() as unit:
        customer = unit.customers.named("Maya Okoro")[0]
        (racquet,) = unit.racquets.of_customer(customer.id)
    need(change_customer(september, customer.id, CustomerDraft(consent_to_contact=False)))
    claim = claim_reminder(september, NOON)
    assert (claim.outgoing, claim.set_aside) == (None, 1)
    (stopped,) = list_reminders(september).reminders
    assert (stopped.reminder.state, stopped.reminder.error, stopped.tag) == ("failed", "no_consent", collected)
    need(change_customer(september, customer.id, CustomerDraft(consent_to_contact=True)))
    with september.work() as unit:
        unit.reminders.queue(stopped.reminder.id, NOON)
    bring(
        september,
        customer_id=customer.id,
        new_customer=None,
        racquet_id=racquet.id,
        frame=Frame(),
        strings=None,
        same_as="last",
    )
    assert claim_reminder(september, NOON).set_aside == 1
    assert list_reminders(september).reminders[0].reminder.error == "restrung"


def test_a_claimed_reminder_is_nobody_elses(september: Counter) -> None:
    """Claimed and kept before it is sent: a second worker finds nothing, a crash leaves it to a person."""
    draft_reminders(september)
    (queued,) = release_reminders(september, NOON).reminders
    claim = claim_reminder(september, NOON)
    assert claim.outgoing is not None
    assert claim.outgoing.reminder.message_id == queued.reminder.message_id
    assert claim_reminder(september, NOON).outgoing is None
    assert release_reminders(september, NOON).reminders == ()
    later = NOON + dt.timedelta(minutes=16)
    assert list_interrupted(september, NOON).reminders == ()
    assert [one.reminder.id for one in list_interrupted(september, later).reminders] == [queued.reminder.id]
    assert settle_reminder(september, queued.reminder.id, sent=True).state == "sent"
    with pytest.raises(Conflict):
        settle_reminder(september, queued.reminder.id, sent=True)


def test_a_person_may_say_that_it_was_passed_on_by_phone_or_did_not_go_out(september: Counter) -> None:
    """A draft becomes sent without a server; one that did not go out waits for a person."""
    (reminder,) = draft_reminders(september).reminders
    assert settle_reminder(september, reminder.id, sent=True).state == "sent"
    assert draft_reminders(september).already == 1


def test_what_did_not_go_out_is_queued_again_or_left(september: Counter) -> None:
    """The message id stays the same over all attempts."""
    draft_reminders(september)
    (queued,) = release_reminders(september, NOON).reminders
    key = queued.reminder.id
    assert claim_reminder(september, NOON).outgoing is not None
    again = mark_failed(september, key, "451 busy", NOON + dt.timedelta(minutes=10))
    assert (again.state, again.attempts, again.message_id) == ("queued", 1, queued.reminder.message_id)
    assert claim_reminder(september, NOON).outgoing is None
    assert claim_reminder(september, NOON + dt.timedelta(minutes=10)).outgoing is not None
    assert mark_sent(september, key).state == "sent"
    assert list_reminders(september, state_named("sent")).reminders[0].reminder.id == key
    assert list_reminders(september, state_named("draft")).reminders == ()


@pytest.mark.parametrize(
    ("clock", "until"),
    [
        ("19:59", None),
        ("20:00", "08:00 2026-09-02"),
        ("23:30", "08:00 2026-09-02"),
        ("00:10", "08:00 2026-09-01"),
        ("07:59", "08:00 2026-09-01"),
        ("08:00", None),
    ],
)
def test_quiet_hours_run_over_midnight(clock: str, until: str | None) -> None:
    """From eight in the evening to eight in the morning nothing goes out (house rule)."""
    now = dt.datetime.combine(SEPTEMBER, dt.time.fromisoformat(clock), dt.timezone(dt.timedelta(hours=2)))
    end = quiet_until(now)
    assert (f"{end:%H:%M %Y-%m-%d}" if end else None) == until


def test_quiet_hours_of_a_shop_may_lie_within_a_day() -> None:
    """From noon to two, say."""
    hours = (dt.time(12), dt.time(14))
    assert quiet_until(NOON, hours) == NOON.replace(hour=14)
    assert quiet_until(NOON.replace(hour=14), hours) is None
