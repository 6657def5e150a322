"""The loss law in closed form and its least-squares line; knows no prior, no date and no reading kind."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

LN10 = math.log(10.0)
_NEWTON_STEPS = 64
_LARGEST_LOG = 700.0
"""exp() of more is beyond a float: longer than anybody waits."""
_NO_WEAR = -40.0
"""ln of an argument of W so small that W(v) = v to the last digit: wear plays no part."""


@dataclass(frozen=True)
class LossLaw:
    """Loss that grows with the logarithm of time, plus wear for every hour of play."""

    slope: float
    """Loss per tenfold time, in per cent of the baseline (or any unit the line is given in)."""
    zero_hours: float = 1.0
    """Hours after stringing at which the baseline was taken: no loss there by definition."""
    wear: float = 0.0
    """Loss per hour of play, in the unit of the slope."""

    def loss(self, hours: float, played: float = 0.0) -> float:
        """Return the loss after so many hours since stringing, with so many hours played since the baseline.

        Raises:
            ValueError: when the hours are not above zero; the law has no value there.
        """
        if hours <= 0 or self.zero_hours <= 0:
            raise ValueError("The loss law needs hours above zero, for both the baseline and the reading.")
        return self.slope * math.log10(hours / self.zero_hours) + self.wear * played


def invert_w_exp_w(value: float) -> float:
    """Return w with w * exp(w) = value for value >= 0 (principal branch of the Lambert W function).

    Newton on w + ln(w) = ln(value), which does not overflow (Corless et al., "On the Lambert W function",
    Advances in Computational Mathematics 5, 1996).

    Raises:
        ValueError: below zero, where the loss law has no use for it.
    """
    if value < 0:
        raise ValueError("The loss law meets no negative value here.")
    if value == 0:
        return 0.0
    return _w_of_log(math.log(value))


def _w_of_log(log_value: float) -> float:
    """Return w with w + ln(w) = log_value."""
    # for a small value v, w lies close to v/(1+v); for a large one close to ln(v) - ln(ln(v))
    w = log_value - math.log(log_value) if log_value > 1 else math.exp(log_value) / (1 + math.exp(log_value))
    for _ in range(_NEWTON_STEPS):
        if w == 0:  # the value is below the smallest float
            return 0.0
        step = (w + math.log(w) - log_value) * w / (1 + w)
        w -= step
        if abs(step) <= 1e-15 * w:
            break
    return w


def hours_to_reach(law: LossLaw, loss: float, play_share: float = 1.0) -> float:
    """Return the hours since stringing at which the law reaches the loss; infinity when it never does.

    `play_share` is the hours played in one hour of the clock (two hours a week: 2/168). From
    slope*log10(t/t0) + wear*share*t = loss follows t = (1/c) W(c t0 10^(loss/slope)) with
    c = wear*share*ln(10)/slope; without wear, t = t0 10^(loss/slope). Wear counts from stringing on here.
    """
    rate = law.wear * play_share
    if law.slope <= 0:
        return loss / rate if rate > 0 else math.inf
    log_fresh = math.log(law.zero_hours) + LN10 * loss / law.slope
    log_c = math.log(rate) + math.log(LN10 / law.slope) if rate > 0 else -math.inf
    if log_c + log_fresh < _NO_WEAR:
        return math.exp(log_fresh) if log_fresh < _LARGEST_LOG else math.inf
    log_hours = math.log(_w_of_log(log_c + log_fresh)) - log_c
    return math.exp(log_hours) if log_hours < _LARGEST_LOG else math.inf


@dataclass(frozen=True)
class LogLine:
    """A least-squares line of a reading over log10 of the hours."""

    at_one_hour: float
    """Value of the line at one hour, in the unit of the readings."""
    per_decade: float
    """Change per tenfold time; below zero when tension falls."""
    r_squared: float
    """Share of the variance that the line accounts for."""

    def hours_at(self, value: float) -> float:
        """Return the hours at which the line has that value; infinity when it is flat."""
        if self.per_decade == 0:
            return math.inf
        return float(10 ** ((value - self.at_one_hour) / self.per_decade))


def fit_log_line(points: Sequence[tuple[float, float]]) -> LogLine:
    """Return the ordinary least-squares line through (hours, reading) over log10(hours).

    Raises:
        ValueError: with fewer than two different times, or a time not above zero.
    """
    if any(hours <= 0 for hours, _ in points):
        raise ValueError("Every reading needs a time above zero hours.")
    decades = [math.log10(hours) for hours, _ in points]
    if len(set(decades)) < 2:  # noqa: PLR2004 - a line has two unknowns
        raise ValueError("A line needs readings at two different times at least.")
    values = [value for _, value in points]
    mean_decade, mean_value = math.fsum(decades) / len(points), math.fsum(values) / len(points)
    spread = math.fsum((d - mean_decade) ** 2 for d in decades)
    slope = math.fsum((d - mean_decade) * (v - mean_value) for d, v in zip(decades, values, strict=True)) / spread
    line = LogLine(mean_value - slope * mean_decade, slope, 1.0)
    left = math.fsum((v - line.at_one_hour - slope * d) ** 2 for d, v in zip(decades, values, strict=True))
    total = math.fsum((v - mean_value) ** 2 for v in values)
    return LogLine(line.at_one_hour, slope, 1.0 if total == 0 else 1 - left / total)
