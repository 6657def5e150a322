"""Every way of naming a day turned into a date value; knows the calendar, not which slot a date is for."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dateutil.relativedelta import relativedelta

from dialogue.understanding.calendar_days import (
    DAYS_A_MONTH,
    DAYS_A_WEEK,
    MONTHS_A_YEAR,
    exists,
    holiday_on,
    nth_weekday,
    whole_span,
)
from dialogue.understanding.cuebook import Hit

PAST, FUTURE, NEAR = "past", "future", "near"
SATURDAY = 5


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


def read_date(hit: Hit, sight: Sight) -> Dated | None:
    """Return the value of a date expression, or None when it names no date after all."""
    return READERS[hit.row.reads or ""](hit, sight)


def _exact(day: dt.date, readback: str | None = None) -> Dated:
    return Dated({"value": day.isoformat(), "approx": False}, readback)


def _month(year: int, month: int) -> Dated:
    return Dated({"value": f"{year:04d}-{month:02d}", "approx": True})


def _span(sign: str, number: float, unit: str) -> Dated:
    count, unit = whole_span(number, unit)
    return Dated({"value": f"{sign}P{count}{unit}", "approx": True})


def _year_of(sight: Sight, month: int, day: int, which: str | None = None) -> int | None:
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


def _year_of_month(sight: Sight, month: int, which: str | None = None) -> int:
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


def _named(hit: Hit, group: str) -> str:
    return (hit.groups.get(group) or "").strip()


def _which(hit: Hit, sight: Sight) -> str | None:
    return sight.names.which.get(_named(hit, "which"))


def _said_year(hit: Hit, sight: Sight) -> int | None:
    if year := _named(hit, "year"):
        return int(year)
    if (name := _named(hit, "last_year")) in sight.names.last_year:
        return sight.today.year + sight.names.last_year[name]
    if (short := re.search(r"\b20 (\d\d) $", hit.words)) and (hit.groups.get("month") or not hit.groups.get("ord")):
        return 2000 + int(short[1])
    return None


def _number(hit: Hit) -> float:
    """Return the number of a hit, the middle of a range, or the row's own."""
    first = hit.groups.get("n")
    if first is None:
        return float(hit.row.value)
    second = hit.groups.get("m")
    return (float(first) + float(second)) / 2 if second else float(first)


def _unit(hit: Hit, sight: Sight) -> str:
    """Return D, W, M or Y: by the name of the unit, days where the row counts in days."""
    said = _named(hit, "unit")
    return next((unit for start, unit in sight.names.units.items() if said.startswith(start)), "D")


def _day_offset(hit: Hit, sight: Sight) -> Dated:
    return _exact(sight.today + dt.timedelta(days=hit.row.value), hit.row.readback)


def _day_month(hit: Hit, sight: Sight) -> Dated | None:
    month = sight.names.months[_named(hit, "month")]
    text = hit.groups.get("ord") or hit.groups.get("n") or ""
    if not re.fullmatch(r"\d{1,2}", text):
        return None
    day = int(text)
    year = _said_year(hit, sight)
    if year is None:
        if day > DAYS_A_MONTH:
            short = _short_year(day, sight)
            return _month(short, month) if hit.words.strip().endswith(text) else IMPOSSIBLE
        year = _year_of(sight, month, day, _which(hit, sight))
    if year is None or not exists(year, month, day):
        return IMPOSSIBLE
    return _exact(dt.date(year, month, day))


def _short_year(number: int, sight: Sight) -> int:
    low, high = sight.names.two_digit_years
    return number + (2000 if low <= number <= high else 1900)


def _day_month_short(hit: Hit, sight: Sight) -> Dated | None:
    day, year = hit.groups.get("ord") or hit.groups.get("n") or "", hit.groups.get("m") or ""
    if not (day.isdigit() and re.fullmatch(r"\d\d", year)):
        return None
    month = sight.names.months[_named(hit, "month")]
    if not exists(_short_year(int(year), sight), month, int(day)):
        return IMPOSSIBLE
    return _exact(dt.date(_short_year(int(year), sight), month, int(day)))


def _numeric(hit: Hit, sight: Sight) -> Dated:
    said = _named(hit, "numeric")
    first, second, third = (int(part) for part in re.split(r"[./-]", said))
    if first > DAYS_A_MONTH:
        orders = [(first, second, third)]
    else:
        year = third if third > 99 else _short_year(third, sight)  # noqa: PLR2004 - two digits
        orders = [(year, first, second), (year, second, first)]
        if "." in said:
            orders.reverse()
    return _first_day(orders, sight)


