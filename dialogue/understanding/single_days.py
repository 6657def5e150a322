"""The ways of naming one day: by its date, its number in the month, a weekday; knows no month or season alone."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable

from dateutil.relativedelta import relativedelta

from dialogue.understanding.calendar_days import DAYS_A_MONTH, DAYS_A_WEEK, MONTHS_A_YEAR, exists, nth_weekday
from dialogue.understanding.cuebook import Hit
from dialogue.understanding.dated import (
    FUTURE,
    IMPOSSIBLE,
    PAST,
    Dated,
    Sight,
    exact,
    fits,
    month_of,
    named,
    said_year,
    short_year,
    which_one,
    year_of,
    year_of_month,
)


def _day_offset(hit: Hit, sight: Sight) -> Dated:
    return exact(sight.today + dt.timedelta(days=hit.row.value), hit.row.readback)


def _day_month(hit: Hit, sight: Sight) -> Dated | None:
    month = sight.names.months[named(hit, "month")]
    text = hit.groups.get("ord") or hit.groups.get("n") or ""
    if not re.fullmatch(r"\d{1,2}", text):
        return None
    day = int(text)
    year = said_year(hit, sight)
    if year is None:
        if day > DAYS_A_MONTH:
            short = short_year(day, sight)
            return month_of(short, month) if hit.words.strip().endswith(text) else IMPOSSIBLE
        year = year_of(sight, month, day, which_one(hit, sight))
    if year is None or not exists(year, month, day):
        return IMPOSSIBLE
    return exact(dt.date(year, month, day))


def _day_month_short(hit: Hit, sight: Sight) -> Dated | None:
    day, year = hit.groups.get("ord") or hit.groups.get("n") or "", hit.groups.get("m") or ""
    if not (day.isdigit() and re.fullmatch(r"\d\d", year)):
        return None
    month = sight.names.months[named(hit, "month")]
    if not exists(short_year(int(year), sight), month, int(day)):
        return IMPOSSIBLE
    return exact(dt.date(short_year(int(year), sight), month, int(day)))


def _numeric(hit: Hit, sight: Sight) -> Dated:
    said = named(hit, "numeric")
    first, second, third = (int(part) for part in re.split(r"[./-]", said))
    if first > DAYS_A_MONTH:
        orders = [(first, second, third)]
    else:
        year = third if third > 99 else short_year(third, sight)  # noqa: PLR2004 - two digits
        orders = [(year, first, second), (year, second, first)]
        if "." in said:
            orders.reverse()
    return _first_day(orders, sight)


def _first_day(orders: list[tuple[int, int, int]], sight: Sight) -> Dated:
    """Return the first order of day and month that exists and lies on the right side of today."""
    days = list(dict.fromkeys(dt.date(*order) for order in orders if order[0] and exists(*order)))
    if not days:
        return IMPOSSIBLE
    fitting = [day for day in days if fits(day, sight)] or days
    return exact(fitting[0], "day_order" if len(days) > 1 else None)


def _slashed_pair(hit: Hit, sight: Sight) -> Dated | None:
    first, second = hit.groups["n"] or "", hit.groups["m"] or ""
    if not (first.isdigit() and second.isdigit()):
        return None
    orders = [
        (year_of(sight, month, day) or 0, month, day)
        for month, day in ((int(first), int(second)), (int(second), int(first)))
        if 1 <= month <= MONTHS_A_YEAR and 1 <= day <= DAYS_A_MONTH
    ]
    return _first_day(orders, sight) if orders else None


def _weekday_of(hit: Hit, sight: Sight) -> int:
    return sight.names.weekdays[(named(hit, "weekday") or named(hit, "one_weekday"))[:3]]


def _nth_weekday(hit: Hit, sight: Sight) -> Dated:
    month = sight.names.months[named(hit, "month")]
    nth = int(hit.groups["ord"] or 0) if hit.groups.get("ord") else sight.names.nth[named(hit, "nth")]
    year = said_year(hit, sight) or year_of_month(sight, month, which_one(hit, sight))
    day = nth_weekday(year, month, _weekday_of(hit, sight), nth)
    return exact(day) if day else IMPOSSIBLE


def _weekday(hit: Hit, sight: Sight) -> Dated:
    which = which_one(hit, sight)
    direction = which if which in {PAST, FUTURE} else sight.direction
    ahead = (_weekday_of(hit, sight) - sight.today.weekday()) % DAYS_A_WEEK
    if direction == PAST:
        return exact(sight.today - dt.timedelta(days=(DAYS_A_WEEK - ahead) % DAYS_A_WEEK or DAYS_A_WEEK))
    return exact(sight.today + dt.timedelta(days=ahead or DAYS_A_WEEK))


def _week_day(hit: Hit, sight: Sight, weeks: int) -> Dated:
    monday = sight.today - dt.timedelta(days=sight.today.weekday())
    return exact(monday + dt.timedelta(days=_weekday_of(hit, sight) + weeks * DAYS_A_WEEK))


def _weekday_and_week(hit: Hit, sight: Sight) -> Dated:
    """Return the day a week after the coming weekday, or a week before the last one: as many as the row says."""
    weeks = int(hit.row.value)
    beside = Sight(sight.today, PAST if weeks < 0 else FUTURE, sight.names)
    day = dt.date.fromisoformat((_weekday(hit, beside).value or {})["value"])
    return exact(day + dt.timedelta(days=weeks * DAYS_A_WEEK))


def _day_only(hit: Hit, sight: Sight) -> Dated | None:
    day = int(hit.groups["ord"] or 0)
    month = sight.today.replace(day=1)
    if (month_named := named(hit, "last_month")) in sight.names.last_month:
        at = month + relativedelta(months=sight.names.last_month[month_named])
        return exact(at.replace(day=day)) if exists(at.year, at.month, day) else IMPOSSIBLE
    which = which_one(hit, sight)
    direction = which if which in {PAST, FUTURE} else sight.direction
    for step in range(3):
        at = month + relativedelta(months=-step if direction == PAST else step)
        if exists(at.year, at.month, day):
            found = at.replace(day=day)
            if fits(found, Sight(sight.today, direction, sight.names)):
                return exact(found)
    return IMPOSSIBLE


SINGLE_DAYS: dict[str, Callable[[Hit, Sight], Dated | None]] = {
    "day_offset": _day_offset,
    "day_month": _day_month,
    "day_month_short": _day_month_short,
    "numeric": _numeric,
    "slashed_pair": _slashed_pair,
    "nth_weekday": _nth_weekday,
    "weekday": _weekday,
    "weekday_last_week": lambda hit, sight: _week_day(hit, sight, -1),
    "weekday_next_week": lambda hit, sight: _week_day(hit, sight, 1),
    "weekday_and_week": _weekday_and_week,
    "day_only": _day_only,
}
"""A reader for every `reads:` of rows that name one day."""
