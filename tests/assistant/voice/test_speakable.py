"""Written text is said without signs, units and digits that a synthesiser would spell."""

from __future__ import annotations

import datetime as dt
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from num2words import num2words

from assistant.channels.voice.speakable import say_year, speakable, split_sentences

SAID = {
    "Strung at 54 lb, 16x19.": "Strung at 54 pounds, 16 by 19.",
    "1 lb less": "1 pound less",
    "24.5 kg": "24.5 kilos",
    "38 kgf/cm": "38 kilos per centimeter",
    "560 Hz": "560 hertz",
    "lost 28.9 %": "lost 28.9 percent",
    "Due 2026-12-03.": "Due December third, twenty twenty six.",
    "on 21 March 2027": "on March twenty first, twenty twenty seven",
    "by March 2027": "by March twenty twenty seven",
    "10-20 %": "10 to 20 percent",
    "\u22123 lb": "minus 3 pounds",
    "60 \u2192 55": "60 to 55",
    "mains/crosses": "mains or crosses",
    "52/50 lb": "52 over 50 pounds",
    "Tag 4071": "Tag four zero seven one",
    "job A-1023": "job A one zero two three",
    "- play on": "play on",
    "-v something": "v something",
    "(restring soon)": ", restring soon,",
    "...": "",
    "": "",
}


@pytest.mark.parametrize(("written", "said"), SAID.items())
def test_is_said(written: str, said: str) -> None:
    """Units, dates, patterns, tags and signs are said in words."""
    assert speakable(written) == said


def test_reads_the_digits_of_numbers_that_sound_alike() -> None:
    """Fifteen and fifty are told apart where something is read back, and only there."""
    assert speakable("So 15 lb and 50 lb?", reading_back=True) == "So 15, one five, pounds and 50, five oh, pounds?"
    assert speakable("So 52 lb, 15.5 kg?", reading_back=True) == "So 52 pounds, 15.5 kilos?"
    assert speakable("So 15 lb?") == "So 15 pounds?"


@pytest.mark.parametrize("year", [1998, 2000, 2005, 2010, 2026, 2027, 2049])
def test_says_years_as_people_do(year: int) -> None:
    """Years are said as num2words, a library of its own, says them."""
    expected = num2words(year, to="year").replace("-", " ").replace(" and ", " ")
    assert say_year(year).replace("two thousand", "two thousand") == expected


@given(st.dates(dt.date(2000, 1, 1), dt.date(2049, 12, 31)))
def test_says_every_day(day: dt.date) -> None:
    """A day is said by its month and its ordinal, as num2words has them, and no digit is left."""
    said = speakable(f"until {day.isoformat()}")
    assert said.startswith(f"until {day:%B} {num2words(day.day, to='ordinal').replace('-', ' ')},")
    assert not re.search(r"\d", said)


@given(st.text(max_size=200))
def test_never_begins_like_an_option(text: str) -> None:
    """Whatever is written, what is said begins with no dash and is empty rather than a lone sign."""
    said = speakable(text)
    assert not said.startswith("-")
    assert said == "" or re.search(r"\w", said)


def test_splits_at_sentences() -> None:
    """The first sentence is there to be said before the last is made."""
    assert split_sentences("Restring now. It lost 20.5 percent. Why?\nAsk me.") == (
        "Restring now.",
        "It lost 20.5 percent.",
        "Why?",
        "Ask me.",
    )
    assert split_sentences(" . ") == ()
