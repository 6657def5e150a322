"""Calendar files read back by icalendar, and octet by octet against RFC 5545."""

from __future__ import annotations

import datetime as dt

import icalendar
from hypothesis import given
from hypothesis import strategies as st

from assistant.calendar_file import LONGEST_LINE, DayEvent, write_calendar

MOMENT = dt.datetime(2026, 5, 4, 12, 30, tzinfo=dt.timezone(dt.timedelta(hours=2)))
TEXT = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=200)


def test_a_second_parser_reads_what_was_written() -> None:
    """One all-day event: its end is the day after (RFC 5545, 3.6.1), its name stays."""
    due = DayEvent("restring-R87XXW@counterpull", dt.date(2027, 2, 28), "Restring: red, blue; \\ frame", "One\nTwo", 7)
    calendar = icalendar.Calendar.from_ical(write_calendar("Strings of Maya", [due], MOMENT))
    (event,) = calendar.walk("VEVENT")
    assert event.decoded("dtstart") == dt.date(2027, 2, 28)
    assert event.decoded("dtend") == dt.date(2027, 3, 1)
    assert str(event["summary"]) == "Restring: red, blue; \\ frame"
    assert str(event["description"]) == "One\nTwo"
    assert str(event["uid"]) == "restring-R87XXW@counterpull"
    assert event.decoded("dtstamp") == dt.datetime(2026, 5, 4, 10, 30, tzinfo=dt.UTC)
    (alarm,) = calendar.walk("VALARM")
    assert alarm.decoded("trigger") == dt.timedelta(days=-7)
    assert (str(calendar["version"]), str(calendar["method"])) == ("2.0", "PUBLISH")
    assert str(calendar["x-wr-calname"]) == "Strings of Maya"


def test_the_exclusive_end_of_the_worked_day() -> None:
    """All-day 2027-02-28 ends 20270301."""
    text = write_calendar("x", [DayEvent("a", dt.date(2027, 2, 28), "s")], MOMENT).decode()
    assert "DTSTART;VALUE=DATE:20270228\r\nDTEND;VALUE=DATE:20270301\r\n" in text


@given(name=TEXT, summary=TEXT, description=TEXT, day=st.dates(dt.date(1970, 1, 1), dt.date(2100, 12, 31)))
def test_any_words_come_back_and_no_line_is_too_long(name: str, summary: str, description: str, day: dt.date) -> None:
    """At most 75 octets a line, each ended by CR LF, no letter cut in two."""
    written = write_calendar(name, [DayEvent("uid-1", day, summary, description)], MOMENT)
    assert written.endswith(b"\r\n")
    lines = written.split(b"\r\n")[:-1]
    assert all(len(line) <= LONGEST_LINE for line in lines)
    assert all(b"\n" not in line and b"\r" not in line for line in lines)
    for line in lines:
        line.decode()
    (event,) = icalendar.Calendar.from_ical(written).walk("VEVENT")
    assert str(event["summary"]) == summary
    assert str(event.get("description", "")) == description
    assert event.decoded("dtend") - event.decoded("dtstart") == dt.timedelta(days=1)


@given(text=st.text(max_size=80))
def test_junk_never_breaks_out_of_its_value(text: str) -> None:
    """Line ends and control characters add no line of their own."""
    clean = text.encode(errors="replace").decode()
    written = write_calendar("n", [DayEvent("uid-1", dt.date(2026, 5, 4), clean)], MOMENT)
    calendar = icalendar.Calendar.from_ical(written)
    assert len(calendar.walk("VEVENT")) == 1
    assert set(calendar.walk("VEVENT")[0]) == {"UID", "DTSTAMP", "DTSTART", "DTEND", "SUMMARY", "TRANSP"}


def test_an_empty_feed_is_a_calendar_too() -> None:
    """Nothing due is no broken file."""
    assert icalendar.Calendar.from_ical(write_calendar("Strings due", [], MOMENT)).walk("VEVENT") == []
