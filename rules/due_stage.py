"""The second stage: on which day the interval ends, beside the label on the throat."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from fractions import Fraction

from rules.book_format import Scalar
from rules.calendar_rules import add_months
from rules.facts import Day, Facts
from rules.interval_stage import Interval
from rules.tables import Row
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
    inexact: bool = False
    """True when the chart's days count from an inexact day."""
    approximate: bool = False
    """True when the day to restring rests on an inexact day or on a fact nobody could give."""

    @property
    def restring_by(self) -> dt.date | None:
        """The earliest of chart, label and the latest day of a chart still open."""
        return min((day for day in (self.last, self.label, self.latest) if day), default=None)

    @property
    def window(self) -> tuple[dt.date, dt.date] | None:
        """The chart's window, where it is more than one day."""
        if self.first and self.last and self.first != self.last:
            return self.first, self.last
        return None


@dataclass(frozen=True)
class _Span:
    """The chart's days."""

    first: dt.date
    last: dt.date
    inexact: bool
    """True when they count from an inexact day."""


def find_due(trail: Trail, interval: Interval) -> Due:
    """Return the days that count and write their rows to the trail."""
    span = _chart_days(trail, interval)
    latest = _latest_day(trail, interval)
    label = _label_day(trail, span.last if span else None)
    due = Due(span.first, span.last, label, latest, span.inexact) if span else Due(label=label, latest=latest)
    return replace(due, approximate=_is_approximate(trail.facts, due, interval))


def _is_approximate(facts: Facts, due: Due, interval: Interval) -> bool:
    """Tell whether the day that counts is not exact; the chart's word counts before the label's."""
    if due.restring_by == due.last:
        return due.inexact or interval.unsure
    if due.restring_by == due.latest:
        return bool(facts.strung_on and facts.strung_on.approx)
    return bool(facts.label_due and facts.label_due.approx)


def _chart_days(trail: Trail, interval: Interval) -> _Span | None:
    """Return the chart's days; where a row of the season is possible too, the earlier of both."""
    if not interval.known:
        return None
    spans = [_fire_due(trail, interval, league=interval.league)]
    if interval.season_too:
        spans.append(_fire_due(trail, interval, league=True))
    return min((span for span in spans if span), key=lambda span: span.last, default=None)


def _fire_due(trail: Trail, interval: Interval, *, league: bool) -> _Span | None:
    facts = trail.facts
    values: dict[str, Scalar] = {"rule": "league" if league else "months", "strung_known": facts.strung_on is not None}
    if league and facts.league_start:
        values["season_begun"] = facts.today >= facts.league_start.day
        if facts.strung_on:
            ahead = (facts.league_start.day - facts.strung_on.day).days
            values["fresh_for_season"] = ahead <= trail.value("league_fresh_days")
            values["limit_first"] = _limit_comes_first(trail, interval, facts.strung_on, facts.league_start)
    for row in trail.fire("due", values):
        counted_from = facts.strung_on if row.gives["from"] == "strung_on" else facts.league_start
        if counted_from is None:
            continue
        if counted_from is facts.strung_on:
            low, high = _months_from_stringing(trail, row, interval)
            first, last = add_months(counted_from.day, low), add_months(counted_from.day, high)
            words = {"every": trail.words.every(low, high)}
        else:
            first = last = counted_from.day - dt.timedelta(days=int(trail.number(row, "lead")))
            words = {}
        words["due"] = _spoken_due(trail, first, last, approx=counted_from.approx)
        trail.write_with(row, values, _days_read(trail), {**words, **_spoken_days(trail)})
        return _Span(first, last, counted_from.approx)
    return None


def _months_from_stringing(trail: Trail, row: Row, interval: Interval) -> tuple[Fraction, Fraction]:
    if "months" not in row.gives and interval.months is not None:
        return interval.months
    if "months" not in row.gives and interval.shop_ceiling is not None:
        return interval.shop_ceiling, interval.shop_ceiling
    months = trail.number(row, "months")
    if interval.shop_ceiling is not None:
        months = min(months, interval.shop_ceiling)
    return months, months


def _limit_comes_first(trail: Trail, interval: Interval, strung: Day, season: Day) -> bool:
    """Tell whether the limit a shop has switched on ends before the days the season needs."""
    if interval.shop_ceiling is None:
        return False
    lead = dt.timedelta(days=int(trail.value("league_lead_days")))
    return add_months(strung.day, interval.shop_ceiling) < season.day - lead


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
    row = rows[0]
    months = interval.ceiling if row.gives.get("take") == "row_ceiling" else trail.number(row, "months")
    if months is None:
        return None
    if interval.shop_ceiling is not None:
        months = min(months, interval.shop_ceiling)
    latest = add_months(facts.strung_on.day, months)
    if latest >= facts.today:
        return None
    words = {
        "every": trail.words.every(months, months),
        "latest": _spoken_due(trail, latest, latest, approx=facts.strung_on.approx),
        "strung_on": trail.words.when(facts.strung_on),
    }
    trail.write_with(row, values, _days_read(trail), words)
    return latest


def _label_day(trail: Trail, last: dt.date | None) -> dt.date | None:
    """Return the label's day where it belongs to these strings."""
    facts = trail.facts
    if facts.label_due is None:
        return None
    day = facts.label_due.day
    values: dict[str, Scalar] = {
        "label_stale": bool(facts.strung_on and day <= facts.strung_on.day),
        "chart_known": last is not None,
        "label_earlier": bool(last and day < last),
    }
    words = {"label_due": trail.words.day(facts.label_due)}
    trail.write_with(trail.fire_one("label", values), values, {"label_due": day.isoformat()}, words)
    return None if values["label_stale"] else day