def _first_day(orders: list[tuple[int, int, int]], sight: Sight) -> Dated:
    """Return the first order of day and month that exists and lies on the right side of today."""
    days = list(dict.fromkeys(dt.date(*order) for order in orders if order[0] and exists(*order)))
    if not days:
        return IMPOSSIBLE
    fitting = [day for day in days if _fits(day, sight)] or days
    return _exact(fitting[0], "day_order" if len(days) > 1 else None)


def _fits(day: dt.date, sight: Sight) -> bool:
    if sight.direction == NEAR:
        return True
    return day <= sight.today if sight.direction == PAST else day >= sight.today


def _month_slash_year(hit: Hit, sight: Sight) -> Dated | None:  # noqa: ARG001 - one shape for all readers
    month = float(hit.groups["n"] or 0)
    return _month(int(_named(hit, "year")), int(month)) if 1 <= month <= MONTHS_A_YEAR and not month % 1 else None


def _slashed_pair(hit: Hit, sight: Sight) -> Dated | None:
    first, second = hit.groups["n"] or "", hit.groups["m"] or ""
    if not (first.isdigit() and second.isdigit()):
        return None
    orders = [
        (_year_of(sight, month, day) or 0, month, day)
        for month, day in ((int(first), int(second)), (int(second), int(first)))
        if 1 <= month <= MONTHS_A_YEAR and 1 <= day <= DAYS_A_MONTH
    ]
    return _first_day(orders, sight) if orders else None


def _weekday_of(hit: Hit, sight: Sight) -> int:
    return sight.names.weekdays[(_named(hit, "weekday") or _named(hit, "one_weekday"))[:3]]


def _nth_weekday(hit: Hit, sight: Sight) -> Dated:
    month = sight.names.months[_named(hit, "month")]
    nth = int(hit.groups["ord"] or 0) if hit.groups.get("ord") else sight.names.nth[_named(hit, "nth")]
    year = _said_year(hit, sight) or _year_of_month(sight, month, _which(hit, sight))
    day = nth_weekday(year, month, _weekday_of(hit, sight), nth)
    return _exact(day) if day else IMPOSSIBLE


def _weekday(hit: Hit, sight: Sight) -> Dated:
    which = _which(hit, sight)
    direction = which if which in {PAST, FUTURE} else sight.direction
    ahead = (_weekday_of(hit, sight) - sight.today.weekday()) % DAYS_A_WEEK
    if direction == PAST:
        return _exact(sight.today - dt.timedelta(days=(DAYS_A_WEEK - ahead) % DAYS_A_WEEK or DAYS_A_WEEK))
    return _exact(sight.today + dt.timedelta(days=ahead or DAYS_A_WEEK))


def _week_day(hit: Hit, sight: Sight, weeks: int) -> Dated:
    monday = sight.today - dt.timedelta(days=sight.today.weekday())
    return _exact(monday + dt.timedelta(days=_weekday_of(hit, sight) + weeks * DAYS_A_WEEK))


def _weekday_and_week(hit: Hit, sight: Sight) -> Dated:
    """Return the day a week after the coming weekday, or a week before the last one: as many as the row says."""
    weeks = int(hit.row.value)
    beside = Sight(sight.today, PAST if weeks < 0 else FUTURE, sight.names)
    day = dt.date.fromisoformat((_weekday(hit, beside).value or {})["value"])
    return _exact(day + dt.timedelta(days=weeks * DAYS_A_WEEK))


def _day_only(hit: Hit, sight: Sight) -> Dated | None:
    day = int(hit.groups["ord"] or 0)
    month = sight.today.replace(day=1)
    if (named := _named(hit, "last_month")) in sight.names.last_month:
        at = month + relativedelta(months=sight.names.last_month[named])
        return _exact(at.replace(day=day)) if exists(at.year, at.month, day) else IMPOSSIBLE
    which = _which(hit, sight)
    direction = which if which in {PAST, FUTURE} else sight.direction
    for step in range(3):
        at = month + relativedelta(months=-step if direction == PAST else step)
        if exists(at.year, at.month, day):
            found = at.replace(day=day)
            if _fits(found, Sight(sight.today, direction, sight.names)):
                return _exact(found)
    return IMPOSSIBLE


def _plain_month(hit: Hit, sight: Sight) -> Dated | None:
    month = sight.names.months[_named(hit, "month")]
    which = _which(hit, sight)
    return _month(_said_year(hit, sight) or _year_of_month(sight, month, which), month)


def _month_before(hit: Hit, sight: Sight) -> Dated:
    """Return the month a year before the last of its name."""
    month = sight.names.months[_named(hit, "month")]
    return _month(_year_of_month(sight, month, PAST) - 1, month)


def _this_season(sight: Sight, month: int) -> int:
    """Return the year of this season's middle month: a winter over and done with is not this one, save looking back."""
    today = sight.today
    ahead = sight.direction != PAST and today.month > month + 1
    return today.year + (month == 1 and (ahead or today.month == MONTHS_A_YEAR))


