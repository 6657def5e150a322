"""Attempts are counted together, within their span, in bounds, and under hashes."""

from __future__ import annotations

import datetime as dt
from concurrent.futures import ThreadPoolExecutor

import pytest
from sqlalchemy import func, insert, select

from storage import models
from storage.database import Store, open_store
from storage.repositories import attempts
from storage.repositories.attempts import Bound
from tests.storage.conftest import Clock

PIN = Bound("pin", "Rowan Sedge", 2, 60)
ADDRESS = Bound("address", "192.0.2.7", 3, 60)


def take(store: Store, *bounds: Bound) -> float:
    """Make one attempt."""
    with store.unit() as unit:
        waits = unit.attempts.take(bounds)
        unit.commit()
    return waits


def count(store: Store) -> int:
    """Return how many keys there are."""
    with store.engine.connect() as connection:
        return connection.scalar(select(func.count()).select_from(models.Attempt)) or 0


def test_the_third_attempt_waits_until_the_first_is_old_enough(store: Store, clock: Clock) -> None:
    """Each look at the clock moves it on by a second."""
    assert take(store, PIN) == 0
    clock.now += dt.timedelta(seconds=10)
    assert take(store, PIN) == 0
    assert take(store, PIN) == pytest.approx(48)
    clock.now += dt.timedelta(seconds=48)
    assert take(store, PIN) == 0
    assert take(store, PIN) == pytest.approx(9)


def test_a_refused_attempt_counts_under_no_key(store: Store) -> None:
    """Else a guesser would lock out the address of everybody."""
    take(store, PIN)
    take(store, PIN)
    for _ in range(5):
        assert take(store, PIN, ADDRESS) > 0
    assert [take(store, ADDRESS) for _ in range(3)] == [0, 0, 0]
    assert take(store, ADDRESS) > 0


def test_what_was_right_is_forgotten(store: Store) -> None:
    """And nothing else."""
    take(store, PIN, ADDRESS)
    take(store, PIN, ADDRESS)
    with store.unit() as unit:
        unit.attempts.forget(PIN)
        unit.commit()
    assert take(store, PIN) == 0
    assert take(store, ADDRESS) == 0
    assert take(store, ADDRESS) > 0


def test_a_clock_set_back_keeps_nobody_waiting(store: Store, clock: Clock) -> None:
    """Attempts that lie in the future count no more."""
    take(store, PIN)
    take(store, PIN)
    clock.now -= dt.timedelta(days=1)
    assert take(store, PIN) == 0


def test_old_keys_go_and_no_name_stands_there(store: Store, clock: Clock) -> None:
    """A minute later the next attempt clears them."""
    take(store, PIN, ADDRESS)
    with store.engine.connect() as connection:
        stored = str(connection.execute(select(models.Attempt)).all())
    assert "Rowan" not in stored
    assert "192.0.2.7" not in stored
    clock.now += dt.timedelta(seconds=90)
    take(store, Bound("pin", "somebody else", 2, 60))
    assert count(store) == 1


def test_keys_without_end_are_bounded(store: Store, clock: Clock, monkeypatch: pytest.MonkeyPatch) -> None:
    """The ones tried longest ago are forgotten first."""
    monkeypatch.setattr(attempts, "KEYS_AT_MOST", 100)
    until = clock.now + dt.timedelta(hours=1)
    with store.engine.begin() as connection:
        rows = [{"key": f"k{n}", "moments": [], "until": until + dt.timedelta(seconds=n)} for n in range(101)]
        connection.execute(insert(models.Attempt), rows)
    take(store, PIN)
    assert count(store) == 92
    with store.engine.connect() as connection:
        left = set(connection.scalars(select(models.Attempt.key)))
    assert left == {PIN.stored} | {f"k{n}" for n in range(10, 101)}


@pytest.mark.parametrize("kind", ["file", "postgresql"])
def test_attempts_at_the_same_moment_let_none_slip_through(kind: str, request: pytest.FixtureRequest) -> None:
    """Twelve at once over two openings of one database: exactly two are let through."""
    url = (
        request.getfixturevalue("postgresql")
        if kind == "postgresql"
        else f"sqlite:///{request.getfixturevalue('path')}"
    )
    with open_store(url) as one, open_store(url) as other, ThreadPoolExecutor(12) as pool:
        waits = list(pool.map(lambda n: take((one, other)[n % 2], PIN), range(12)))
    assert waits.count(0) == 2
