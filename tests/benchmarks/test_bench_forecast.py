"""How fast and how trustworthy forecasts are; prints the table that the README quotes."""

from __future__ import annotations

import datetime as dt
import random
import time
from typing import TYPE_CHECKING

import pytest

from rules.forecast import forecast_loss
from rules.forecast_shop import learn_shop_prior
from tests.rules.rehearsals import LEARNT_ON, Rehearsal, rehearse
from tests.rules.simulated_shops import LAWS, STRUNG_ON, SimulatedShop

if TYPE_CHECKING:
    from pytest_benchmark.fixture import BenchmarkFixture

pytestmark = pytest.mark.benchmark(timer=time.process_time)
# CPU time: all of this runs in one thread, and what else the machine is doing is not its doing

SHOPS = range(500, 506)
NEW_JOBS = 150


def test_one_forecast_takes_milliseconds(benchmark: BenchmarkFixture) -> None:
    """A job with five readings, forecast from a learnt prior: 5 ms at the median at most."""
    shop = SimulatedShop("maxwell", random.Random(1))  # noqa: S311 - a simulation, not a secret
    prior = learn_shop_prior([shop.string(shop.draw_days()).job for _ in range(100)], LEARNT_ON)
    one = shop.string([1, 5, 14, 30, 60])
    forecast = benchmark(forecast_loss, one.job, STRUNG_ON + dt.timedelta(days=60), shop=prior)
    assert forecast.readings == 5
    assert benchmark.stats.stats.median <= 0.005


def test_a_shop_learns_from_100_000_jobs_within_a_minute(benchmark: BenchmarkFixture) -> None:
    """A hundred thousand jobs of twenty thousand players: 60 s at most."""
    shop = SimulatedShop("maxwell", random.Random(1), players=20_000)  # noqa: S311 - a simulation, not a secret
    jobs = [shop.string(shop.draw_days()).job for _ in range(100_000)]
    prior = benchmark.pedantic(learn_shop_prior, args=(jobs, LEARNT_ON), rounds=1)
    assert prior.jobs == 100_000
    assert benchmark.stats.stats.max <= 60


@pytest.mark.parametrize("law", LAWS)
@pytest.mark.parametrize("past_jobs", [0, 30, 300, 1000])
def test_ranges_beside_a_straight_line_and_the_chart(benchmark: BenchmarkFixture, law: str, past_jobs: int) -> None:
    """Coverage of the 80 % range, its width, the interval score, and the factor the day of 20 % is off by."""

    def try_out() -> Rehearsal:
        found = Rehearsal()
        for number in SHOPS:
            found.join(rehearse(law, number, past_jobs, NEW_JOBS))
        return found

    found = benchmark.pedantic(try_out, rounds=1)
    print(f"\n{law}, shops with {past_jobs} past jobs: coverage, median width, median score, day off by factor")  # noqa: T201
    for name in ("forecast", "straight", "chart"):
        print(f"{name:<9} {getattr(found, name).describe()}")  # noqa: T201
    dead = sum(found.chart_dead) / len(found.chart_dead)
    print(f"strings below 80 % before the chart's day: {dead:.2f}")  # noqa: T201
    assert found.forecast.coverage > found.straight.coverage