def _season(hit: Hit, sight: Sight) -> Dated:
    month = sight.names.seasons[_named(hit, "season")]
    year = _said_year(hit, sight)
    which = _which(hit, sight)
    if year is None and which == "this":
        year = _this_season(sight, month)
    elif year is None:
        # A season counts as past from its last month on.
        late = month + 1 if which == PAST else month - 1 if sight.direction == PAST else month
        late = (late - 1) % MONTHS_A_YEAR + 1
        year = _year_of_month(sight, late, which)
        if late > month + 1 or late < month - 1:
            year += 1 if late > month else -1
    return _month(year, month)


def _year(hit: Hit, sight: Sight) -> Dated | None:
    year = _said_year(hit, sight)
    if year is None:
        return None
    return Dated({"value": f"{year:04d}", "approx": True})


def _relative_month(hit: Hit, sight: Sight) -> Dated:
    offset = sight.names.last_month.get(_named(hit, "last_month"), -2)
    at = sight.today.replace(day=1) + relativedelta(months=offset)
    return _month(at.year, at.month)


def _relative_week(hit: Hit, sight: Sight) -> Dated:  # noqa: ARG001 - one shape for all readers
    weeks = int(hit.row.value)
    return _span("-" if weeks < 0 else "", abs(weeks), "W")


def _weekend(hit: Hit, sight: Sight) -> Dated:
    """Return the last weekend, the next or the one after, as the row says in weeks; else the one that makes sense."""
    since_weekend = (sight.today.weekday() - SATURDAY) % DAYS_A_WEEK
    weeks = int(hit.row.value or (1 if sight.direction == FUTURE else -1))
    if weeks > 0:
        return _span("", weeks * DAYS_A_WEEK - since_weekend, "D")
    return _span("-", since_weekend or DAYS_A_WEEK, "D")


def _ago(hit: Hit, sight: Sight) -> Dated:
    return _kept(hit, _span("-", _number(hit), _unit(hit, sight)))


def _ahead(hit: Hit, sight: Sight) -> Dated:
    if sight.direction == PAST:
        return _ago(hit, sight)
    return _kept(hit, _span("", _number(hit), _unit(hit, sight)))


def _either(hit: Hit, sight: Sight) -> Dated:
    return _kept(hit, _span("-" if sight.direction == PAST else "", _number(hit), _unit(hit, sight)))


def _kept(hit: Hit, dated: Dated) -> Dated:
    return Dated(dated.value, hit.row.readback)


def _holiday(hit: Hit, sight: Sight) -> Dated | None:
    rule = sight.names.holidays[_named(hit, "holiday")]
    said = _said_year(hit, sight)
    if set(rule) <= {"says", "month"}:
        return _month(said or _year_of_month(sight, rule["month"], _which(hit, sight)), rule["month"])
    days = [holiday_on(rule, year) for year in _years(sight, said)]
    which = _which(hit, sight)
    look = Sight(sight.today, which if which in {PAST, FUTURE} else sight.direction, sight.names)
    fitting = [day for day in days if _fits(day, look)] or days
    day = min(fitting, key=lambda found: abs(found - sight.today))
    return Dated({"value": day.isoformat(), "approx": True})


def _years(sight: Sight, said: int | None) -> Iterator[int]:
    yield from (said,) if said else range(sight.today.year - 1, sight.today.year + 2)


READERS: dict[str, Callable[[Hit, Sight], Dated | None]] = {
    "day_offset": _day_offset,
    "day_month": _day_month,
    "day_month_short": _day_month_short,
    "numeric": _numeric,
    "month_slash_year": _month_slash_year,
    "slashed_pair": _slashed_pair,
    "nth_weekday": _nth_weekday,
    "weekday": _weekday,
    "weekday_last_week": lambda hit, sight: _week_day(hit, sight, -1),
    "weekday_next_week": lambda hit, sight: _week_day(hit, sight, 1),
    "weekday_and_week": _weekday_and_week,
    "day_only": _day_only,
    "month": _plain_month,
    "month_bare": _plain_month,
    "month_before": _month_before,
    "season": _season,
    "year": _year,
    "relative_month": _relative_month,
    "relative_week": _relative_week,
    "weekend": _weekend,
    "ago": _ago,
    "ago_fortnight": lambda hit, sight: _span("-", _number(hit) * 2, "W"),  # noqa: ARG005
    "ahead": _ahead,
    "ahead_fortnight": lambda hit, sight: _span("", _number(hit) * 2, "W"),  # noqa: ARG005
    "had_for": lambda hit, sight: _span("-", _number(hit) if hit.groups.get("n") else 1, _unit(hit, sight)),
    "span": _either,
    "holiday": _holiday,
}
"""A reader for every `reads:` of the date rows."""
