"""How long a big shop waits: 100,000 customers, 120,000 racquets, 400,000 stringings in one SQLite file.

Bound for each search and list: 50 ms at the median.
"""

from __future__ import annotations

import datetime as dt
import random
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from storage.backup import back_up
from storage.database import open_store
from storage.rows import CustomerRow, RacquetRow, ReadingRow, StringJobRow
from tests.benchmarks.big_shop import TODAY, BigShop, Size, open_big_shop

SIZE = Size(customers=100_000, racquets=120_000, jobs=400_000)
BOUND_SECONDS = 0.05
OPEN_SECONDS = 0.06


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Iterator[BigShop]:
    """A shop with all its years."""
    with open_big_shop(tmp_path_factory.mktemp("big") / "big.sqlite3", SIZE) as opened:
        yield opened


def within_bound(benchmark: BenchmarkFixture) -> bool:
    """Tell whether the median stayed under the bound."""
    return bool(benchmark.stats.stats.median < BOUND_SECONDS)


def misspell(chance: random.Random, name: str) -> str:
    """Return the name with one letter wrong in one of its words."""
    at = chance.choice([place for place in range(1, len(name)) if name[place].isalpha()])
    return name[:at] + chance.choice("aeiounrst") + name[at + 1 :]


def test_find_misspelt_name(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """A full name with a wrong letter finds that name among the first five."""
    chance = random.Random(11)  # noqa: S311
    missed: list[str] = []

    def search() -> None:
        name = chance.choice(big.names)
        with big.store.view() as unit:
            hits = unit.customers.sounding_like(misspell(chance, name))
        if name not in {hit.customer.name for hit in hits}:
            missed.append(name)

    benchmark.pedantic(search, rounds=300, warmup_rounds=5)
    assert within_bound(benchmark)
    assert len(missed) <= 0.02 * 305


def test_find_family_name(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """A family name alone, which many bear."""
    chance = random.Random(13)  # noqa: S311

    def search() -> None:
        with big.store.view() as unit:
            assert unit.customers.sounding_like(chance.choice(big.names).split()[1])

    benchmark.pedantic(search, rounds=200, warmup_rounds=5)
    assert within_bound(benchmark)


def test_find_phone_tail(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """The last seven digits of a number."""
    chance = random.Random(17)  # noqa: S311

    def search() -> None:
        phone = chance.choice(big.phones)
        with big.store.view() as unit:
            assert phone[-4:] in unit.customers.by_phone_tail(phone[-8:])[0].phone

    benchmark.pedantic(search, rounds=200, warmup_rounds=5)
    assert within_bound(benchmark)


def test_find_tag(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """The tag on a label, to the stringing and its owner."""
    chance = random.Random(19)  # noqa: S311

    def search() -> None:
        tag = chance.choice(big.tags)
        with big.store.view() as unit:
            assert unit.jobs.by_tag(tag).tag == tag
            assert unit.customers.by_tag(tag)

    benchmark.pedantic(search, rounds=200, warmup_rounds=5)
    assert within_bound(benchmark)


def test_list_due_in_a_week(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """The first page of what is due in a week, and how many there are in all."""

    def look() -> int:
        with big.store.view() as unit:
            return unit.queries.due(TODAY, within_days=7).total

    assert benchmark.pedantic(look, rounds=50, warmup_rounds=3) >= 1000
    assert within_bound(benchmark)


def test_list_overdue(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """The first page of what is overdue since a month."""

    def look() -> None:
        with big.store.view() as unit:
            unit.queries.overdue(TODAY, since=TODAY - dt.timedelta(days=30))

    benchmark.pedantic(look, rounds=50, warmup_rounds=3)
    assert within_bound(benchmark)


def test_show_board(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """The sixty racquets in the shop."""

    def look() -> None:
        with big.store.view() as unit:
            assert len(unit.queries.board(TODAY)) == 60

    benchmark.pedantic(look, rounds=50, warmup_rounds=3)
    assert within_bound(benchmark)


def test_show_history(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """Everything of one racquet."""
    chance = random.Random(23)  # noqa: S311

    def look() -> None:
        with big.store.view() as unit:
            assert len(unit.queries.history(chance.randrange(1, SIZE.racquets)).jobs) >= 3

    benchmark.pedantic(look, rounds=100, warmup_rounds=3)
    assert within_bound(benchmark)


def test_drop_off(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """A new customer with a racquet and a stringing, committed to the disk."""

    def bring() -> None:
        with big.store.unit("anna") as unit:
            customer = unit.customers.add(CustomerRow(name="Marlo Fenwick", phone="(202) 555-0143"))
            racquet = unit.racquets.add(RacquetRow(customer_id=customer.id))
            unit.jobs.add(StringJobRow(racquet_id=racquet.id))
            unit.commit()

    benchmark.pedantic(bring, rounds=200, warmup_rounds=5)
    assert within_bound(benchmark)


@pytest.mark.parametrize("synchronous", ["FULL", "NORMAL"])
def test_commit_reading(benchmark: BenchmarkFixture, tmp_path: Path, synchronous: str) -> None:
    """One reading, committed to the disk: what FULL costs over NORMAL."""
    with open_store(f"sqlite:///{tmp_path}/shop.sqlite3", synchronous=synchronous) as store:
        with store.unit() as unit:
            job = unit.jobs.add(StringJobRow(racquet_id=unit.racquets.add(RacquetRow()).id))
            unit.commit()

        def measure() -> None:
            with store.unit() as unit:
                unit.readings.add(ReadingRow(job_id=job.id, role="check", values=(27.0,), taken_on=TODAY))
                unit.commit()

        benchmark.pedantic(measure, rounds=300, warmup_rounds=5)


def test_open_existing(benchmark: BenchmarkFixture, big: BigShop) -> None:
    """Opening a database whose form is current."""
    url = f"sqlite:///{big.store.where}"
    benchmark.pedantic(lambda: open_store(url).close(), rounds=30, warmup_rounds=2)
    assert benchmark.stats.stats.median < 0.06


def test_back_up(benchmark: BenchmarkFixture, big: BigShop, tmp_path: Path) -> None:
    """A checked backup of everything."""
    moments = count(1)
    benchmark.pedantic(
        lambda: back_up(big.store, tmp_path, dt.datetime.fromtimestamp(next(moments), dt.UTC), keep=1), rounds=2
    )


def test_open_an_existing_database(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """A command at the counter waits for it: 60 ms at the most."""
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    open_store(url).close()
    benchmark(lambda: open_store(url).close())
    assert benchmark.stats.stats.min < OPEN_SECONDS
