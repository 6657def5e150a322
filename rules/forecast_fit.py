"""A small Bayesian linear fit of the loss law in plain Python; knows no date, no material and no wording."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from operator import mul

Vector = list[float]
Matrix = list[list[float]]


KNOTS_HOURS = (24.0, 96.0, 384.0, 1536.0)
"""Where a shop's own course may bend: 1, 4, 16 and 64 days after stringing."""
_KNOTS = tuple(math.log10(hours) for hours in KNOTS_HOURS)
_WITHIN_FIRST = (0.0,) * len(KNOTS_HOURS)


def stretch_beyond(hours: float) -> tuple[float, ...]:
    """Return how much log time, in decades, lies in each stretch after a knot."""
    first, second, third, last = _KNOTS
    now = math.log10(hours)
    if now <= first:
        return _WITHIN_FIRST
    if now <= second:
        return now - first, 0.0, 0.0, 0.0
    if now <= third:
        return second - first, now - second, 0.0, 0.0
    if now <= last:
        return second - first, third - second, now - third, 0.0
    return second - first, third - second, last - third, now - last


@dataclass(frozen=True, slots=True)
class Course:
    """The loss over log time up to its size: a straight line, or bent where a shop's own jobs bend."""

    steepness: tuple[float, ...] = ()
    """Slope after each knot as a multiple of the slope in the first day; none is the straight line."""

    def decades(self, hours: float) -> float:
        """Return the log time since one hour, as tension loss runs through it."""
        if not self.steepness:
            return math.log10(hours)
        first = min(math.log10(hours), _KNOTS[0])
        return first + _dot(self.steepness, stretch_beyond(hours))


STRAIGHT = Course()


@dataclass(frozen=True, slots=True)
class Belief:
    """What is thought of slope and wear before this job's readings."""

    slope: float
    """Per cent of the baseline lost per tenfold time."""
    slope_variance: float
    wear: float
    """Per cent of the baseline lost per hour of play."""
    wear_variance: float
    covariance: float = 0.0
    """Of slope and wear: below zero once readings have told their sum better than their shares."""
    drift_percent: float = 0.0
    """How far a stringbed wanders from the course, per root decade."""
    course: Course = STRAIGHT


@dataclass(frozen=True, slots=True)
class Check:
    """One reading of a job as a loss against its baseline."""

    hours: float
    """Since stringing."""
    played: float
    """Hours played since the baseline."""
    loss_percent: float
    """Below zero when the reading lies above the baseline."""
    scatter_percent: float
    """Standard deviation of this reading alone."""


@dataclass(frozen=True, slots=True)
class Noise:
    """What blurs all readings of a job together."""

    zero_hours: float
    """Hours after stringing at which the baseline was taken."""
    baseline_percent: float
    """Standard deviation of the baseline, shared by every loss computed from it."""
    played_share: float
    """Standard deviation of the playing time, as a share of it."""
    against_baseline: bool = True
    """Foretold is what will be read against this baseline; False, for an estimated one: what the bed truly loses."""


def factor(matrix: Matrix) -> Matrix:
    """Return the lower Cholesky factor of a symmetric positive definite matrix."""
    size = len(matrix)
    lower: Matrix = [[0.0] * size for _ in range(size)]
    for i in range(size):
        row = lower[i]
        for j in range(i):
            other = lower[j]
            row[j] = (matrix[i][j] - _dot(row[:j], other)) / other[j]
        row[i] = math.sqrt(matrix[i][i] - _dot(row[:i], row))
    return lower


def halve(lower: Matrix, right: Sequence[float]) -> Vector:
    """Return x with L x = right: the first half of solving, and all that a sum of squares needs."""
    x: Vector = []
    for row, value in zip(lower, right, strict=True):
        x.append((value - _dot(x, row)) / row[len(x)])
    return x


def solve(lower: Matrix, right: Sequence[float]) -> Vector:
    """Return x with (L L^T) x = right."""
    size = len(lower)
    x = halve(lower, right)
    for i in range(size - 1, -1, -1):
        x[i] = (x[i] - sum(lower[k][i] * x[k] for k in range(i + 1, size))) / lower[i][i]
    return x


def invert(matrix: Matrix) -> Matrix:
    """Return the inverse of a symmetric positive definite matrix."""
    size = len(matrix)
    lower = factor(matrix)
    return [solve(lower, [1.0 if i == j else 0.0 for i in range(size)]) for j in range(size)]


