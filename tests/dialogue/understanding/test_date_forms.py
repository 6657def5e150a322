"""Which day is meant by the ways people name one, beside a calendar and beside dateutil's own arithmetic."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
import yaml
from dateutil.relativedelta import FR, MO, SA, SU, TH, TU, WE, relativedelta
from hypothesis import given
from hypothesis import strategies as st

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY

# A loader that knows nothing but strings: 2026-03 is no number and no date here.
TEXT = (Path(__file__).parent / "date_forms.yaml").read_text("utf-8")
TABLE = yaml.load(TEXT, Loader=yaml.BaseLoader)  # noqa: S506
SLOTS = ("strung_on", "league_start")
ROWS = [
    (said, slot, day)
    for said, days in TABLE.items()
    for slot, day in zip(SLOTS, days if isinstance(days, list) else [days] * 2, strict=True)
]
WEEKDAYS = {"monday": MO, "tuesday": TU, "wednesday": WE, "thursday": TH, "friday": FR, "saturday": SA, "sunday": SU}
DAYS = st.dates(dt.date(2016, 1, 1), dt.date(2036, 12, 31))


def read(said: str, slot: str, today: dt.date = REFERENCE_DAY) -> Any:
    """Return the day that is understood, or what is asked back."""
    meant = understand(said, asked=slot, today=today)
    return meant.slots[slot]["value"] if slot in meant.slots else meant.questions


@pytest.mark.parametrize(("said", "slot", "day"), ROWS)
def test_a_day_is_the_one_on_the_calendar(said: str, slot: str, day: str) -> None:
    """The worked days, one a way of naming it; a day that never was is asked back."""
    assert read(said, slot) == ((f"impossible_date:{slot}",) if day == "impossible" else day)


@given(DAYS, st.sampled_from(list(WEEKDAYS)))
def test_weekdays_are_counted_as_dateutil_counts_them(today: dt.date, name: str) -> None:
    """Last and next are strictly before and after today; "Monday week" is the second Monday from tomorrow on."""
    day = WEEKDAYS[name]
    expected = {
        f"last {name}": today + relativedelta(days=-1, weekday=day(-1)),
        f"next {name}": today + relativedelta(days=+1, weekday=day(+1)),
        f"{name} week": today + relativedelta(days=+1, weekday=day(+2)),
        f"a week on {name}": today + relativedelta(days=+1, weekday=day(+2)),
        f"a week last {name}": today + relativedelta(days=-1, weekday=day(-2)),
        f"{name} last week": today + relativedelta(weekday=MO(-1)) + relativedelta(days=-7, weekday=day(+1)),
        f"{name} next week": today + relativedelta(weekday=MO(-1)) + relativedelta(days=+7, weekday=day(+1)),
    }
    assert {said: read(said, "league_start", today) for said in expected} == {
        said: found.isoformat() for said, found in expected.items()
    }


@given(DAYS)
def test_months_and_weekends_are_counted_as_dateutil_counts_them(today: dt.date) -> None:
    """Months from this one on; a weekend by its Saturday, where today's own is neither the last nor the next."""
    first = today.replace(day=1)
    assert read("the 3rd of last month", "strung_on", today) == f"{first + relativedelta(months=-1):%Y-%m}-03"
    assert read("the 3rd of next month", "league_start", today) == f"{first + relativedelta(months=+1):%Y-%m}-03"
    assert read("the month before last", "strung_on", today) == f"{first + relativedelta(months=-2):%Y-%m}"
    saturdays = {
        "last weekend": today + relativedelta(days=-1, weekday=SA(-1)),
        "next weekend": today + relativedelta(days=+1, weekday=SA(+1)),
        "the weekend after next": today + relativedelta(days=+1, weekday=SA(+2)),
    }
    for said, saturday in saturdays.items():
        days = (saturday - today).days
        assert read(said, "league_start", today) == (f"-P{-days}D" if days < 0 else f"P{days}D")


@given(DAYS)
def test_this_winter_is_the_one_that_is_or_comes(today: dt.date) -> None:
    """A season that starts this winter starts in the January ahead, or in this one while it is winter still."""
    expected = today.year if today.month <= 2 else today.year + 1
    assert read("this winter", "league_start", today) == f"{expected}-01"
