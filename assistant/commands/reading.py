"""`reading`: log a baseline or a check of one stringing, from a figure or from a recording of taps."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.desk import Desk, add_shared, at_desk, read_day
from assistant.exits import CommandError, Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.readings import ReadingLogged
    from dialogue.counter.taps import Tap


FREQUENCY = "frequency"
HEARD = ("hertz", "confidence", "taps")
"""What of a recording stands beside the reading it became."""


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("tag", nargs="?", help="the stringing; without one a recording is only listened to")
    parser.add_argument("values", type=float, nargs="*", metavar="N", help="the figure, with its repeats")
    parser.add_argument(
        "--wav", type=Path, metavar="FILE", help="take the frequency from a recording of three taps on the strings"
    )
    role = parser.add_mutually_exclusive_group()
    role.add_argument("--baseline", action="store_const", const="baseline", dest="role", help="of fresh strings")
    role.add_argument("--check", action="store_const", const="check", dest="role", help="a later one")
    parser.add_argument("--kind", help="deflection, stiffness, pounds or frequency")
    parser.add_argument("--instrument", help="the shop's own name of the instrument")
    parser.add_argument("--unit", help="where the instrument shows another unit than is usual")
    parser.add_argument("--on", type=read_day, metavar="DAY", help="the day it was taken (default: today)")
    parser.add_argument("--minutes", type=int, metavar="N", help="how long after stringing a baseline was taken")
    parser.add_argument("--note", metavar="WORDS")
    parser.add_argument("--sure", action="store_true", help="keep a baseline that cannot be right, after a second look")
    parser.set_defaults(usage=parser.format_usage().strip())


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Log the reading and show what it says."""
    from dialogue.counter.readings import Measured, log_reading

    with at_desk(options, settings) as desk:
        _check_given(options)
        tap = _listen(desk, options.wav) if options.wav else None
        if options.tag is None:
            desk.show(tap.to_dict() if tap else {}, _told(desk, tap) if tap else ())
            return Exit.DONE
        measured = Measured(
            values=tap.taps if tap else tuple(options.values),
            kind=FREQUENCY if tap else options.kind,
            unit=options.unit,
            instrument=options.instrument,
            taken_on=options.on,
            minutes_after_stringing=options.minutes,
            note=options.note,
            sure=options.sure,
        )
        outcome = log_reading(desk.counter, options.tag, options.role, measured)
        logged = desk.need(outcome, {"sure": desk.say("sure")})
        if tap and desk.json:
            heard = {name: value for name, value in tap.to_dict().items() if name in HEARD}
            remarks = [desk.counter.wording.remark(remark) for remark in logged.remarks]
            desk.show({**logged.to_dict(), **heard, "remarks": [*tap.remarks, *remarks]}, ())
        else:
            desk.show(logged, [*(_told(desk, tap) if tap else ()), *_lines(desk, logged)])
    return Exit.DONE


def _check_given(options: argparse.Namespace) -> None:
    """Refuse what does not go together.

    Raises:
        CommandError: says what to give, and how the command is written.
    """
    wrong = None
    if options.wav and options.values:
        wrong = "Give either figures or --wav FILE, not both."
    elif options.wav and options.kind not in (None, FREQUENCY):
        wrong = "A recording of taps gives a frequency; leave --kind out."
    elif options.tag is None and not options.wav:
        wrong = "Name the stringing's tag and the figure, or a recording with --wav FILE."
    elif options.tag is not None and not (options.values or options.wav):
        wrong = "Give the figure that was read, or a recording with --wav FILE."
    elif options.tag is not None and options.role is None:
        wrong = "Say --baseline for fresh strings, or --check for a later reading."
    if wrong:
        raise CommandError(f"{wrong}\n{options.usage}")


def _listen(desk: Desk, path: Path) -> Tap:
    from assistant.recordings import read_wav
    from dialogue.counter.taps import read_tap

    return desk.need(read_tap(*read_wav(path)))


def _told(desk: Desk, tap: Tap) -> Iterator[str]:
    confidence = round(tap.confidence, 2)
    yield desk.say("tap", hertz=tap.hertz, n=len(tap.taps), taps=list(tap.taps), confidence=confidence)
    yield from tap.remarks


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
