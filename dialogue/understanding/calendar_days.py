"""Days and spans by the calendar's own rules; knows no wording and no slot."""

from __future__ import annotations

import calendar
import datetime as dt
from collections.abc import Mapping
from typing import Any

from dateutil.easter import easter
from dateutil.relativedelta import FR, MO, SA, SU, TH, TU, WE, relativedelta

MONTHS_A_YEAR = 12
DAYS_A_MONTH = 31
DAYS_A_WEEK = 7
WEEKS_A_MONTH = 4.345
NEAR_WHOLE = 0.3
"""Half a month is near enough to two weeks to be called so."""
WEEKDAYS = (MO, TU, WE, TH, FR, SA, SU)


def nth_weekday(year: int, month: int, weekday: int, nth: int) -> dt.date | None:
    """Return the nth weekday of a month (-1 is the last), or None when the month has fewer."""
    start = dt.date(year, month, 1) + relativedelta(months=1, days=-1) if nth < 0 else dt.date(year, month, 1)
    day = start + relativedelta(weekday=WEEKDAYS[weekday](nth))
    return day if day.month == month else None


def holiday_on(rule: Mapping[str, Any], year: int) -> dt.date:
    """Return the day of a holiday in a year: days from Easter, an nth weekday, or a fixed day."""
    if "easter" in rule:
        return easter(year) + dt.timedelta(days=rule["easter"])
    if "nth" in rule:
        return nth_weekday(year, rule["month"], rule["weekday"], rule["nth"]) or dt.date(year, rule["month"], 1)
    return dt.date(year, rule["month"], rule["day"])


def exists(year: int, month: int, day: int) -> bool:
    """Tell whether there is such a day."""
    if not dt.MINYEAR <= year <= dt.MAXYEAR:
        return False
    return 1 <= month <= MONTHS_A_YEAR and 1 <= day <= calendar.monthrange(year, month)[1]


def whole_span(number: float, unit: str) -> tuple[int, str]:
    """Return a span in whole units: half years are months, half months weeks, half weeks days."""
    if unit == "F":
        number, unit = number * 2, "W"
    for bigger, smaller, times in (("Y", "M", MONTHS_A_YEAR), ("M", "W", WEEKS_A_MONTH), ("W", "D", DAYS_A_WEEK)):
        if unit == bigger and number % 1:
            number, unit = round(number * times, 2), smaller
            if abs(number - round(number)) < NEAR_WHOLE or smaller == "D":
                number = round(number)
    return max(0, round(number)), unit
