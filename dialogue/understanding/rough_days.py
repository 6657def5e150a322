"""The ways of naming about a day: a month, a season, a year, a weekend, a holiday, some time ago or ahead."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from dateutil.relativedelta import relativedelta

from dialogue.understanding.calendar_days import DAYS_A_WEEK, MONTHS_A_YEAR, holiday_on
from dialogue.understanding.cuebook import Hit
from dialogue.understanding.dated import (
    FUTURE,
    PAST,
    Dated,
    Sight,
    fits,
    month_of,
    named,
    said_year,
    span_of,
    which_one,
    year_of_month,
)

SATURDAY = 5


def _number(hit: Hit) -> float:
    """Return the number of a hit, the middle of a range, or the row's own."""
    first = hit.groups.get("n")
    if first is None:
        return float(hit.row.value)
    second = hit.groups.get("m")
    return (float(first) + float(second)) / 2 if second else float(first)


def _unit(hit: Hit, sight: Sight) -> str:
    """Return D, W, M or Y: by the name of the unit, days where the row counts in days."""
    said = named(hit, "unit")
    return next((unit for start, unit in sight.names.units.items() if said.startswith(start)), "D")


def _month_slash_year(hit: Hit, sight: Sight) -> Dated | None:  # noqa: ARG001 - one shape for all readers
    month = float(hit.groups["n"] or 0)
    return month_of(int(named(hit, "year")), int(month)) if 1 <= month <= MONTHS_A_YEAR and not month % 1 else None


def _plain_month(hit: Hit, sight: Sight) -> Dated | None:
    month = sight.names.months[named(hit, "month")]
    which = which_one(hit, sight)
    return month_of(said_year(hit, sight) or year_of_month(sight, month, which), month)


def _month_before(hit: Hit, sight: Sight) -> Dated:
    """Return the month a year before the last of its name."""
    month = sight.names.months[named(hit, "month")]
    return month_of(year_of_month(sight, month, PAST) - 1, month)


def _this_season(sight: Sight, month: int) -> int:
    """Return the year of this season's middle month: a winter over and done with is not this one, save looking back."""
    today = sight.today
    ahead = sight.direction != PAST and today.month > month + 1
    return today.year + (month == 1 and (ahead or today.month == MONTHS_A_YEAR))


def _season(hit: Hit, sight: Sight) -> Dated:
    month = sight.names.seasons[named(hit, "season")]
    year = said_year(hit, sight)
    which = which_one(hit, sight)
    if year is None and which == "this":
        year = _this_season(sight, month)
    elif year is None:
        # A season counts as past from its last month on.
        late = month + 1 if which == PAST else month - 1 if sight.direction == PAST else month
        late = (late - 1) % MONTHS_A_YEAR + 1
        year = year_of_month(sight, late, which)
        if late > month + 1 or late < month - 1:
            year += 1 if late > month else -1
    return month_of(year, month)


def _year(hit: Hit, sight: Sight) -> Dated | None:
    year = said_year(hit, sight)
    if year is None:
        return None
    return Dated({"value": f"{year:04d}", "approx": True})


def _relative_month(hit: Hit, sight: Sight) -> Dated:
    offset = sight.names.last_month.get(named(hit, "last_month"), -2)
    at = sight.today.replace(day=1) + relativedelta(months=offset)
    return month_of(at.year, at.month)


def _relative_week(hit: Hit, sight: Sight) -> Dated:  # noqa: ARG001 - one shape for all readers
    weeks = int(hit.row.value)
    return span_of("-" if weeks < 0 else "", abs(weeks), "W")


def _weekend(hit: Hit, sight: Sight) -> Dated:
    """Return the last weekend, the next or the one after, as the row says in weeks; else the one that makes sense."""
    since_weekend = (sight.today.weekday() - SATURDAY) % DAYS_A_WEEK
    weeks = int(hit.row.value or (1 if sight.direction == FUTURE else -1))
    if weeks > 0:
        return span_of("", weeks * DAYS_A_WEEK - since_weekend, "D")
    return span_of("-", since_weekend or DAYS_A_WEEK, "D")


def _ago(hit: Hit, sight: Sight) -> Dated:
    return _kept(hit, span_of("-", _number(hit), _unit(hit, sight)))


def _ahead(hit: Hit, sight: Sight) -> Dated:
    if sight.direction == PAST:
        return _ago(hit, sight)
    return _kept(hit, span_of("", _number(hit), _unit(hit, sight)))


def _either(hit: Hit, sight: Sight) -> Dated:
    return _kept(hit, span_of("-" if sight.direction == PAST else "", _number(hit), _unit(hit, sight)))


def _kept(hit: Hit, dated: Dated) -> Dated:
    return Dated(dated.value, hit.row.readback)


def _holiday(hit: Hit, sight: Sight) -> Dated | None:
    rule = sight.names.holidays[named(hit, "holiday")]
    said = said_year(hit, sight)
    if set(rule) <= {"says", "month"}:
        return month_of(said or year_of_month(sight, rule["month"], which_one(hit, sight)), rule["month"])
    days = [holiday_on(rule, year) for year in _years(sight, said)]
    which = which_one(hit, sight)
    look = Sight(sight.today, which if which in {PAST, FUTURE} else sight.direction, sight.names)
    fitting = [day for day in days if fits(day, look)] or days
    day = min(fitting, key=lambda found: abs(found - sight.today))
    return Dated({"value": day.isoformat(), "approx": True})


def _years(sight: Sight, said: int | None) -> Iterator[int]:
    yield from (said,) if said else range(sight.today.year - 1, sight.today.year + 2)


ROUGH_DAYS: dict[str, Callable[[Hit, Sight], Dated | None]] = {
    "month_slash_year": _month_slash_year,
    "month": _plain_month,
    "month_bare": _plain_month,
    "month_before": _month_before,
    "season": _season,
    "year": _year,
    "relative_month": _relative_month,
    "relative_week": _relative_week,
    "weekend": _weekend,
    "ago": _ago,
    "ago_fortnight": lambda hit, sight: span_of("-", _number(hit) * 2, "W"),  # noqa: ARG005
    "ahead": _ahead,
    "ahead_fortnight": lambda hit, sight: span_of("", _number(hit) * 2, "W"),  # noqa: ARG005
    "had_for": lambda hit, sight: span_of("-", _number(hit) if hit.groups.get("n") else 1, _unit(hit, sight)),
    "span": _either,
    "holiday": _holiday,
}
"""A reader for every `reads:` of rows that name about a day."""
