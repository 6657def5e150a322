"""The outbox of reminders: drafted with consent, at most one a stringing, claimed before sending; sends nothing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.counter import Counter
from dialogue.counter.limits import figure, read_limits
from dialogue.counter.outcomes import Outcome
from dialogue.counter.pickup import name_racquet
from storage.queries import DueRow
from storage.rows import CustomerRow, JobStatus, ReminderRow, ReminderState
from storage.unit_of_work import UnitOfWork

MOST = 10_000


@dataclass(frozen=True, kw_only=True)
class Drafted(Outcome):
    """Reminders drafted now, and why others were not."""

    reminders: tuple[ReminderRow, ...]
    no_consent: int = 0
    no_address: int = 0
    """Neither e-mail nor phone."""
    not_with_customer: int = 0
    """The racquet still lies in the shop."""
    already: int = 0
    """This stringing has had its reminder."""


@dataclass(frozen=True, kw_only=True)
class Outgoing(Outcome):
    """A reminder with where it goes."""

    reminder: ReminderRow
    customer: CustomerRow | None
    tag: str
    racquet: str | None


@dataclass(frozen=True, kw_only=True)
class Claim(Outcome):
    """The reminder to send now, None when none is left."""

    outgoing: Outgoing | None
    set_aside: int
    """How many were found that must not be sent any more."""


@dataclass(frozen=True, kw_only=True)
class Outbox(Outcome):
    """Reminders by state."""

    reminders: tuple[Outgoing, ...]


def draft_reminders(counter: Counter, within_days: int = 7) -> Drafted:
    """Draft a reminder for everybody due within some days who agreed to be told; nobody gets a second one."""
    with counter.work() as unit:
        since = counter.today - dt.timedelta(days=int(figure("remind_overdue_days")))
        rows = (
            *unit.queries.overdue(counter.today, since, MOST).rows,
            *unit.queries.due(counter.today, within_days, MOST).rows,
        )
        made: list[ReminderRow] = []
        left = dict.fromkeys(("no_consent", "no_address", "not_with_customer", "already"), 0)
        for row in rows:
            reason = _reason_against(row)
            if reason:
                left[reason] += 1
            elif row.customer and row.job.restring_by:
                text = _text(counter, row.customer, row)
                made.append(unit.reminders.draft(row.job.id, row.job.restring_by, text))
        return Drafted(reminders=tuple(made), **left)


def list_reminders(counter: Counter, state: ReminderState | None = None) -> Outbox:
    """Return the reminders in one state, or in all."""
    with counter.look() as unit:
        states = (state,) if state else tuple(ReminderState)
        rows = [row for one in states for row in unit.reminders.in_state(one)]
        return Outbox(reminders=tuple(_outgoing(unit, row) for row in rows))


def release_reminders(counter: Counter, not_before: dt.datetime) -> Outbox:
    """Queue every draft whose owner has an e-mail address, not to be sent before a moment."""
    with counter.work() as unit:
        ready = [_outgoing(unit, row) for row in unit.reminders.in_state(ReminderState.DRAFT)]
        queued = []
        for one in ready:
            if one.customer and one.customer.email and one.customer.consent_to_contact:
                unit.reminders.queue(one.reminder.id, not_before)
                queued.append(_outgoing(unit, unit.reminders.get(one.reminder.id)))
        return Outbox(reminders=tuple(queued))


def claim_reminder(counter: Counter, now: dt.datetime) -> Claim:
    """Take the next reminder whose time has come, so that nobody else sends it.

    What must not be sent any more, because consent was taken back or the racquet was restrung, is set aside.
    """
    set_aside = 0
    with counter.work() as unit:
        while claimed := unit.reminders.claim(now, limit=1):
            outgoing = _outgoing(unit, claimed[0])
            problem = _problem(unit, outgoing)
            if problem is None:
                return Claim(outgoing=outgoing, set_aside=set_aside)
            unit.reminders.mark_failed(claimed[0].id, problem)
            set_aside += 1
    return Claim(outgoing=None, set_aside=set_aside)


def mark_sent(counter: Counter, key: int) -> ReminderRow:
    """Record that a claimed reminder was accepted by the mail server."""
    with counter.work() as unit:
        return unit.reminders.mark_sent(key)


def mark_failed(counter: Counter, key: int, error: str, next_try_at: dt.datetime | None) -> ReminderRow:
    """Record that a claimed reminder surely did not go out; without a next time it is left to a person."""
    with counter.work() as unit:
        return unit.reminders.mark_failed(key, error, next_try_at)


def note_uncertain(counter: Counter, key: int, error: str) -> ReminderRow:
    """Record that nobody knows whether a claimed reminder went out: it stays claimed until a person says."""
    with counter.work() as unit:
        return unit.reminders.change(key, error=error)


def list_interrupted(counter: Counter, before: dt.datetime) -> Outbox:
    """Return what was claimed before a moment and never marked: it may have gone out or not."""
    with counter.look() as unit:
        return Outbox(reminders=tuple(_outgoing(unit, row) for row in unit.reminders.interrupted(before)))


def settle_reminder(counter: Counter, key: int, *, sent: bool) -> ReminderRow:
    """Record what a person found out about a reminder, or that it was passed on by phone.

    Raises:
        NotFound: when there is no such reminder.
        Conflict: when it is sent already.
    """
    with counter.work() as unit:
        row = unit.reminders.get(key)
        if row.state == ReminderState.SENDING:
            return unit.reminders.mark_sent(key) if sent else unit.reminders.mark_failed(key, "", None)
        if not sent:
            return unit.reminders.withdraw(key)
        queued = unit.reminders.queue(key)
        unit.reminders.change(key, state=ReminderState.SENDING.value, attempts=queued.attempts)
        return unit.reminders.mark_sent(key)


def quiet_until(now: dt.datetime, hours: tuple[dt.time, dt.time] | None = None) -> dt.datetime | None:
    """Return when the quiet hours end that `now` lies in, or None outside of them; `now` is local time."""
    first, last = hours or quiet_hours()
    clock = now.timetz().replace(tzinfo=None)
    quiet = first <= clock < last if first <= last else clock >= first or clock < last
    if not quiet:
        return None
    end = now.replace(hour=last.hour, minute=last.minute, second=0, microsecond=0)
    return end if end > now else end + dt.timedelta(days=1)


def quiet_hours() -> tuple[dt.time, dt.time]:
    """Return the house's quiet hours."""
    hours = read_limits()["quiet_hours"]
    return dt.time.fromisoformat(hours["from"]), dt.time.fromisoformat(hours["to"])


