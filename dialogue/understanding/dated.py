"""What a date comes to, from where it is looked at, and the year of a day that was said without one; reads no form."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from dialogue.understanding.calendar_days import exists, whole_span
from dialogue.understanding.cuebook import Hit

PAST, FUTURE, NEAR = "past", "future", "near"


@dataclass(frozen=True)
class Dated:
    """What a date expression comes to."""

    value: dict[str, Any] | None
    """{"value", "approx"}, or None for a day that does not exist."""
    readback: str | None = None


@dataclass(frozen=True)
class Names:
    """The named parts of the calendar, from the cue file."""

    months: Mapping[str, int]
    weekdays: Mapping[str, int]
    seasons: Mapping[str, int]
    which: Mapping[str, str]
    nth: Mapping[str, int]
    units: Mapping[str, str]
    """The letter of a unit by the beginning of its name."""
    last_year: Mapping[str, int]
    last_month: Mapping[str, int]
    holidays: Mapping[str, Mapping[str, Any]]
    two_digit_years: tuple[int, int]


@dataclass(frozen=True)
class Sight:
    """From where a date is looked at."""

    today: dt.date
    direction: str
    """past, future or near: where a day without a year lies."""
    names: Names


IMPOSSIBLE = Dated(None, "impossible_date")


def exact(day: dt.date, readback: str | None = None) -> Dated:
    """Return a day as a date value."""
    return Dated({"value": day.isoformat(), "approx": False}, readback)


def month_of(year: int, month: int) -> Dated:
    """Return a month as a date value."""
    return Dated({"value": f"{year:04d}-{month:02d}", "approx": True})


def span_of(sign: str, number: float, unit: str) -> Dated:
    """Return a span of time, ahead or with a minus sign gone by, as a date value."""
    count, unit = whole_span(number, unit)
    return Dated({"value": f"{sign}P{count}{unit}", "approx": True})


def year_of(sight: Sight, month: int, day: int, which: str | None = None) -> int | None:
    """Return the year in which a day without a year lies; None when there is no such day."""
    today = sight.today
    days = [dt.date(year, month, day) for year in range(today.year - 4, today.year + 5) if exists(year, month, day)]
    if not days:
        return None
    if which == "this":
        return today.year
    direction = which or sight.direction
    if direction == PAST:
        return max((found for found in days if found <= today), default=days[0]).year
    if direction == FUTURE:
        return min((found for found in days if found >= today), default=days[-1]).year
    return min(days, key=lambda found: abs(found - today)).year


def year_of_month(sight: Sight, month: int, which: str | None = None) -> int:
    """Return the year in which a month without a year lies."""
    today = sight.today
    if which == "this":
        return today.year
    direction = which or sight.direction
    if direction == PAST:
        passed = month < today.month or (month == today.month and which is None)
        return today.year if passed else today.year - 1
    if direction == FUTURE:
        ahead = month > today.month or (month == today.month and which is None)
        return today.year if ahead else today.year + 1
    middle = dt.date(today.year, month, 15)
    years = (today.year - 1, today.year, today.year + 1)
    return min(years, key=lambda year: abs(middle.replace(year=year) - today))


def named(hit: Hit, group: str) -> str:
    """Return the words found under a name, or none."""
    return (hit.groups.get(group) or "").strip()


def which_one(hit: Hit, sight: Sight) -> str | None:
    """Return past, future or "this" where somebody said which; None where nobody did."""
    return sight.names.which.get(named(hit, "which"))


def said_year(hit: Hit, sight: Sight) -> int | None:
    """Return the year that was said, or None."""
    if year := named(hit, "year"):
        return int(year)
    if (name := named(hit, "last_year")) in sight.names.last_year:
        return sight.today.year + sight.names.last_year[name]
    if (short := re.search(r"\b20 (\d\d) $", hit.words)) and (hit.groups.get("month") or not hit.groups.get("ord")):
        return 2000 + int(short[1])
    return None


def short_year(number: int, sight: Sight) -> int:
    """Return the year that two digits mean."""
    low, high = sight.names.two_digit_years
    return number + (2000 if low <= number <= high else 1900)


def fits(day: dt.date, sight: Sight) -> bool:
    """Tell whether a day lies on the side of today that is looked at."""
    if sight.direction == NEAR:
        return True
    return day <= sight.today if sight.direction == PAST else day >= sight.today