def cover(checks: Sequence[Check], noise: Noise, belief: Belief) -> Matrix:
    """Return the covariance of the checks' losses around the law, for a known slope and wear.

    Reading scatter on the diagonal; the baseline shared by all; a walk in log time, anchored where the baseline was
    taken; and playing times that are all off by one share.
    """
    decades = [math.log10(check.hours / noise.zero_hours) for check in checks]
    shared = noise.baseline_percent**2
    drift = belief.drift_percent**2 / 2
    hours_off = (belief.wear * noise.played_share) ** 2
    rows: Matrix = []
    for i, check in enumerate(checks):
        row = []
        for j in range(i + 1):
            walk = drift * (abs(decades[i]) + abs(decades[j]) - abs(decades[i] - decades[j]))
            row.append(shared + walk + hours_off * check.played * checks[j].played)
        row[i] += check.scatter_percent**2
        rows.append(row)
    for i, row in enumerate(rows):
        row.extend(rows[j][i] for j in range(i + 1, len(rows)))
    return rows


@dataclass(frozen=True)
class Misfit:
    """A reading that the rest of what is known would not have led one to expect."""

    index: int
    expected_percent: float
    """What the other readings and the prior say."""
    sd_away: float
    """Signed distance in standard deviations; above zero when more was lost than expected."""
    set_aside: bool
    """True when the curve was fitted without it."""


class LossFit:
    """Slope, wear and the loss at any time, given the prior and one job's checks."""

    def __init__(self, checks: Sequence[Check], belief: Belief, noise: Noise) -> None:
        self.checks = tuple(checks)
        self.belief = belief
        self.noise = noise
        self._zero = belief.course.decades(noise.zero_hours)
        self._walked = [math.log10(check.hours / noise.zero_hours) for check in checks]
        self._decades = [belief.course.decades(check.hours) - self._zero for check in checks]
        self._to_slope = [self._link(d, c.played)[0] for d, c in zip(self._decades, checks, strict=True)]
        self._to_wear = [self._link(d, c.played)[1] for d, c in zip(self._decades, checks, strict=True)]
        self._inverse = self._invert_cover()
        left = [
            check.loss_percent - belief.slope * decade - belief.wear * check.played
            for check, decade in zip(checks, self._decades, strict=True)
        ]
        self._weights = [_dot(row, left) for row in self._inverse]
        self._gain_slope = [_dot(row, self._to_slope) for row in self._inverse]
        self._gain_wear = [_dot(row, self._to_wear) for row in self._inverse]
        self.slope = belief.slope + _dot(self._to_slope, self._weights)
        self.wear = belief.wear + _dot(self._to_wear, self._weights)
        self.slope_variance = belief.slope_variance - _dot(self._to_slope, self._gain_slope)
        self.wear_variance = belief.wear_variance - _dot(self._to_wear, self._gain_wear)
        self.covariance = belief.covariance - _dot(self._to_slope, self._gain_wear)
        self.read_variances = (self.slope_variance, self.wear_variance, self.covariance)
        """Of slope, of wear and of both, by the readings alone, before they are kept from falling below zero."""
        self._corrections = self._keep_positive()

    def _link(self, decade: float, played: float) -> tuple[float, float]:
        """Return the prior covariance of a loss with slope and with wear."""
        belief = self.belief
        return (
            belief.slope_variance * decade + belief.covariance * played,
            belief.covariance * decade + belief.wear_variance * played,
        )

    def _invert_cover(self) -> Matrix:
        if not self.checks:
            return []
        matrix = cover(self.checks, self.noise, self.belief)
        for i, row in enumerate(matrix):
            for j, check in enumerate(self.checks):
                row[j] += self._to_slope[i] * self._decades[j] + self._to_wear[i] * check.played
        return invert(matrix)

    def _keep_positive(self) -> tuple[tuple[float, float, float, float], ...]:
        """Condition on wear and slope not below zero: strings do not grow tighter.

        Each condition cuts the normal curve of one of the two at zero; mean and variance of what is left pass on to
        everything that hangs together with it. Returns, per condition: which way of slope and wear it acts, the shift
        of the mean and the shrinkage of the variance, both per unit of covariance.
        """
        found = []
        for is_wear in (True, False):
            mean, variance = (self.wear, self.wear_variance) if is_wear else (self.slope, self.slope_variance)
            shift, shrink = _cut_at_zero(mean, variance)
            found.append((float(is_wear), shift, shrink, self.covariance))
            with_slope = self.covariance if is_wear else self.slope_variance
            with_wear = self.wear_variance if is_wear else self.covariance
            self.slope += with_slope * shift
            self.wear += with_wear * shift
            cross = self.covariance - with_slope * with_wear * shrink
            self.slope_variance -= with_slope**2 * shrink
            self.wear_variance -= with_wear**2 * shrink
            self.covariance = cross
        return tuple(found)

    def at(self, hours: float, played: float) -> tuple[float, float]:
        """Return mean and standard deviation of the loss, in per cent of the baseline."""
        noise, belief = self.noise, self.belief
        decade = belief.course.decades(hours) - self._zero
        walked = math.log10(hours / noise.zero_hours)
        drift = belief.drift_percent**2 / 2
        common = noise.baseline_percent**2 if noise.against_baseline else 0.0
        hours_off = (belief.wear * noise.played_share) ** 2
        here = abs(walked)
        to_slope, to_wear = self._link(decade, played)
        variance = common + 2 * drift * here + (hours_off * played + to_wear) * played + to_slope * decade
        mean = belief.slope * decade + belief.wear * played
        shared = [
            common
            + drift * (here + abs(other) - abs(walked - other))
            + (hours_off * check.played + own_wear) * played
            + own_slope * decade
            for check, other, own_slope, own_wear in zip(
                self.checks, self._walked, self._to_slope, self._to_wear, strict=True
            )
        ]
        mean += _dot(shared, self._weights)
        for i, row in enumerate(self._inverse):
            variance -= shared[i] * _dot(row, shared)
        with_slope = to_slope - _dot(shared, self._gain_slope)
        with_wear = to_wear - _dot(shared, self._gain_wear)
        for is_wear, shift, shrink, cross in self._corrections:
            link = with_wear if is_wear else with_slope
            mean += link * shift
            variance -= link * link * shrink
            if is_wear:  # the second condition meets what the first has left over
                with_slope -= link * cross * shrink
        return mean, math.sqrt(max(variance, 0.0))

    def misfits(self) -> list[tuple[float, float]]:
        """Return, for each check, what all the others and the prior lead to expect, and its distance in sd.

        Leave-one-out in closed form: with the inverse covariance Q, the residual is (Q y)_i / Q_ii and its variance
        1 / Q_ii (Rasmussen and Williams, "Gaussian Processes for Machine Learning", 2006, chapter 5).
        """
        return [
            (check.loss_percent - weight / row[i], weight / math.sqrt(row[i]))
            for i, (check, weight, row) in enumerate(zip(self.checks, self._weights, self._inverse, strict=True))
        ]


