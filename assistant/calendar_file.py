"""Calendar files by RFC 5545: all-day events with names that stay, for a customer and for the shop; stores nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

LONGEST_LINE = 75
"""Octets of one line without its end (RFC 5545, 3.1)."""
PRODUCT = "-//counterpull//strings due//EN"


@dataclass(frozen=True)
class DayEvent:
    """Something that is so on one whole day."""

    uid: str
    """Stays the same when the day or the words change, so that a calendar replaces the entry."""
    day: dt.date
    summary: str
    description: str = ""
    warn_days: int | None = None
    """How many days before a calendar should speak up; None leaves it silent."""


def write_calendar(name: str, events: Iterable[DayEvent], moment: dt.datetime) -> bytes:
    """Return a calendar file.

    Args:
        name: what a program shows as the calendar's name.
        events: what stands in it.
        moment: when it was written.
    """
    stamp = f"{moment.astimezone(dt.UTC):%Y%m%dT%H%M%SZ}"
    lines = ["BEGIN:VCALENDAR", "VERSION:2.0", f"PRODID:{PRODUCT}", "CALSCALE:GREGORIAN", "METHOD:PUBLISH"]
    lines.append(f"X-WR-CALNAME:{_escape(name)}")
    for event in events:
        lines += _event(event, stamp)
    lines.append("END:VCALENDAR")
    return b"".join(_fold(line) for line in lines)


def _event(event: DayEvent, stamp: str) -> list[str]:
    # The end of an all-day event is the first day that is not part of it (RFC 5545, 3.6.1).
    after = event.day + dt.timedelta(days=1)
    lines = [
        "BEGIN:VEVENT",
        f"UID:{_escape(event.uid)}",
        f"DTSTAMP:{stamp}",
        f"DTSTART;VALUE=DATE:{event.day:%Y%m%d}",
        f"DTEND;VALUE=DATE:{after:%Y%m%d}",
        f"SUMMARY:{_escape(event.summary)}",
        "TRANSP:TRANSPARENT",
    ]
    if event.description:
        lines.append(f"DESCRIPTION:{_escape(event.description)}")
    if event.warn_days is not None:
        lines += ["BEGIN:VALARM", "ACTION:DISPLAY", f"DESCRIPTION:{_escape(event.summary)}"]
        lines += [f"TRIGGER:-P{event.warn_days}D", "END:VALARM"]
    lines.append("END:VEVENT")
    return lines


def _escape(text: str) -> str:
    """Return a text value with what has a meaning of its own written out (RFC 5545, 3.3.11)."""
    for letter, written in (("\\", "\\\\"), (";", "\\;"), (",", "\\,"), ("\r\n", "\\n"), ("\n", "\\n"), ("\r", "\\n")):
        text = text.replace(letter, written)
    return "".join(letter for letter in text if letter >= " " or letter == "\t")


def _fold(line: str) -> bytes:
    """Return a line in pieces of at most 75 octets that never cut a letter in two (RFC 5545, 3.1)."""
    pieces: list[bytes] = []
    piece = b""
    for letter in line:
        octets = letter.encode()
        # A continued line begins with a space, which counts.
        if len(piece) + len(octets) > LONGEST_LINE - (1 if pieces else 0):
            pieces.append(piece)
            piece = b""
        piece += octets
    pieces.append(piece)
    return b"\r\n ".join(pieces) + b"\r\n"