def _reason_against(row: DueRow) -> str | None:
    if row.reminder is not None:
        return "already"
    if row.customer is None or not row.customer.consent_to_contact:
        return "no_consent"
    if not row.customer.email and not row.customer.phone:
        return "no_address"
    return None if row.job.status == JobStatus.COLLECTED else "not_with_customer"


def _text(counter: Counter, customer: CustomerRow, row: DueRow) -> str:
    say = counter.wording.say
    day = row.job.restring_by
    about = "about" if row.job.approximate else "on"
    passed = "passed" if row.days_left < 0 else about
    racquet = name_racquet(counter, row.racquet)
    return say(f"reminder.text_{passed}", name=customer.name, racquet=racquet, day=day, tag=row.job.tag)


def _outgoing(unit: UnitOfWork, row: ReminderRow) -> Outgoing:
    job = unit.jobs.get(row.job_id)
    racquet = unit.racquets.get(job.racquet_id)
    customer = unit.customers.get(racquet.customer_id) if racquet.customer_id else None
    return Outgoing(reminder=row, customer=customer, tag=job.tag, racquet=racquet.nickname)


def _problem(unit: UnitOfWork, outgoing: Outgoing) -> str | None:
    """Return why a claimed reminder must not be sent any more."""
    customer = outgoing.customer
    if customer is None or not customer.consent_to_contact:
        return "no_consent"
    if not customer.email:
        return "no_address"
    follower = unit.jobs.successor(outgoing.reminder.job_id)
    return "restrung" if follower is not None else None


def state_named(name: str | None) -> ReminderState | None:
    """Return the state of this name; None stays None."""
    return ReminderState(name) if name else None
