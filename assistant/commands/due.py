"""`due`: whose strings are due, as a list, as CSV or as a calendar file."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.desk import Desk, add_shared, at_desk, write_file
from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from assistant.calendar_file import DayEvent
    from dialogue.counter.due import DueListing

WARN_DAYS = 7


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("--days", type=int, default=7, metavar="N", help="due within so many days (default: 7)")
    parser.add_argument("--no-overdue", action="store_true", help="leave out those whose day has passed")
    parser.add_argument("--league", metavar="NAME", help="only the members of a league")
    parser.add_argument("--limit", type=int, default=200, metavar="N")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="write it as CSV; - is standard output")
    parser.add_argument("--ics", type=Path, metavar="FILE", help="write it as a calendar; - is standard output")
    parser.add_argument("--customer", metavar="WHO", help="with --ics: one customer's own calendar")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Show or write the list."""
    from assistant.bootstrap import clock_on
    from assistant.calendar_file import write_calendar
    from assistant.spreadsheet import write_csv
    from dialogue.counter.due import DueEntry, DueQuestion, list_due

    with at_desk(options, settings) as desk:
        say = desk.counter.wording.say
        if options.customer:
            customer = desk.customer(options.customer)
            own = _customer_events(desk, customer.id)
            name = say("calendar.name_customer", name=customer.name)
            content = write_calendar(name, own, clock_on(settings.today)())
            _write(desk, options.ics or Path("-"), content)
            return Exit.DONE
        question = DueQuestion(
            within_days=options.days, overdue=not options.no_overdue, league=options.league, limit=options.limit
        )
        listing = desk.need(list_due(desk.counter, question))
        if options.csv:
            columns = [part.name for part in fields(DueEntry)]
            _write(desk, options.csv, write_csv(columns, [entry.to_dict() for entry in listing.entries]))
        if options.ics:
            events = [*_shop_events(desk, listing), *_season_events(desk)]
            _write(desk, options.ics, write_calendar(say("calendar.name_shop"), events, clock_on(settings.today)()))
        if not options.csv and not options.ics:
            desk.show(listing, due_lines(desk, listing))
    return Exit.DONE


def due_lines(desk: Desk, listing: DueListing) -> Iterator[str]:
    """Yield the list, the longest overdue first."""
    for entry in listing.entries:
        days = entry.days_left
        note = desk.say("due_passed", n=-days) if days < 0 else desk.say("due_ahead", n=days)
        league = ""
        if entry.league:
            league = desk.say("due_league", league=entry.league, day=entry.season_starts_on)
        yield desk.say(
            "due_row",
            day=entry.restring_by,
            customer=entry.customer or desk.say("somebody"),
            racquet=entry.racquet or desk.say("unnamed"),
            tag=entry.tag,
            note=note if days else desk.say("due_today"),
            league=league,
        )
    shown = len(listing.entries)
    if shown < listing.total:
        yield desk.say("due_cut", n=shown, total=listing.total)
    else:
        yield desk.say("due_count", n=shown)


def _write(desk: Desk, path: Path, content: bytes | str) -> None:
    write_file(path, content)
    if str(path) != "-":
        desk.show({"file": str(path)}, [desk.say("file_written", path=str(path))])


def _shop_events(desk: Desk, listing: DueListing) -> Iterator[DayEvent]:
    from assistant.calendar_file import DayEvent

    say = desk.counter.wording.say
    for entry in listing.entries:
        summary = say(
            "calendar.due_shop_about" if entry.about else "calendar.due_shop",
            customer=entry.customer or desk.say("somebody"),
            racquet=entry.racquet or say("racquet.plain"),
        )
        yield DayEvent(uid_of(entry.tag), entry.restring_by, summary, entry.phone or "")


def _season_events(desk: Desk) -> Iterator[DayEvent]:
    from assistant.calendar_file import DayEvent
    from dialogue.counter.leagues import list_leagues

    for shown in list_leagues(desk.counter).leagues:
        for season in shown.seasons:
            if season.starts_on >= desk.counter.today:
                summary = desk.counter.wording.say("calendar.season", league=shown.league.name)
                yield DayEvent(f"season-{season.id}@counterpull", season.starts_on, summary)


def _customer_events(desk: Desk, customer_id: int) -> Iterator[DayEvent]:
    from assistant.calendar_file import DayEvent
    from dialogue.counter.due import list_of_customer
    from dialogue.counter.pickup import tell_strings

    say = desk.counter.wording.say
    for racquet, job in list_of_customer(desk.counter, customer_id):
        if job.restring_by:
            key = "calendar.due_about" if job.approximate else "calendar.due"
            summary = say(key, racquet=racquet.nickname or say("racquet.plain"))
            details = say("calendar.details", tag=job.tag, strings=tell_strings(desk.counter, job))
            yield DayEvent(uid_of(job.tag), job.restring_by, summary, details, WARN_DAYS)


def uid_of(tag: str) -> str:
    """Return the name of a stringing's entry in every calendar."""
    return f"restring-{tag}@counterpull"
