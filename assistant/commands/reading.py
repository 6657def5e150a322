"""`reading`: log a baseline or a check of one stringing."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.desk import Desk, add_shared, at_desk, read_day
from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.readings import ReadingLogged


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("tag")
    parser.add_argument("values", type=float, nargs="+", metavar="N", help="the figure, with its repeats")
    role = parser.add_mutually_exclusive_group(required=True)
    role.add_argument("--baseline", action="store_const", const="baseline", dest="role", help="of fresh strings")
    role.add_argument("--check", action="store_const", const="check", dest="role", help="a later one")
    parser.add_argument("--kind", help="deflection, stiffness, pounds or frequency")
    parser.add_argument("--instrument", help="the shop's own name of the instrument")
    parser.add_argument("--unit", help="where the instrument shows another unit than is usual")
    parser.add_argument("--on", type=read_day, metavar="DAY", help="the day it was taken (default: today)")
    parser.add_argument("--minutes", type=int, metavar="N", help="how long after stringing a baseline was taken")
    parser.add_argument("--note", metavar="WORDS")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Log the reading and show what it says."""
    from dialogue.counter.readings import Measured, log_reading

    measured = Measured(
        values=tuple(options.values),
        kind=options.kind,
        unit=options.unit,
        instrument=options.instrument,
        taken_on=options.on,
        minutes_after_stringing=options.minutes,
        note=options.note,
    )
    with at_desk(options, settings) as desk:
        logged = desk.need(log_reading(desk.counter, options.tag, options.role, measured))
        desk.show(logged, _lines(desk, logged))
    return Exit.DONE


def _lines(desk: Desk, logged: ReadingLogged) -> Iterator[str]:
    spread = desk.say("logged_spread", spread=logged.spread) if len(logged.reading.values) > 1 else ""
    role = desk.say(f"role.{logged.reading.role}")
    yield desk.say("logged", tag=logged.job.tag, role=role, mean=logged.mean, spread=spread)
    if logged.after is None:
        return
    if logged.baseline is not None and logged.after.loss_percent is not None:
        loss = round(logged.after.loss_percent, 1)
        yield desk.say("loss", baseline=logged.baseline, now=logged.mean, loss=loss)
    if logged.after.energy_percent is not None:
        yield desk.say("energy", energy=round(logged.after.energy_percent, 1))
    yield desk.say("verdict_after", verdict=desk.say(f"verdict.{logged.after.verdict}"))
    yield from (desk.say("why", says=step.says) for step in logged.after.trail if step.table != "others_say")
