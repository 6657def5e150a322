"""How long customers wait at the kiosk: a real server, a load generator on loopback, every answer checked.

Bounds: with 200 kiosks on one server 95 of 100 turns under 150 ms; with 500 on four workers that share a PostgreSQL
database under 300 ms, each turn on a connection of its own, so that any worker takes any turn. No error, and each card
is the one its own facts lead to.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from tests.assistant.web.running_shop import TODAY
from tests.assistant.web.test_serve_command import start
from tests.benchmarks.kiosk_load import CONSULTATIONS, TURNS, Load, let_settle, run_load
from tests.storage.conftest import run_postgresql


@pytest.mark.parametrize("kiosks", [1, 50, 200])
def test_kiosks_of_one_server(benchmark: BenchmarkFixture, tmp_path: Path, kiosks: int) -> None:
    """Nobody waits, nobody gets another one's answer."""
    process, address = start(f"sqlite:///{tmp_path}/load.sqlite3", "--today", TODAY.isoformat())
    try:
        let_settle(process.pid)
        load = measure(benchmark, lambda: asyncio.run(run_load(address.rstrip("/"), kiosks)))
    finally:
        process.terminate()
        process.communicate(timeout=30)
    judge(benchmark, load, kiosks, 0.150)


@pytest.mark.parametrize("kiosks", [200, 500])
def test_kiosks_of_four_workers_on_postgresql(benchmark: BenchmarkFixture, kiosks: int) -> None:
    """Workers share nothing but the database."""
    with run_postgresql() as url:
        process, address = start(url, "--today", TODAY.isoformat(), "--workers", "4")
        try:
            let_settle(process.pid)
            load = measure(benchmark, lambda: asyncio.run(run_load(address.rstrip("/"), kiosks, keeps_open=False)))
        finally:
            process.terminate()
            process.communicate(timeout=30)
    judge(benchmark, load, kiosks, 0.300)


def measure(benchmark: BenchmarkFixture, work: Callable[[], Load]) -> Load:
    """Run the load once."""
    return benchmark.pedantic(work, rounds=1, iterations=1)


def judge(benchmark: BenchmarkFixture, load: Load, kiosks: int, bound: float) -> None:
    """Print the figures and hold them against the bound, in seconds."""
    figures = load.figures()
    benchmark.extra_info |= {name: round(seconds * 1000, 1) for name, seconds in figures.items()}
    told = ", ".join(f"{name} {seconds * 1000:.1f} ms" for name, seconds in figures.items())
    print(f"\n{kiosks} kiosks, {len(load.seconds)} turns: {told}")  # noqa: T201 - the figure is what it is for
    assert not load.wrong, load.wrong[:5]
    assert len(load.seconds) == kiosks * CONSULTATIONS * TURNS
    if figures["p95"] >= bound:
        pytest.fail(f"95 of 100 turns take up to {figures['p95'] * 1000:.0f} ms")
