"""The outbox on its way: one reminder claimed, sent and marked after the other; quiet hours and crashes in mind."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass, replace

from assistant.mail import Delivery, Fate, Letter, Mailbox, send_mail
from dialogue.counter.counter import Counter
from dialogue.counter.limits import figure
from dialogue.counter.outcomes import Outcome
from dialogue.counter.reminders import (
    Outgoing,
    claim_reminder,
    list_interrupted,
    mark_failed,
    mark_sent,
    note_uncertain,
    quiet_until,
    release_reminders,
)

Send = Callable[[Mailbox, Letter], Delivery]


@dataclass(frozen=True, kw_only=True)
class Round(Outcome):
    """What one round of sending did."""

    sent: tuple[str, ...] = ()
    """Tags of the stringings whose reminder the mail server took."""
    later: tuple[str, ...] = ()
    """Surely not sent; queued again."""
    failed: tuple[str, ...] = ()
    """Surely not sent; left to a person."""
    uncertain: tuple[str, ...] = ()
    """The answer never came: not sent again by itself; a person settles it."""
    set_aside: int = 0
    """Not to be sent any more: consent taken back, or restrung meanwhile."""
    interrupted: tuple[str, ...] = ()
    """Claimed by an earlier round and never marked, for example because of a crash."""
    because: str = ""
    """Why the round ended early and what to do, where only a person can mend it: the rest waits as it was."""
    quiet_until: dt.datetime | None = None
    """When the quiet hours end, where nothing was sent because of them."""


def send_reminders(
    counter: Counter,
    mailbox: Mailbox,
    now: dt.datetime,
    hours: tuple[dt.time, dt.time] | None = None,
    send: Send = send_mail,
) -> Round:
    """Release the drafts and send what is due, one after the other, outside the quiet hours.

    Each is claimed and that is kept before it is sent, and marked after. Whatever crashes in between, it is
    never sent a second time by itself: it stays claimed, and `interrupted` names it until a person settles it.

    Args:
        counter: where.
        mailbox: the mail server.
        now: this moment in local time.
        hours: quiet from and to; None is the house's.
        send: hands one letter to the mail server.
    """
    claimed_long_ago = now - dt.timedelta(minutes=figure("claim_minutes"))
    interrupted = tuple(one.tag for one in list_interrupted(counter, claimed_long_ago).reminders)
    quiet = quiet_until(now, hours)
    release_reminders(counter, quiet or now)
    if quiet:
        return Round(interrupted=interrupted, quiet_until=quiet)
    return replace(_send_all(counter, mailbox, now, send), interrupted=interrupted)


def _send_all(counter: Counter, mailbox: Mailbox, now: dt.datetime, send: Send) -> Round:
    """Send what is due until nothing is left, or until the server shows a fault that only a person can mend."""
    fates: dict[Fate, list[str]] = {fate: [] for fate in Fate}
    set_aside, because = 0, ""
    while not because:
        claim = claim_reminder(counter, now)
        set_aside += claim.set_aside
        if claim.outgoing is None:
            break
        delivery = send(mailbox, _letter(counter, claim.outgoing, now))
        if delivery.problem:
            because = counter.wording.say(f"reminder.{delivery.problem}", server=mailbox.host, said=delivery.said)
            delivery = replace(delivery, said=because)
        fates[_mark(counter, claim.outgoing, delivery, now)].append(claim.outgoing.tag)
    return Round(
        sent=tuple(fates[Fate.ACCEPTED]),
        later=tuple(fates[Fate.LATER]),
        failed=tuple(fates[Fate.NEVER]),
        uncertain=tuple(fates[Fate.UNCERTAIN]),
        set_aside=set_aside,
        because=because,
    )


def _letter(counter: Counter, outgoing: Outgoing, now: dt.datetime) -> Letter:
    reminder = outgoing.reminder
    return Letter(
        to=(outgoing.customer.email or "") if outgoing.customer else "",
        subject=counter.wording.say("reminder.subject"),
        text=reminder.text,
        message_id=reminder.message_id or "",
        moment=now,
    )


def _mark(counter: Counter, outgoing: Outgoing, delivery: Delivery, now: dt.datetime) -> Fate:
    """Write down what became of a reminder, and return what it comes to.

    A fault of the server that a person must mend never makes a reminder fail: it waits until that is done.
    """
    reminder, most = outgoing.reminder, int(figure("send_attempts"))
    if delivery.fate == Fate.ACCEPTED:
        mark_sent(counter, reminder.id)
    elif delivery.fate == Fate.UNCERTAIN:
        note_uncertain(counter, reminder.id, delivery.said)
    elif delivery.fate == Fate.LATER and (delivery.problem or reminder.attempts < most):
        pause = figure("retry_minutes") * 2 ** (min(reminder.attempts, most) - 1)
        mark_failed(counter, reminder.id, delivery.said, now + dt.timedelta(minutes=pause))
    else:
        mark_failed(counter, reminder.id, delivery.said, None)
        return Fate.NEVER
    return delivery.fate
