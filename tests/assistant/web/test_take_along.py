"""The date as a calendar event and as a QR code, read by other libraries."""

from __future__ import annotations

import datetime as dt
import re

import icalendar
import pytest
import zxingcpp
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image, ImageDraw

from assistant.channels.web.take_along import draw_qr, write_event

NOW = dt.datetime(2026, 11, 24, 9, 30, tzinfo=dt.UTC)


def read(text: str) -> icalendar.Event:
    """Return the one event of a calendar, as a second parser reads it."""
    events = icalendar.Calendar.from_ical(text).walk("VEVENT")
    assert len(events) == 1
    return events[0]


def test_the_event_lasts_one_whole_day() -> None:
    """RFC 5545, 3.6.1: a date without an end is that day."""
    event = read(write_event(dt.date(2027, 2, 28), "Restring racquet", NOW, "here"))
    assert event.decoded("dtstart") == dt.date(2027, 2, 28)
    assert "dtend" not in event
    assert event.decoded("dtstamp") == NOW
    assert event["uid"]


def test_each_server_s_events_are_its_own() -> None:
    """The same day from the same server is the same event: put in twice, it stands in the calendar once."""
    one, same, other = (
        str(read(write_event(NOW.date(), "Restring racquet", NOW, place))["uid"]) for place in ("a", "a", "b")
    )
    assert one == same != other


@given(st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=200))
def test_any_summary_survives_and_no_line_is_too_long(summary: str) -> None:
    """RFC 5545, 3.1: 75 octets a line, a carriage return and a line feed at its end."""
    text = write_event(dt.date(2027, 2, 28), summary, NOW, "here")
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert "\n" not in text.replace("\r\n", "")
    assert str(read(text)["summary"]) == summary


@pytest.mark.parametrize("day", [dt.date(2026, 12, 31), dt.date(2028, 2, 29)])
def test_the_code_holds_the_event_itself(day: dt.date) -> None:
    """An independent reader finds it in the picture that the SVG describes."""
    text = write_event(day, "Restring racquet", NOW, "here")
    picture = paint(draw_qr(text))
    found = zxingcpp.read_barcodes(picture)
    assert [code.text for code in found] == [text]
    assert read(found[0].text).decoded("dtstart") == day


def paint(svg: str) -> Image.Image:
    """Return the picture of a code's SVG: strokes of width one along the lines of its path."""
    size = re.search(r'viewBox="0 0 (\d+)', svg)
    scale = re.search(r'transform="scale\((\d+)\)"', svg)
    path = re.findall(r' d="(M[^"]+)"', svg)[-1]
    assert size
    assert scale
    picture = Image.new("L", (int(size[1]), int(size[1])), 255)
    pen, unit, x, y = ImageDraw.Draw(picture), int(scale[1]), 0.0, 0.0
    for kind, numbers in re.findall(r"([Mmh])([^Mmhz]*)", path):
        values = [float(number) for number in re.findall(r"-?\d*\.?\d+", numbers)]
        if kind == "h":
            pen.rectangle((x * unit, (y - 0.5) * unit, (x + values[0]) * unit - 1, (y + 0.5) * unit - 1), fill=0)
            x += values[0]
        else:
            x, y = (values[0], values[1]) if kind == "M" else (x + values[0], y + values[1])
    return picture
