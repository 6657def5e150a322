"""How fast the stringbed model answers."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import pytest

from rules.baseline_check import check_baseline
from rules.facts import Kind, Material, Reading, Tension
from rules.stringbed import CM2_PER_IN2, Stringbed, StringSide, solve_stringbed
from rules.tension_advice import advise_tension

if TYPE_CHECKING:
    from pytest_benchmark.fixture import BenchmarkFixture

pytestmark = pytest.mark.benchmark(timer=time.process_time)
# CPU time: all of this runs in one thread, and what else the machine is doing is not its doing


def _bed(material: Material) -> Stringbed:
    side = StringSide(material, Tension(55, "lb"), 1.3)
    return Stringbed(100 * CM2_PER_IN2, (18, 20), side, side)


def test_one_stringbed_is_solved_in_milliseconds(benchmark: BenchmarkFixture) -> None:
    """Frequency, stiffness and the stiffness of a firm push of an 18x20 bed: 50 ms at the median at most."""
    answer = benchmark(solve_stringbed, _bed(Material.SYNTHETIC_GUT))
    assert answer.stiffness_kgf_cm > 0
    assert benchmark.stats.stats.median <= 0.05


def test_a_baseline_is_checked_in_milliseconds(benchmark: BenchmarkFixture) -> None:
    """A baseline with swapped digits, every guess tried: 50 ms at the median at most."""
    check = benchmark(check_baseline, _bed(Material.SYNTHETIC_GUT), Reading((94.0,), Kind.STIFFNESS))
    assert check.guesses
    assert benchmark.stats.stats.median <= 0.05


def test_a_tension_to_start_from_is_found_within_half_a_second(benchmark: BenchmarkFixture) -> None:
    """Another material, matched by feel: half a second at the median at most."""
    advice = benchmark(advise_tension, _bed(Material.SYNTHETIC_GUT), _bed(Material.POLYESTER))
    assert advice.mains.value < 55
    assert benchmark.stats.stats.median <= 0.5
