"""Forecasts tried out on simulated shops, beside a straight line through the readings and beside the chart."""

from __future__ import annotations

import datetime as dt
import math
import random
from dataclasses import dataclass, field
from statistics import fmean, median

from rules.facts import Material
from rules.forecast import forecast_loss
from rules.forecast_answer import Forecast
from rules.forecast_shop import learn_shop_prior
from tests.rules.simulated_shops import STRUNG_ON, SimulatedJob, SimulatedShop

LEARNT_ON = dt.date(2026, 1, 1)
AHEAD_DAYS = (30, 90, 180)
HORIZON_DAYS = 730
DEAD = 20.0
Range = tuple[float, float]


@dataclass
class Record:
    """How one way of foretelling did."""

    covered: list[bool] = field(default_factory=list)
    """Whether the true later loss lay inside the 80 % range."""
    widths: list[float] = field(default_factory=list)
    """Of the range, in points of loss."""
    scores: list[float] = field(default_factory=list)
    """Width plus ten times the miss: the interval score of an 80 % range (Gneiting and Raftery, JASA 102, 2007)."""
    date_errors: list[float] = field(default_factory=list)
    """Of the day a loss of 20 % is reached, in tenfold time."""

    def take(self, low_high: Range, truth: float) -> None:
        """Note one range beside what happened."""
        low, high = low_high
        self.covered.append(low <= truth <= high)
        self.widths.append(high - low)
        self.scores.append(high - low + 10 * max(low - truth, truth - high, 0.0))

    @property
    def coverage(self) -> float:
        """Share of the ranges that held what happened."""
        return fmean(self.covered)

    def describe(self) -> str:
        """Return the figures as one row of a table."""
        off = 10 ** median(self.date_errors)
        if not self.covered:
            return f"{'-':>8} {'-':>7} {'-':>7} {off:>9.2f}"
        return f"{self.coverage:>8.3f} {median(self.widths):>7.2f} {median(self.scores):>7.2f} {off:>9.2f}"


@dataclass
class Rehearsal:
    """One shop's new jobs, foretold three ways."""

    forecast: Record = field(default_factory=Record)
    straight: Record = field(default_factory=Record)
    chart: Record = field(default_factory=Record)
    chart_dead: list[bool] = field(default_factory=list)
    """Whether the strings had lost 20 % before the chart's day."""

    def join(self, other: Rehearsal) -> None:
        """Take in another shop's jobs."""
        for mine, theirs in (
            (self.forecast, other.forecast),
            (self.straight, other.straight),
            (self.chart, other.chart),
        ):
            for name in ("covered", "widths", "scores", "date_errors"):
                getattr(mine, name).extend(getattr(theirs, name))
        self.chart_dead.extend(other.chart_dead)


def rehearse(law: str, number: int, past_jobs: int, new_jobs: int) -> Rehearsal:
    """Return how well new jobs of a shop were foretold that has learnt from its past jobs (none: the book alone)."""
    shop = SimulatedShop(law, random.Random(number))  # noqa: S311 - a simulation, not a secret
    past = [shop.string(shop.draw_days()).job for _ in range(past_jobs)]
    prior = learn_shop_prior(past, LEARNT_ON) if past else None
    found = Rehearsal()
    for _ in range(new_jobs):
        days = shop.draw_days(most=3, last=45)
        one = shop.string(days)
        forecast = forecast_loss(one.job, STRUNG_ON + dt.timedelta(days=days[-1]), shop=prior)
        _note(found, one, forecast, days[-1])
    return found


def _note(found: Rehearsal, one: SimulatedJob, forecast: Forecast, last_day: int) -> None:
    line = StraightLine.through(one)
    for ahead in AHEAD_DAYS:
        point = min(forecast.curve, key=lambda point: abs(point.days - last_day - ahead))
        truth = one.true_loss(point.days)
        found.forecast.take((point.loss_percent.low, point.loss_percent.high), truth)
        found.straight.take(line.range_at(point.days), truth)
    true_day = one.line_days(DEAD)
    reach = forecast.reach(DEAD)
    expected = (reach.expected - STRUNG_ON).days if reach and reach.expected else HORIZON_DAYS
    found.forecast.date_errors.append(_tenfolds(expected, true_day))
    found.straight.date_errors.append(_tenfolds(DEAD / line.per_day if line.per_day > 0 else HORIZON_DAYS, true_day))
    chart_day = read_chart(one)
    found.chart.date_errors.append(_tenfolds(chart_day, true_day))
    found.chart_dead.append(true_day < chart_day)


def _tenfolds(told: float, true: float) -> float:
    bounded = [math.log10(min(max(day, 1.0), HORIZON_DAYS)) for day in (told, true)]
    return abs(bounded[0] - bounded[1])


@dataclass(frozen=True)
class StraightLine:
    """Loss in proportion to days, through the baseline: what a ruler on paper would say."""

    per_day: float
    sd: float
    """Of one reading around the line, in points; never under a reading's own scatter."""
    squares: float

    @classmethod
    def through(cls, one: SimulatedJob) -> StraightLine:
        """Return the least-squares line through the job's readings."""
        (fresh,) = one.job.baseline[0].values
        points = [
            ((reading.taken_on - STRUNG_ON).days, 100 * (1 - reading.values[0] / fresh))
            for reading in one.job.reading
            if reading.taken_on
        ]
        squares = sum(day * day for day, _ in points)
        slope = sum(day * loss for day, loss in points) / squares
        left = sum((loss - slope * day) ** 2 for day, loss in points) / max(len(points) - 1, 1)
        return cls(slope, max(math.sqrt(left) if len(points) > 1 else 0.0, 1.5), squares)

    def range_at(self, day: float) -> Range:
        """Return its 80 % range on a day."""
        half = 1.2816 * self.sd * math.sqrt(1 + day * day / self.squares)
        return self.per_day * day - half, self.per_day * day + half


def read_chart(one: SimulatedJob) -> float:
    """Return the chart's day for somebody who plays for fun: 12 / plays a week in months, polyester 3 at most."""
    weekly = one.job.hours_per_week
    plays = max((weekly.low if weekly else 3.0) / 1.5, 0.5)
    months = 12.0 if one.job.mains_material is Material.NATURAL_GUT else min(12 / plays, 12.0)
    if one.job.mains_material is Material.POLYESTER:
        months = min(months, 3.0)
    return months * 30.44
