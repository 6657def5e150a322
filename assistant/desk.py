"""What the counter's commands share: their options, the open counter, and how answers and refusals are shown."""

from __future__ import annotations

import argparse
import datetime as dt
import os
import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from assistant.exits import CommandError, Exit
from assistant.json_lines import write_line
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.counter import Counter
    from dialogue.counter.customers import Customer, CustomerDraft
    from dialogue.counter.outcomes import Refusal

Answer = TypeVar("Answer")
WHO, REGION = "COUNTERPULL_WHO", "COUNTERPULL_REGION"
KG_IN_LB = 9.80665 / 4.4482216152605
"""The SI definitions of kgf and lbf."""


@dataclass(frozen=True)
class Pull:
    """A tension as typed."""

    value: float
    unit: str


@dataclass(frozen=True)
class Desk:
    """The counter as a command sees it."""

    counter: Counter
    json: bool

    def need(self, outcome: Answer | Refusal, ways_on: Mapping[str, str] | None = None) -> Answer:
        """Return an answer that is no refusal.

        Args:
            outcome: what the counter answered.
            ways_on: by what a refusal is about, what the command can do about it, as a sentence.

        Raises:
            CommandError: with the refusal's sentence; under --json it also stands on standard output.
        """
        from dialogue.counter.outcomes import Refusal, as_json

        if not isinstance(outcome, Refusal):
            return outcome
        way_on = (ways_on or {}).get(outcome.fact)
        message = " ".join(filter(None, (self.counter.wording.remark(outcome), way_on)))
        if self.json:
            values = as_json(outcome.values)
            error = {"fact": outcome.fact, "value": values.get("value"), "message": message}
            write_line({"error": {**error, "reason": outcome.reason, "values": values}})
        raise _Told(message)

    def say(self, key: str, **values: Any) -> str:
        """Return a sentence of the counter's screens."""
        return self.counter.wording.say(f"screen.{key}", **values)

    def show(self, outcome: Any, lines: Iterable[str]) -> None:
        """Print an answer: as one JSON object, or as lines with what must be said beside it."""
        from dialogue.counter.outcomes import as_json

        remarks = [self.counter.wording.remark(remark) for remark in getattr(outcome, "remarks", ())]
        if self.json:
            found = as_json(outcome)
            write_line(found | {"remarks": remarks} if remarks else found)
            return
        for line in (*lines, *remarks):
            sys.stdout.write(f"{line}\n")

    def customer(self, said: str) -> Customer:
        """Return the one customer who is meant by "#number", name, phone or tag."""
        from dialogue.counter.privacy import name_customer

        return self.need(name_customer(self.counter, said))


class _Told(CommandError):
    """A refusal that was shown under --json already."""


@contextmanager
def at_desk(options: argparse.Namespace, settings: Settings) -> Iterator[Desk]:
    """Open the counter for a command.

    Raises:
        CommandError: when database or rulebook cannot be used, or something is not on record.
    """
    from assistant import bootstrap

    who = options.who or os.environ.get(WHO) or "counter"
    region = options.region or os.environ.get(REGION) or "US"
    try:
        with bootstrap.open_counter(settings, who, region) as counter:
            yield Desk(counter, options.json)
    except _Told:
        raise
    except CommandError as error:
        if options.json:
            write_line({"error": {"fact": None, "value": None, "message": str(error)}})
        raise


def add_shared(parser: argparse.ArgumentParser) -> None:
    """Add the options that every command of the counter has."""
    parser.add_argument("--json", action="store_true", help="answer in one JSON object")
    parser.add_argument("--who", metavar="NAME", help=f"who is at the counter, for the audit trail and undo (or {WHO})")
    parser.add_argument(
        "--region", metavar="XX", help=f"where phone numbers without country code belong, such as GB (or {REGION}; US)"
    )


class Actions:
    """The actions of one command; each takes the options of the command after its own name too."""

    def __init__(self, parser: argparse.ArgumentParser) -> None:
        add_shared(parser)
        self._actions = parser.add_subparsers(dest="action", metavar="ACTION", required=True)

    def add(self, name: str, text: str) -> argparse.ArgumentParser:
        """Add an action and return its parser."""
        parser: argparse.ArgumentParser = self._actions.add_parser(
            name, help=text, description=text[0].upper() + text[1:] + "."
        )
        hidden = argparse.SUPPRESS
        for flag in ("--db", "--book", "--who", "--region"):
            parser.add_argument(flag, default=hidden, help=hidden)
        parser.add_argument("--json", action="store_true", default=hidden, help=hidden)
        parser.add_argument("--today", type=read_day, default=hidden, help=hidden)
        return parser


