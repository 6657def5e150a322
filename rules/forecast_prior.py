"""What is expected of a job before its own readings: the book, the shop's jobs, the player's earlier jobs."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from operator import mul
from typing import Any

from rules.facts import Kind, Material
from rules.forecast_book import ForecastBook
from rules.forecast_fit import KNOTS_HOURS, STRAIGHT, Belief, Course, cover, factor, halve
from rules.forecast_history import History

Pair = tuple[float, float]
"""One figure for the slope and one for the wear."""
Information = tuple[float, float, float, float, float]
"""What one job's readings tell: precision of slope, of both, of wear; and the same times their values."""
_LARGEST = 1000.0
"""No figure of a population is larger: beyond it nothing a string does is described."""
_LEAST_SPREAD = 1e-12
Strings = tuple[Material | None, Material | None]


@dataclass(frozen=True)
class Population:
    """How slope and wear vary: between shops, between players of a shop, between jobs of a player."""

    mean: Pair
    shop: Pair
    """Variance of the mean itself: how far this shop may be from it."""
    player: Pair
    job: Pair
    drift_percent: float
    """How far a stringbed wanders from the course, per root decade."""
    course: Course = STRAIGHT
    widen: float = 1.0
    """Factor on the range, learnt from how well past readings were foretold."""
    jobs: int = 0
    """Jobs this was learnt from; none for the book's own figures."""

    def to_dict(self) -> dict[str, Any]:
        """Return the population as JSON."""
        return {
            "mean": list(self.mean),
            "shop": list(self.shop),
            "player": list(self.player),
            "job": list(self.job),
            "drift_percent": self.drift_percent,
            "course": list(self.course.steepness),
            "widen": self.widen,
            "jobs": self.jobs,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Population:
        """Return the population that `to_dict` wrote.

        Raises:
            KeyError, ValueError, TypeError: when the data is not a population.
        """
        pairs = {key: (float(data[key][0]), float(data[key][1])) for key in ("mean", "shop", "player", "job")}
        if not all(0 <= value <= _LARGEST for pair in pairs.values() for value in pair):
            raise ValueError("a population holds finite numbers from zero up")
        if not all(value >= _LEAST_SPREAD for key in ("shop", "player", "job") for value in pairs[key]):
            raise ValueError("a population has a spread above zero between shops, players and jobs")
        course = Course(tuple(float(value) for value in data["course"]))
        if len(course.steepness) not in {0, len(KNOTS_HOURS)}:
            raise ValueError("a course holds one figure for each knot, or none")
        drift, widen, jobs = float(data["drift_percent"]), float(data["widen"]), int(data["jobs"])
        if jobs < 0 or not widen > 0 or not all(0 <= one <= _LARGEST for one in (*course.steepness, drift, widen)):
            raise ValueError("a population has a course, a drift, a width and a number of jobs that can be")
        return cls(**pairs, drift_percent=drift, course=course, widen=widen, jobs=jobs)


@dataclass(frozen=True)
class ShopPrior:
    """What a shop's own jobs have taught, by strings and kind of instrument, as of a day."""

    learnt_on: dt.date
    jobs: int
    """Jobs with at least one usable reading."""
    left_out: int
    """Readings too far from anything plausible to learn from."""
    populations: Mapping[tuple[Strings, Kind | None], Population]

    def to_dict(self) -> dict[str, Any]:
        """Return the prior as JSON."""
        return {
            "learnt_on": self.learnt_on.isoformat(),
            "jobs": self.jobs,
            "left_out": self.left_out,
            "populations": [
                {
                    "mains_material": strings[0].value if strings[0] else None,
                    "crosses_material": strings[1].value if strings[1] else None,
                    "kind": kind.value if kind else None,
                    **population.to_dict(),
                }
                for (strings, kind), population in self.populations.items()
            ],
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> ShopPrior:
        """Return the prior that `to_dict` wrote.

        Raises:
            KeyError, ValueError, TypeError: when the data is not a shop's prior.
        """
        populations = {}
        for row in data["populations"]:
            strings = tuple(Material(row[key]) if row[key] else None for key in ("mains_material", "crosses_material"))
            kind = Kind(row["kind"]) if row["kind"] else None
            populations[((strings[0], strings[1]), kind)] = Population.from_dict(row)
        return cls(dt.date.fromisoformat(data["learnt_on"]), int(data["jobs"]), int(data["left_out"]), populations)


def expect_from_book(strings: Strings, book: ForecastBook) -> Population:
    """Return the book's population for these strings.

    A hybrid lies in the middle of its two strings, with the difference between them in the spread.
    """
    figures = [book.strings[one or "unknown"] for one in strings]
    means, variances = [], []
    for spreads in ([one.slope for one in figures], [one.wear for one in figures]):
        middle = sum(one.mean for one in spreads) / 2
        means.append(middle)
        variances.append(sum(one.sd**2 + (one.mean - middle) ** 2 for one in spreads) / 2)
    shop, player = book.figures.shop_share.value, book.figures.player_share.value

    def share(part: float) -> Pair:
        return variances[0] * part, variances[1] * part

    return Population(
        mean=(means[0], means[1]),
        shop=share(shop),
        player=share(player),
        job=share(1 - shop - player),
        drift_percent=book.figures.drift_percent.value,
    )


def inform(history: History, population: Population, belief: Belief | None = None) -> Information | None:
    """Return what the job's readings tell of its slope and wear, or None without a reading.

    `belief` is that for any job of the population, where somebody has it already.
    """
    checks, course = history.checks, population.course
    if not checks:
        return None
    zero = course.decades(history.noise.zero_hours)
    decades = [course.decades(check.hours) - zero for check in checks]
    played = [check.played for check in checks]
    losses = [check.loss_percent for check in checks]
    lower = factor(cover(checks, history.noise, belief or expect_of_any(population)))
    by_decades, by_played, by_losses = (halve(lower, column) for column in (decades, played, losses))
    pairs = (
        (by_decades, by_decades),
        (by_decades, by_played),
        (by_played, by_played),
        (by_losses, by_decades),
        (by_losses, by_played),
    )
    a, b, c, x, y = (sum(map(mul, first, second)) for first, second in pairs)
    return a, b, c, x, y


def expect_of_any(population: Population) -> Belief:
    """Return the belief for a job of a player nobody has met yet."""
    parts = zip(population.shop, population.player, population.job, strict=True)
    slope_variance, wear_variance = (math.fsum(part) for part in parts)
    slope, wear = population.mean
    return Belief(
        slope, slope_variance, wear, wear_variance, drift_percent=population.drift_percent, course=population.course
    )


def blur(told: Information, spread: Pair) -> Information:
    """Return what is told of the mean, when the job itself scatters around it with these variances.

    (I + L E)^-1 applied to precision L and to L times the value, which holds for a singular L too: one reading tells
    only of one mixture of slope and wear.
    """
    a, b, c, x, y = told
    e, f = spread
    p, q, r, s = 1 + a * e, b * f, b * e, 1 + c * f
    scale = 1 / (p * s - q * r)
    return (
        (s * a - q * b) * scale,
        (s * b - q * c) * scale,
        (p * c - r * b) * scale,
        (s * x - q * y) * scale,
        (p * y - r * x) * scale,
    )


def expect_of_job(population: Population, earlier: Sequence[History]) -> tuple[Belief, int]:
    """Return the belief for the player's next job, and how many of his earlier jobs it takes in."""
    told = [blur(one, population.job) for history in earlier if (one := inform(history, population))]
    belief = expect_of_any(population)
    if not told:
        return belief, 0
    (slope, wear), (job_slope, job_wear) = population.mean, population.job
    common = (population.shop[0] + population.player[0], population.shop[1] + population.player[1])
    a, b, c, x, y = (math.fsum(column) for column in zip(*told, strict=True))
    a, c = a + 1 / common[0], c + 1 / common[1]
    x, y = x + slope / common[0], y + wear / common[1]
    scale = 1 / (a * c - b * b)
    belief = replace(
        belief,
        slope=(c * x - b * y) * scale,
        slope_variance=c * scale + job_slope,
        wear=max((a * y - b * x) * scale, 0.0),
        wear_variance=a * scale + job_wear,
        covariance=-b * scale,
    )
    return belief, len(told)
