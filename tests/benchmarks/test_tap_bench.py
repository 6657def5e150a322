"""How long it takes to hear three taps."""

from __future__ import annotations

import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from rules.tap import read_tap
from tests.rules.synthetic_taps import Tapped, sound

pytestmark = pytest.mark.benchmark(timer=time.process_time)
# CPU time: all of this runs in one thread, and what else the machine is doing is not its doing


def test_three_taps_are_heard_in_a_quarter_of_a_second(benchmark: BenchmarkFixture) -> None:
    """Two and a half seconds as a microphone records them: 250 ms at the median at most."""
    tap = benchmark(read_tap, sound(Tapped(600, 48_000)), 48_000)
    assert tap.hertz == pytest.approx(600, rel=0.01)
    assert benchmark.stats.stats.median <= 0.25
