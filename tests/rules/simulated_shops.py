"""Invented shops whose strings lose tension by other laws than the forecast's, to see how far it can be trusted."""

from __future__ import annotations

import datetime as dt
import math
import random
from collections.abc import Callable
from dataclasses import dataclass

from rules.facts import Kind, Material, Reading, Span
from rules.forecast_history import Job

STRUNG_ON = dt.date(2025, 3, 1)

# (first-day loss in per cent with the baseline 10 minutes after stringing, wear in per cent per hour): the truth of
# these shops, near the published means but not the book's own figures
TRUTH = {
    Material.NATURAL_GUT: (7.0, 0.02),
    Material.SYNTHETIC_GUT: (9.5, 0.04),
    Material.MULTIFILAMENT: (9.0, 0.06),
    Material.POLYESTER: (12.5, 0.09),
}


@dataclass(frozen=True)
class SimulatedJob:
    """A job with its readings, and what the bed truly does."""

    job: Job
    true_loss: Callable[[float], float]
    """Loss in per cent against the recorded baseline, by days since stringing."""
    line_days: Callable[[float], float]
    """The first day on which the true loss reaches a line; infinity within ten years."""


def relax_maxwell(first_day: float, draw: random.Random) -> Callable[[float], float]:
    """Return a sum of Maxwell elements, one per decade of time from six minutes to a year, unequal in size.

    The generalised Maxwell model of stress relaxation: each element decays exponentially with its own time.
    """
    sizes = [first_day / 2.6 * math.exp(draw.gauss(0, 0.3)) for _ in range(6)]
    times = [10.0**power for power in (-1, 0, 1, 2, 3, 4)]

    def lost(hours: float) -> float:
        return sum(size * -math.expm1(-hours / time) for size, time in zip(sizes, times, strict=True))

    return lost


def relax_peleg(first_day: float, draw: random.Random) -> Callable[[float], float]:
    """Return Peleg's two-constant relaxation curve, t / (k1 + k2 t), which levels off.

    M. Peleg, "Linearization of relaxation and creep curves of solid biological materials", J. Rheology 24, 1980.
    """
    half_time = 14.0 * math.exp(draw.gauss(0, 0.5))
    most = first_day * (24 + half_time) / 24

    def lost(hours: float) -> float:
        return most * hours / (half_time + hours)

    return lost


LAWS = {"maxwell": relax_maxwell, "peleg": relax_peleg}


@dataclass
class SimulatedShop:
    """A shop with its own way of stringing, its players and one stiffness meter."""

    law: str
    draw: random.Random
    players: int = 40

    def __post_init__(self) -> None:
        gauss = self.draw.gauss
        self.shop_factor = math.exp(gauss(0, 0.12))
        self.people = [
            (f"player {i}", math.exp(gauss(0, 0.08)), 3.0 * math.exp(gauss(0, 0.5)), self.draw.choice(list(TRUTH)))
            for i in range(self.players)
        ]

    def string(self, days: list[int], outlier: float = 0.0) -> SimulatedJob:
        """Return a job checked on those days; `outlier` is added to the last reading, in kgf/cm."""
        draw = self.draw
        player, own_factor, weekly, material = draw.choice(self.people)
        first_day, wear = TRUTH[material]
        lost = LAWS[self.law](first_day * self.shop_factor * own_factor * math.exp(draw.gauss(0, 0.15)), draw)
        wear *= math.exp(draw.gauss(0, 0.3))
        fresh = draw.uniform(32, 42)

        def tension(hours: float) -> float:
            return 1 - lost(hours) / 100 - wear / 100 * weekly * hours / 168

        def read(hours: float, off: float = 0.0) -> float:
            return round(2 * (fresh * tension(hours) + draw.gauss(0, 0.4) + off)) / 2

        at = math.exp(draw.uniform(math.log(5 / 60), math.log(25 / 60)))
        baseline = read(at)
        readings = tuple(
            Reading(
                (read(24 * day + draw.uniform(-9, 9) if day else draw.uniform(1, 9), outlier * (day == days[-1])),),
                Kind.STIFFNESS,
                taken_on=STRUNG_ON + dt.timedelta(days=day),
            )
            for day in days
        )
        said = round(weekly * math.exp(draw.gauss(0, 0.2)) * 2) / 2
        job = Job(
            strung_on=STRUNG_ON,
            mains_material=material,
            baseline=(Reading((baseline,), Kind.STIFFNESS),),
            reading=readings,
            hours_per_week=Span(said, said),
            player=player,
        )

        def true_loss(day: float) -> float:
            return 100 * (1 - fresh * tension(24 * day) / baseline)

        def line_days(line: float) -> float:
            low, high = 0.0, 3650.0
            if true_loss(high) < line:
                return math.inf
            for _ in range(50):
                middle = (low + high) / 2
                low, high = (middle, high) if true_loss(middle) < line else (low, middle)
            return high

        return SimulatedJob(job, true_loss, line_days)

    def draw_days(self, most: int = 5, last: int = 120) -> list[int]:
        """Return the days of one to `most` checks, evenly likely in log time."""
        count = self.draw.randint(1, most)
        return sorted({round(math.exp(self.draw.uniform(0, math.log(last)))) for _ in range(count)})
