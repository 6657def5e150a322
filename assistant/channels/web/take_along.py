"""The day to take along: an RFC 5545 event short enough for a QR code, and the code as SVG; knows no decision."""

from __future__ import annotations

import datetime as dt
import hashlib
import io
from functools import lru_cache

import segno

LONGEST_LINE = 75
"""Octets a line, RFC 5545, 3.1."""


def write_event(day: dt.date, summary: str, now: dt.datetime, place: str) -> str:
    """Return a calendar object with one event of a whole day.

    The end is left out: an event that starts on a date and has no end lasts that day (RFC 5545, 3.6.1).

    Args:
        day: the day of the event.
        summary: what the calendar shows; it names nobody.
        now: the moment of writing.
        place: something no other server has, so that its events are its own.
    """
    stamp = now.astimezone(dt.UTC)
    uid = hashlib.sha256(f"{place} {stamp.isoformat()} {day} {summary}".encode()).hexdigest()[:16]
    lines = (
        "BEGIN:VCALENDAR",
        "VERSION:2.0",
        "PRODID:-//Counterpull//EN",
        "BEGIN:VEVENT",
        f"UID:{uid}@counterpull",
        f"DTSTAMP:{stamp:%Y%m%dT%H%M%SZ}",
        f"DTSTART;VALUE=DATE:{day:%Y%m%d}",
        f"SUMMARY:{_escape(summary)}",
        "END:VEVENT",
        "END:VCALENDAR",
    )
    return "".join(f"{_fold(line)}\r\n" for line in lines)


@lru_cache(maxsize=256)
def draw_qr(text: str) -> str:
    """Return the text as a QR code, an SVG picture with the quiet zone that readers need."""
    drawn = io.BytesIO()
    segno.make(text, error="m", micro=False).save(
        drawn, kind="svg", scale=4, border=4, light="#fff", xmldecl=False, svgclass=None, lineclass=None, omitsize=True
    )
    return drawn.getvalue().decode()


def _escape(text: str) -> str:
    plain = text.replace("\\", "\\\\").replace(";", "\\;").replace(",", "\\,")
    return plain.replace("\r\n", "\\n").replace("\n", "\\n")


def _fold(line: str) -> str:
    """Fold a line after 75 octets at most, never inside a letter (RFC 5545, 3.1)."""
    pieces: list[str] = []
    piece, width = "", LONGEST_LINE
    for letter in line:
        if len((piece + letter).encode()) > width:
            pieces.append(piece)
            piece, width = "", LONGEST_LINE - 1
        piece += letter
    return "\r\n ".join([*pieces, piece])