def _dot(first: Sequence[float], second: Sequence[float]) -> float:
    """Return the sum of products, as far as the shorter of the two goes."""
    total: float = sum(map(mul, first, second))
    return total


_FAR_BELOW = -25.0
"""So far below zero the hazard is taken from its asymptotic series, for the share above zero leaves a float's range."""


def _cut_at_zero(mean: float, variance: float) -> tuple[float, float]:
    """Return shift and shrinkage, per unit of covariance, of a normal variable known to be above zero.

    Standard moments of the truncated normal distribution: E = mu + sd*h, V = sd^2 (1 - h (h + mu/sd)) with the
    hazard h = pdf(mu/sd)/cdf(mu/sd).
    """
    if variance <= 0:
        return 0.0, 0.0
    sd = math.sqrt(variance)
    z = mean / sd
    if z < _FAR_BELOW:
        hazard = -z - 1 / z + 2 / z**3
    else:
        hazard = math.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) / (0.5 * math.erfc(-z / math.sqrt(2)))
    return hazard / sd, hazard * (hazard + z) / variance


def fit_without_outliers(
    checks: Sequence[Check], belief: Belief, noise: Noise, limit_sd: float, others: int
) -> tuple[LossFit, list[Misfit]]:
    """Return the fit and the checks that do not agree with the rest, the worst first.

    A check is set aside only where at least `others` checks speak against it; with fewer nobody can tell which of
    them is wrong, so it stays in the fit and is named all the same.
    """
    kept = list(range(len(checks)))
    found: list[Misfit] = []
    while True:
        fit = LossFit([checks[i] for i in kept], belief, noise)
        if not kept:
            return fit, found
        distances = fit.misfits()
        place = max(range(len(kept)), key=lambda i: abs(distances[i][1]))
        expected, away = distances[place]
        if abs(away) <= limit_sd:
            return fit, found
        set_aside = len(kept) - 1 >= others
        found.append(Misfit(kept[place], expected, away, set_aside))
        if not set_aside:
            return fit, found
        del kept[place]