def add_customer_options(parser: argparse.ArgumentParser) -> None:
    """Add what may be said of a customer."""
    parser.add_argument("--name", help="the customer's name")
    parser.add_argument("--phone", help="in any national form")
    parser.add_argument("--email")
    parser.add_argument("--consent", action=argparse.BooleanOptionalAction, help="may be told when strings are due")
    parser.add_argument("--level", help="recreational or competitive")
    parser.add_argument("--plays", metavar="N", type=read_span, help="plays a week: 2, or 2-3")
    parser.add_argument("--hours", metavar="N", type=read_span, help="hours a play: 1.5, or 1-2")
    parser.add_argument("--hours-per-week", metavar="N", type=read_span, help="hours a week: 4, or 3-5")
    parser.add_argument("--season", help="the part of the year, where it is not all of it")
    parser.add_argument("--group", metavar="WORD", help="a group that the shop's own rows name, such as junior")
    parser.add_argument("--breaks-strings", action=argparse.BooleanOptionalAction, help="whether strings break")


def draft_of(options: argparse.Namespace) -> CustomerDraft:
    """Return what was said of a customer."""
    from dialogue.counter.customers import CustomerDraft

    return CustomerDraft(
        name=options.name,
        phone=options.phone,
        email=options.email,
        consent_to_contact=options.consent,
        level=options.level,
        plays_per_week=options.plays,
        hours_per_play=options.hours,
        hours_per_week=options.hours_per_week,
        season=options.season,
        breaks_strings=options.breaks_strings,
        group=options.group,
    )


def write_file(path: Path, content: bytes | str) -> None:
    """Write a file that only its owner may read, or standard output for "-".

    Raises:
        CommandError: when it cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    if str(path) == "-":
        sys.stdout.flush()
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
        return
    part = path.with_name(f".{path.name}.part")
    try:
        handle = os.open(part, os.O_CREAT | os.O_WRONLY | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as target:
            target.write(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise CommandError(f"{path} cannot be written ({error.strerror}).", Exit.REFUSED) from error


def read_file(path: Path) -> bytes:
    """Return a file's content.

    Raises:
        CommandError: when it cannot be read.
    """
    try:
        return path.read_bytes()
    except FileNotFoundError as error:
        raise CommandError(f"{path} is not there; name a file.", Exit.NOT_FOUND) from error
    except OSError as error:
        raise CommandError(f"{path} cannot be read ({error.strerror}).") from error


def read_day(text: str) -> dt.date:
    """Return an ISO day for the command line."""
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no day; write it as 2026-11-24") from error


def read_pull(text: str) -> Pull:
    """Return a tension: "54", "54lb" or "24.5kg"; without a unit it is lb."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*(lb|lbs|kg)?", text.strip().lower())
    if not found:
        raise argparse.ArgumentTypeError(f"{text!r} is no tension; write 54, 54lb or 24.5kg")
    return Pull(float(found[1]), "kg" if found[2] == "kg" else "lb")


def read_span(text: str) -> float | tuple[float, float]:
    """Return a number or a range of two: "2", "2-3"."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)(?:-(\d+(?:\.\d+)?))?", text.strip())
    if not found:
        raise argparse.ArgumentTypeError(f"{text!r} is no number; write 2, or 2-3")
    return (float(found[1]), float(found[2])) if found[2] else float(found[1])


def read_pattern(text: str) -> tuple[int, int]:
    """Return mains and crosses of a string pattern: "16x19"."""
    found = re.fullmatch(r"(\d{1,2})\s*x\s*(\d{1,2})", text.strip().lower())
    if not found:
        raise argparse.ArgumentTypeError(f"{text!r} is no pattern; write 16x19")
    return int(found[1]), int(found[2])


def read_printed(text: str) -> tuple[float, float]:
    """Return the range printed on a frame in lb: "50-60", "50-60lb" or "22-27kg"."""
    found = re.fullmatch(r"(\d+(?:\.\d+)?)\s*-\s*(\d+(?:\.\d+)?)\s*(lb|lbs|kg)?", text.strip().lower())
    if not found:
        raise argparse.ArgumentTypeError(f"{text!r} is no range; write 50-60, or 22-27kg")
    factor = KG_IN_LB if found[3] == "kg" else 1.0
    return round(float(found[1]) * factor, 3), round(float(found[2]) * factor, 3)
