"""How long a shop waits for its own rulebook: 3 s to check it, 120 s to set it beside 100,000 racquets.

Bounds are of processor time, so that a busy machine measures the same.
"""

from __future__ import annotations

import datetime as dt
import random
import sqlite3
import time
from collections.abc import Iterator
from contextlib import closing

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from dialogue.rulebooks.checking import check_book
from dialogue.rulebooks.moving import Editions, Movement, find_moved
from rules.facts import Level, Material
from rules.rulebook import load_book
from storage.database import Store, open_store
from tests.rules.editions import edit_book

RACQUETS = 100_000
TODAY = dt.date(2026, 5, 4)
CHECK_SECONDS, MOVE_SECONDS = 3, 120
MATERIALS = [material.value for material in Material]


@pytest.fixture(scope="module")
def big(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    """A chain of shops: every racquet strung on some day of the last 400, every fourth measured twice."""
    chance = random.Random(11)  # noqa: S311 - invented racquets
    path = tmp_path_factory.mktemp("chain") / "chain.sqlite3"
    open_store(f"sqlite:///{path}").close()
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        fill(connection, chance)
        connection.commit()
    with open_store(f"sqlite:///{path}") as store:
        yield store


def fill(connection: sqlite3.Connection, chance: random.Random) -> None:
    """Put in customers, racquets, stringings and readings by plain statements."""
    now = "2026-01-01 00:00:00"
    plays = [0.5, 1, 2, 2.5, 3, 4, 5, 7]
    connection.executemany(
        "INSERT INTO customer (id, created_at, name, name_key, consent_to_contact, level, plays_per_week_low,"
        " plays_per_week_high) VALUES (?, ?, ?, ?, 0, ?, ?, ?)",
        (
            (number, now, f"Player {number}", f"player {number}", chance.choice([*Level]).value, often, often)
            for number in range(1, RACQUETS + 1)
            for often in [chance.choice(plays)]
        ),
    )
    connection.executemany(
        "INSERT INTO racquet (id, created_at, customer_id) VALUES (?, ?, ?)",
        ((number, now, number) for number in range(1, RACQUETS + 1)),
    )
    connection.executemany(
        "INSERT INTO string_job (id, racquet_id, tag, status, received_at, strung_on, strung_on_approx, approximate,"
        " mains_material, crosses_material) VALUES (?, ?, ?, 'collected', ?, ?, 0, 0, ?, ?)",
        (
            (
                number,
                number,
                f"T{number:06}",
                now,
                (TODAY - dt.timedelta(days=chance.randrange(400))).isoformat(),
                mains,
                mains if chance.random() < 0.7 else chance.choice(MATERIALS),
            )
            for number in range(1, RACQUETS + 1)
            for mains in [chance.choice(MATERIALS)]
        ),
    )
    connection.executemany(
        'INSERT INTO reading (created_at, job_id, role, kind, "values", taken_on) VALUES (?, ?, ?, ?, ?, ?)',
        (
            (now, number, role, "stiffness", f"[{38 if role == 'baseline' else chance.randrange(26, 38)}]", str(TODAY))
            for number in range(4, RACQUETS + 1, 4)
            for role in ("baseline", "check")
        ),
    )


def test_a_rulebook_is_checked(benchmark: BenchmarkFixture) -> None:
    """Gaps, overlaps, rows that never count, numbers nobody uses, and every worked situation through the engine."""
    book = load_book()
    started = time.process_time()
    report = benchmark.pedantic(check_book, [book], rounds=3)
    assert report.problems == ()
    assert (time.process_time() - started) / 3 < CHECK_SECONDS
    assert benchmark.stats.stats.median < 2 * CHECK_SECONDS


def test_every_racquet_is_decided_by_both_rulebooks(benchmark: BenchmarkFixture, big: Store) -> None:
    """Polyester for two months instead of one moves every competitive polyester racquet, and no other."""

    def lengthen(content: dict[str, dict[str, dict[str, dict[str, float]]]]) -> None:
        content["values.yaml"]["values"]["competitive_polyester_months"]["value"] = 2

    editions = Editions(load_book(), edit_book(lengthen))
    told: list[tuple[int, int]] = []

    def move() -> Movement:
        return find_moved(big, editions, TODAY, 5, lambda done, total: told.append((done, total)))

    started = time.process_time()
    movement = benchmark.pedantic(move, rounds=1)
    assert time.process_time() - started < MOVE_SECONDS
    assert movement.racquets == RACQUETS
    assert movement.unreadable == 0
    assert movement.later == movement.moved > RACQUETS / 50
    assert told[-1] == (RACQUETS, RACQUETS)
    assert len(movement.shown) == 5
