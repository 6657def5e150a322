"""Months added to a day, against worked dates and a second calendar library."""

from __future__ import annotations

import calendar
import datetime as dt
from fractions import Fraction

import pytest
import whenever
from hypothesis import given
from hypothesis import strategies as st

from rules.calendar_rules import add_months

days = st.dates(dt.date(1970, 1, 1), dt.date(2150, 12, 31))
months = st.integers(0, 1200)


@pytest.mark.parametrize(
    ("day", "count", "later"),
    [
        ("2026-08-31", Fraction(6), "2027-02-28"),  # a month end clips
        ("2028-02-29", Fraction(12), "2029-02-28"),
        ("2026-10-31", Fraction(4), "2027-02-28"),
        ("2027-08-31", Fraction(6), "2028-02-29"),  # into a leap year
        ("2024-02-29", Fraction(48), "2028-02-29"),
        ("2026-01-31", Fraction(1), "2026-02-28"),
        ("2026-01-31", Fraction(2), "2026-03-31"),  # from the original day, not from 28 February
        ("2026-01-10", Fraction(12, 5), "2026-03-22"),  # 10 March, then 0.4 x 31 = 12.4 days
        ("2026-12-31", Fraction(12, 5), "2027-03-11"),  # 28 February, then 0.4 x 28 = 11.2 days
        ("2026-02-10", Fraction(3, 2), "2026-03-26"),  # 10 March, then 15.5 days, halves up
        ("2026-01-10", Fraction(12, 7), "2026-03-02"),  # 10 February, then 5/7 x 28 = 20 days
        ("2026-01-10", Fraction(4, 7), "2026-01-28"),  # 17.71 days
        ("2026-01-10", Fraction(0), "2026-01-10"),
    ],
)
def test_worked_dates(day: str, count: Fraction, later: str) -> None:
    """Whole months first, a month end clips; then the broken part in days of the month that follows, halves up."""
    assert add_months(dt.date.fromisoformat(day), count).isoformat() == later


@given(day=days, count=months)
def test_whole_months_agree_with_a_second_library(day: dt.date, count: int) -> None:
    """The library `whenever` clips month ends in its own code."""
    assert add_months(day, Fraction(count)) == whenever.Date(day).add(months=count).to_stdlib()


@given(day=days, whole=st.integers(0, 24), tenths=st.integers(1, 99))
def test_broken_months_agree_with_a_second_library(day: dt.date, whole: int, tenths: int) -> None:
    """The stated rule once more, in the second library's months and in whole hundredths of days."""
    first = whenever.Date(day).add(months=whole)
    following = (first.add(months=1).to_stdlib() - first.to_stdlib()).days
    hundredths = tenths * following
    extra, rest = divmod(hundredths, 100)
    extra += rest >= 50
    assert add_months(day, whole + Fraction(tenths, 100)) == first.add(days=extra).to_stdlib()


@given(day=days, count=months)
def test_the_day_of_the_month_is_kept_or_clipped_to_the_end(day: dt.date, count: int) -> None:
    """By the calendar's own month lengths: never a day too far, never into the next month."""
    later = add_months(day, Fraction(count))
    length = calendar.monthrange(later.year, later.month)[1]
    assert later.day == min(day.day, length)
    assert (later.year - day.year) * 12 + later.month - day.month == count


@given(day=days, one=st.fractions(0, 24), other=st.fractions(0, 24))
def test_more_months_are_never_earlier(day: dt.date, one: Fraction, other: Fraction) -> None:
    """Order is kept, whatever the parts of a month."""
    short, long = sorted((one, other))
    assert add_months(day, short) <= add_months(day, long)
