"""`remind`: draft reminders, send them by e-mail, and settle what a person must."""

from __future__ import annotations

import argparse
import datetime as dt
import re
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.desk import Actions, Desk, at_desk, write_file
from assistant.exits import CommandError, Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from assistant.reminders import Round
    from dialogue.counter.reminders import Outbox

COLUMNS = ("id", "state", "due_on", "customer", "phone", "email", "tag", "text", "attempts", "error")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    draft = actions.add("draft", "draft a reminder for everybody due who agreed to be told")
    draft.add_argument("--days", type=int, default=7, metavar="N", help="due within so many days (default: 7)")
    listed = actions.add("list", "reminders and how far they have come")
    listed.add_argument("--state", choices=("draft", "queued", "sending", "sent", "failed"))
    listed.add_argument("--csv", type=Path, metavar="FILE", help="write them as CSV; - is standard output")
    send = actions.add("send", "send by e-mail what is drafted and due, outside the quiet hours")
    send.add_argument("--quiet", type=_hours, metavar="HH:MM-HH:MM", help="quiet hours (default: 20:00-08:00)")
    send.add_argument("--at", type=_clock, metavar="HH:MM", help="take this for the time of day")
    settle = actions.add("settle", "say what became of a reminder that only a person can know of")
    settle.add_argument("number", type=int)
    fate = settle.add_mutually_exclusive_group(required=True)
    fate.add_argument("--sent", action="store_true", help="it went out, or was passed on by phone")
    fate.add_argument("--not-sent", action="store_true", help="it did not go out")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action."""
    from dialogue.counter.reminders import draft_reminders, list_reminders, settle_reminder, state_named

    with at_desk(options, settings) as desk:
        if options.action == "draft":
            drafted = draft_reminders(desk.counter, options.days)
            left = {
                name: getattr(drafted, name) for name in ("no_consent", "no_address", "not_with_customer", "already")
            }
            desk.show(drafted, [desk.say("drafted", n=len(drafted.reminders)), desk.say("not_drafted", **left)])
        elif options.action == "list":
            _list(desk, list_reminders(desk.counter, state_named(options.state)), options.csv)
        elif options.action == "send":
            _send(desk, options)
        else:
            row = settle_reminder(desk.counter, options.number, sent=options.sent)
            state = desk.say(f"reminder_state.{row.state}")
            desk.show(row, [desk.say("reminder_settled", number=row.id, state=state)])
    return Exit.DONE


def _list(desk: Desk, outbox: Outbox, csv: Path | None) -> None:
    from assistant.spreadsheet import write_csv

    if csv:
        rows = [
            {
                **one.reminder.to_dict(),
                "customer": one.customer.name if one.customer else None,
                "phone": one.customer.phone if one.customer else None,
                "email": one.customer.email if one.customer else None,
                "tag": one.tag,
                "error": _trouble(desk, one.reminder.error),
            }
            for one in outbox.reminders
        ]
        write_file(csv, write_csv(COLUMNS, rows))
        return
    lines = [
        desk.say(
            "reminder_row",
            number=one.reminder.id,
            state=desk.say(f"reminder_state.{one.reminder.state}"),
            customer=one.customer.name if one.customer else desk.say("somebody"),
            tag=one.tag,
            day=one.reminder.due_on,
            note=desk.say("reminder_note", note=_trouble(desk, one.reminder.error)) if one.reminder.error else "",
        )
        for one in outbox.reminders
    ]
    desk.show(outbox, lines or [desk.say("none")])


def _trouble(desk: Desk, error: str | None) -> str | None:
    """Return what is the matter with a reminder in words: the house's own reasons are kept as names."""
    return desk.say(f"reminder_error.{error}") if desk.counter.wording.has(f"screen.reminder_error.{error}") else error


def _send(desk: Desk, options: argparse.Namespace) -> None:
    from assistant.bootstrap import clock_on
    from assistant.mail import SENDER, SERVER, read_mailbox
    from assistant.reminders import send_reminders

    mailbox = read_mailbox()
    if mailbox is None:
        raise CommandError(f"No mail server is set: put its address into {SERVER} and the sender's into {SENDER}.")
    now = clock_on(desk.counter.today)().astimezone()
    if options.at:
        now = now.replace(hour=options.at.hour, minute=options.at.minute, second=0, microsecond=0)
    done = send_reminders(desk.counter, mailbox, now, options.quiet)
    desk.show(done, _round_lines(desk, done))


def _round_lines(desk: Desk, done: Round) -> Iterator[str]:
    if done.quiet_until:
        yield desk.say("round_quiet", time=f"{done.quiet_until:%H:%M}")
    else:
        yield desk.say("round_sent", n=len(done.sent))
    for name in ("later", "failed"):
        if found := getattr(done, name):
            yield desk.say(f"round_{name}", n=len(found))
    for name in ("uncertain", "interrupted"):
        if found := getattr(done, name):
            yield desk.say(f"round_{name}", tags=list(found))
    if done.because:
        yield done.because
    if done.set_aside:
        yield desk.say("round_set_aside", n=done.set_aside)


def _clock(text: str) -> dt.time:
    try:
        return dt.time.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no time of day; write it as 21:30") from error


def _hours(text: str) -> tuple[dt.time, dt.time]:
    found = re.fullmatch(r"(\d\d:\d\d)-(\d\d:\d\d)", text)
    if not found:
        raise argparse.ArgumentTypeError(f"{text!r} are no hours; write them as 20:00-08:00")
    return _clock(found[1]), _clock(found[2])
