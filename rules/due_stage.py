"""The second stage: on which day the interval ends, beside the label on the throat."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from fractions import Fraction

from rules.book_format import Scalar
from rules.calendar_rules import add_months
from rules.interval_stage import Interval
from rules.measurement import exact
from rules.rulebook import Row
from rules.trail import Trail


@dataclass(frozen=True)
class Due:
    """The days that count."""

    first: dt.date | None = None
    """First day of the chart's window; the same as last where it is one day."""
    last: dt.date | None = None
    """Last day by the chart."""
    label: dt.date | None = None
    """The label's day, where it belongs to these strings."""
    latest: dt.date | None = None
    """The day by the longest reading of a chart that is still open."""
    approximate: bool = False

    @property
    def restring_by(self) -> dt.date | None:
        """The earlier of chart and label, else the latest day the chart allows."""
        return min((day for day in (self.last, self.label) if day), default=None)

    @property
    def window(self) -> tuple[dt.date, dt.date] | None:
        """The chart's window, where it is more than one day."""
        if self.first and self.last and self.first != self.last:
            return self.first, self.last
        return None


def find_due(trail: Trail, interval: Interval) -> Due:
    """Return the days that count and write their rows to the trail."""
    first, last, approximate = _chart_days(trail, interval)
    latest = _latest_day(trail, interval)
    label, label_counts = _label_day(trail, last)
    facts = trail.facts
    if label_counts:
        approximate = bool(facts.label_due and facts.label_due.approx)
    elif latest:
        approximate = bool(facts.strung_on and facts.strung_on.approx)
    return Due(first, last, label, latest, approximate)


def _chart_days(trail: Trail, interval: Interval) -> tuple[dt.date | None, dt.date | None, bool]:
    facts = trail.facts
    if not interval.known:
        return None, None, False
    values: dict[str, Scalar] = {
        "rule": "league" if interval.league else "months",
        "strung_known": facts.strung_on is not None,
    }
    if interval.league and facts.league_start:
        values["season_begun"] = facts.today >= facts.league_start.day
        if facts.strung_on:
            ahead = (facts.league_start.day - facts.strung_on.day).days
            values["fresh_for_season"] = ahead <= trail.value("league_fresh_days")
    rows = trail.fire("due", values)
    if not rows:
        return None, None, False
    row = rows[0]
    counted_from = facts.strung_on if row.gives["from"] == "strung_on" else facts.league_start
    if counted_from is None:
        return None, None, False
    if counted_from is facts.strung_on:
        low, high = _months_from_stringing(trail, row, interval)
        first, last = add_months(counted_from.day, low), add_months(counted_from.day, high)
        words = {"every": trail.words.every(low, high)}
    else:
        first = last = _day_before_season(trail, row, interval, counted_from.day)
        words = {}
    words["due"] = _spoken_due(trail, first, last, approx=counted_from.approx)
    trail.write_with(row, values, _days_read(trail), {**words, **_spoken_days(trail)})
    return first, last, counted_from.approx or interval.unsure


def _months_from_stringing(trail: Trail, row: Row, interval: Interval) -> tuple[Fraction, Fraction]:
    if interval.months is not None and "months" not in row.gives:
        return interval.months
    months = exact(trail.value(str(row.gives["months"])))
    return months, months


def _day_before_season(trail: Trail, row: Row, interval: Interval, start: dt.date) -> dt.date:
    day = start - dt.timedelta(days=trail.value(str(row.gives["lead"])))
    if trail.facts.strung_on and interval.policy_ceiling is not None:
        day = min(day, add_months(trail.facts.strung_on.day, interval.policy_ceiling))
    return day


def _spoken_due(trail: Trail, first: dt.date, last: dt.date, *, approx: bool) -> str:
    due = trail.words.date(last)
    if first != last:
        due = str(trail.book.words["span"].format(low=trail.words.date(first), high=due))
    return trail.words.about(due) if approx else due


def _spoken_days(trail: Trail) -> dict[str, str]:
    days = {"strung_on": trail.facts.strung_on, "league_start": trail.facts.league_start}
    return {name: trail.words.when(day) for name, day in days.items() if day}


def _days_read(trail: Trail) -> dict[str, Scalar]:
    days = {"strung_on": trail.facts.strung_on, "league_start": trail.facts.league_start}
    return {name: day.day.isoformat() for name, day in days.items() if day}


def _latest_day(trail: Trail, interval: Interval) -> dt.date | None:
    facts = trail.facts
    if interval.known or facts.strung_on is None:
        return None
    values: dict[str, Scalar] = {
        "interval_known": False,
        "strung_known": True,
        "season_known": facts.league_start is not None,
        "ceiling_known": interval.ceiling is not None,
    }
    rows = trail.fire("latest", values)
    if not rows:
        return None
    months = interval.ceiling
    if "months" in rows[0].gives or months is None:
        months = exact(trail.value(str(rows[0].gives["months"])))
    latest = add_months(facts.strung_on.day, months)
    if latest >= facts.today:
        return None
    words = {"latest": trail.words.date(latest), "strung_on": trail.words.when(facts.strung_on)}
    trail.write_with(rows[0], values, _days_read(trail), words)
    return latest


def _label_day(trail: Trail, last: dt.date | None) -> tuple[dt.date | None, bool]:
    """Return the label's day where it belongs to these strings, and whether it decides the date."""
    facts = trail.facts
    if facts.label_due is None:
        return None, False
    day = facts.label_due.day
    values: dict[str, Scalar] = {
        "label_known": True,
        "label_stale": bool(facts.strung_on and day <= facts.strung_on.day),
        "chart_known": last is not None,
        "label_earlier": bool(last and day < last),
    }
    row = trail.fire("label", values)[0]
    words = {"label_due": trail.words.day(facts.label_due)}
    trail.write_with(row, values, {"label_due": day.isoformat()}, words)
    if values["label_stale"]:
        return None, False
    return day, row.gives["takes"] == "label"
