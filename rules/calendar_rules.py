"""Days and months: the one stated rule for adding whole and broken months to a day."""

from __future__ import annotations

import datetime as dt
from fractions import Fraction

from dateutil.relativedelta import relativedelta


def add_months(day: dt.date, months: Fraction) -> dt.date:
    """Return the day so many months later.

    Whole months come first and a month end clips (31 August + 6 months = 28 February). Then the broken part
    counts in days of the month that follows, halves up.
    """
    whole, broken = divmod(months, 1)
    first = day + relativedelta(months=int(whole))
    if not broken:
        return first
    days = (first + relativedelta(months=1) - first).days
    return first + dt.timedelta(days=int(broken * days + Fraction(1, 2)))
