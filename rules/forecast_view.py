"""Reads curve, days and the weight of the prior off a fit; knows neither the readings behind it nor any sentence."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from functools import cached_property

from rules.forecast_answer import Band, CurvePoint, Reach
from rules.forecast_fit import LossFit
from rules.forecast_history import HOURS_PER_DAY, HOURS_PER_WEEK
from rules.ranges import EIGHTY_PERCENT

_POINTS_PER_DECADE = 8
_FIRST_HOUR = 0.5
"""Where the search for a line begins; the law has no value at the very moment of stringing."""
_REFINEMENTS = 3


@dataclass(frozen=True)
class FitView:
    """One fit seen along the calendar."""

    fit: LossFit
    strung_on: dt.date
    hours_per_week: float
    widen: float
    """Factor on the standard deviation, learnt from the shop's own record."""
    horizon_days: int

    def loss(self, hours: float) -> tuple[float, float]:
        """Return mean and standard deviation of the loss, in per cent of the baseline."""
        played = self.hours_per_week * (hours - self.fit.noise.zero_hours) / HOURS_PER_WEEK
        mean, sd = self.fit.at(hours, played)
        return mean, sd * self.widen

    def band(self, days: float) -> Band:
        """Return the expected loss so many days after stringing, with its 80 % range."""
        mean, sd = self.loss(max(days * HOURS_PER_DAY, _FIRST_HOUR))
        return Band(mean - EIGHTY_PERCENT * sd, mean, mean + EIGHTY_PERCENT * sd)

    def curve(self, today: dt.date) -> tuple[CurvePoint, ...]:
        """Return the loss on days that lie evenly in log time, up to the horizon, with today among them."""
        last = math.log10(self.horizon_days)
        steps = round(last * _POINTS_PER_DECADE)
        days = {round(10 ** (last * step / steps)) for step in range(steps + 1)}
        days.add(min(max((today - self.strung_on).days, 0), self.horizon_days))
        return tuple(CurvePoint(self.strung_on + dt.timedelta(days=day), day, self.band(day)) for day in sorted(days))

    def reach(self, line: float, today: dt.date) -> Reach:
        """Return when the loss gets to the line: where upper edge, middle and lower edge of the range cross it."""
        mean, sd = self.loss(max((today - self.strung_on).days * HOURS_PER_DAY, _FIRST_HOUR))
        chance = 0.5 * math.erfc((line - mean) / sd / math.sqrt(2)) if sd > 0 else float(mean >= line)
        days = [self._first_day(line, side) for side in (EIGHTY_PERCENT, 0.0, -EIGHTY_PERCENT)]
        return Reach(line, days[0], days[1], days[2], chance)

    @cached_property
    def _grid(self) -> tuple[tuple[float, float, float], ...]:
        """Return log time, mean and standard deviation, evenly in log time up to the horizon."""
        start, end = math.log(_FIRST_HOUR), math.log(self.horizon_days * HOURS_PER_DAY)
        steps = math.ceil((end - start) / math.log(10) * _POINTS_PER_DECADE)
        places = [start + (end - start) * step / steps for step in range(steps + 1)]
        return tuple((place, *self.loss(math.exp(place))) for place in places)

    def _first_day(self, line: float, side: float) -> dt.date | None:
        """Return the first day on which the mean, moved by so many standard deviations, is at the line."""
        left, below = 0.0, 0.0
        for place, mean, sd in self._grid:
            above = mean + side * sd - line
            if above >= 0:
                found = self._close_in((left, below), (place, above), line, side) if below < 0 else place
                return self.strung_on + dt.timedelta(days=int(math.exp(found) / HOURS_PER_DAY))
            left, below = place, above
        return None

    def _close_in(self, left: tuple[float, float], right: tuple[float, float], line: float, side: float) -> float:
        """Return the log time between two points of the grid at which the line is crossed, by false position."""
        middle = right[0]
        for _ in range(_REFINEMENTS):
            middle = left[0] + (right[0] - left[0]) * -left[1] / (right[1] - left[1])
            mean, sd = self.loss(math.exp(middle))
            here = (middle, mean + side * sd - line)
            left, right = (here, right) if here[1] < 0 else (left, here)
        return middle

    def weigh_prior(self, days: float) -> float:
        """Return how much of what is thought of slope and wear, as of that day, no reading has yet replaced: 0 to 1."""
        fit, belief = self.fit, self.fit.belief
        hours = days * HOURS_PER_DAY
        decade = belief.course.decades(hours) - belief.course.decades(fit.noise.zero_hours)
        played = self.hours_per_week * (hours - fit.noise.zero_hours) / HOURS_PER_WEEK

        def blend(slope: float, wear: float, both: float) -> float:
            return slope * decade**2 + wear * played**2 + 2 * both * decade * played

        before = blend(belief.slope_variance, belief.wear_variance, belief.covariance)
        after = blend(*fit.read_variances)
        return min(max(after / before, 0.0), 1.0) if before > 0 else 1.0
