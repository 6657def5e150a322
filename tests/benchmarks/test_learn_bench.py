"""How long a shop of many years waits while its forecast learns: 100,000 measured stringings in one SQLite file."""

from __future__ import annotations

import datetime as dt
import json
import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from dialogue.counter.counter import Counter
from dialogue.forecasts.foresee import foresee_loss
from dialogue.forecasts.shop_prior import PriorShown, learn_prior, show_prior
from rules.facts import Day, Facts, Kind, Material, Reading
from rules.rulebook import load_book
from storage.database import Store, open_store
from tests.rules.rehearsals import LEARNT_ON
from tests.rules.simulated_shops import STRUNG_ON, SimulatedShop

pytestmark = pytest.mark.benchmark(timer=time.process_time)
# CPU time: all of this runs in one thread, and what else the machine is doing is not its doing

JOBS, PLAYERS = 100_000, 20_000
BOUND_SECONDS = 60.0


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A shop whose stringings follow the sum of Maxwell elements, as the simulated shops do."""
    path = tmp_path_factory.mktemp("learn") / "shop.sqlite3"
    url = f"sqlite:///{path}"
    open_store(url).close()
    simulated = SimulatedShop("maxwell", random.Random(1), players=PLAYERS)  # noqa: S311 - no secret
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        _fill(connection, simulated)
        connection.commit()
    with open_store(url) as store:
        yield store


def _fill(connection: sqlite3.Connection, simulated: SimulatedShop) -> None:
    then = "2020-01-01 00:00:00.000000"
    players: dict[str, int] = {}
    people, racquets, jobs, readings = [], [], [], []
    for number in range(1, JOBS + 1):
        job = simulated.string(simulated.draw_days()).job
        assert job.player is not None
        assert job.hours_per_week is not None
        if job.player not in players:
            players[job.player] = owner = len(players) + 1
            hours = job.hours_per_week
            people.append((owner, then, f"Invented {owner}", f"invented {owner}", False, hours.low, hours.high))
            racquets.append((owner, then, owner))
        owner = players[job.player]
        material = job.mains_material
        jobs.append((number, owner, f"{number:06}", "collected", then, material, material, job.strung_on.isoformat()))
        for role, taken in (("baseline", job.baseline), ("check", job.reading)):
            for one in taken:
                day = (one.taken_on or job.strung_on).isoformat()
                readings.append((then, number, role, "stiffness", json.dumps(list(one.values)), day))
    insert = "INSERT INTO {} VALUES ({})"
    columns = "id, created_at, name, name_key, consent_to_contact, hours_per_week_low, hours_per_week_high"
    connection.executemany(insert.format(f"customer ({columns})", "?, ?, ?, ?, ?, ?, ?"), people)
    connection.executemany(insert.format("racquet (id, created_at, customer_id)", "?, ?, ?"), racquets)
    columns = "id, racquet_id, tag, status, received_at, mains_material, crosses_material, strung_on"
    columns += ", strung_on_approx, approximate"
    connection.executemany(insert.format(f"string_job ({columns})", "?, ?, ?, ?, ?, ?, ?, ?, 0, 0"), jobs)
    columns = 'created_at, job_id, role, kind, "values", taken_on'
    connection.executemany(insert.format(f"reading ({columns})", "?, ?, ?, ?, ?, ?"), readings)


def test_100_000_stringings_are_learnt_from_within_a_minute(benchmark: BenchmarkFixture, shop: Store) -> None:
    """Reading, learning and keeping, with the progress told: 60 s at most."""
    steps: list[int] = []
    counter = Counter(shop, load_book(), LEARNT_ON)

    def learn() -> PriorShown:
        return learn_prior(counter, lambda done, _: steps.append(done))

    learnt = benchmark.pedantic(learn, rounds=1)
    assert learnt.jobs == JOBS
    assert steps == sorted(steps)
    assert steps[-1] == 2 * JOBS
    assert show_prior(counter).prior == learnt.prior
    assert benchmark.stats.stats.max <= BOUND_SECONDS


def test_one_forecast_in_a_big_shop_takes_milliseconds(benchmark: BenchmarkFixture, shop: Store) -> None:
    """From the card with the player's earlier stringings and what the shop has learnt: 25 ms at the median at most."""
    today = LEARNT_ON + dt.timedelta(days=1)
    with shop.view() as unit:
        facts = Facts(
            today=today,
            mains_material=Material(unit.jobs.get(JOBS).mains_material),
            strung_on=Day(STRUNG_ON),
            baseline=(Reading((38.0,), Kind.STIFFNESS, taken_on=STRUNG_ON),),
            reading=(Reading((34.0,), Kind.STIFFNESS, taken_on=today),),
        )
        found = benchmark(foresee_loss, unit, facts, today, JOBS)
    assert found is not None
    assert found.shop_jobs > 0
    assert found.player_jobs > 0
    assert benchmark.stats.stats.median <= 0.025
