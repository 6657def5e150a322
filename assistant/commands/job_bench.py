"""The actions of `job` at the bench: the list, strung, the date again, ready, cancelled."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.desk import Desk
from assistant.exits import Exit

if TYPE_CHECKING:
    from assistant.desk import Pull
    from dialogue.counter.bench import StrungLogged
    from dialogue.counter.strings import Side, Strings


def show_bench(desk: Desk, _: argparse.Namespace) -> Exit:
    """Show every racquet in the shop by promised day."""
    from dialogue.counter.bench import list_bench

    bench = list_bench(desk.counter)
    lines = [
        desk.say(
            "bench_row",
            tag=row.tag,
            status=desk.say(f"status.{row.status}"),
            customer=row.customer or desk.say("somebody"),
            racquet=row.racquet or desk.say("unnamed"),
            promised=desk.say("bench_promised", day=row.promised_on)
            if row.promised_on
            else desk.say("bench_unpromised"),
            readings=desk.say("bench_readings", n=row.readings),
        )
        for row in bench.rows
    ]
    desk.show(bench, lines or [desk.say("none")])
    return Exit.DONE


def log_stringing(desk: Desk, options: argparse.Namespace) -> Exit:
    """Log a stringing and show the date its label will bear."""
    from dialogue.counter.bench import Strung, log_strung

    strung = Strung(
        tag=options.tag,
        machine=options.machine,
        pieces=options.pieces,
        prestretch_percent=options.prestretch,
        strung_on=options.on,
        strings=strings_of(options),
        unknown=tuple(options.unknown),
    )
    logged = desk.need(log_strung(desk.counter, strung))
    desk.show(logged, _date_lines(desk, logged))
    return Exit.DONE


def date_again(desk: Desk, options: argparse.Namespace) -> Exit:
    """Work the date out again."""
    from dialogue.counter.bench import redate

    logged = desk.need(redate(desk.counter, options.tag, options.unknown))
    desk.show(logged, _date_lines(desk, logged))
    return Exit.DONE


def move(desk: Desk, options: argparse.Namespace) -> Exit:
    """Record that a racquet lies ready or that nothing comes of it."""
    from dialogue.counter.bench import cancel_job, mark_ready

    step = {"ready": mark_ready, "cancel": cancel_job}[options.action]
    moved = desk.need(step(desk.counter, options.tag))
    desk.show(moved, [desk.say("moved", tag=moved.job.tag, status=desk.say(f"status.{moved.job.status}"))])
    return Exit.DONE


def strings_of(options: argparse.Namespace) -> Strings | None:
    """Return the strings that were named, None where none were."""
    from dialogue.counter.strings import Strings

    mains = side_of(options.mains, options.tension, options.gauge)
    crosses = side_of(options.crosses, options.crosses_tension, options.crosses_gauge)
    return Strings(mains=mains, crosses=crosses) if mains else None


def side_of(string: str | None, pull: Pull | None, gauge: str | None) -> Side | None:
    """Return one side of a bed as typed, None where nothing was said of it."""
    from dialogue.counter.strings import name_side

    if string is None and pull is None and gauge is None:
        return None
    return name_side(string, pull.value if pull else None, pull.unit if pull else "lb", gauge)


def _date_lines(desk: Desk, logged: StrungLogged) -> Iterator[str]:
    job, decision = logged.job, logged.decision
    yield desk.say("strung", tag=job.tag, day=job.strung_on)
    if job.restring_by:
        key = "restring_by_about" if job.approximate else "restring_by"
        yield desk.say(key if decision.every else "restring_by_bare", day=job.restring_by, every=decision.every or "")
        yield from (desk.say("why", says=step.says) for step in decision.trail if step.table in ("interval", "due"))
