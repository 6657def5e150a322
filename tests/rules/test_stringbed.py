"""What a fresh bed should read, whether a baseline can be right, and a tension to start from."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.baseline_check import BaselineFit, check_baseline
from rules.facts import Kind, Material, Reading, Span, Tension
from rules.forecast import forecast_loss
from rules.forecast_history import Job
from rules.membrane import find_force_per_width, find_patch_stiffness
from rules.stringbed import CM2_PER_IN2, Stringbed, StringSide, estimate_fresh, solve_stringbed
from rules.stringbed_book import Machine
from rules.tension_advice import advise_tension
from tests.rules.test_forecast import STRUNG_ON, day, read

NYLON, POLYESTER = Material.SYNTHETIC_GUT, Material.POLYESTER


def string(material: Material = NYLON, lb: float = 55.0, gauge_mm: float | None = 1.3) -> StringSide:
    """Return one side of a bed."""
    return StringSide(material, Tension(lb, "lb"), gauge_mm)


def bed(side: StringSide | None = None, **changes: Any) -> Stringbed:
    """Return a bed of 100 in2, 16x19, nylon at 55 lb on a constant-pull machine, with some of it changed."""
    side = side or string()
    plain = Stringbed(100 * CM2_PER_IN2, (16, 19), side, side, Machine.CONSTANT_PULL)
    return replace(plain, **changes)


BED = bed()


def test_fifty_five_pounds_read_about_what_a_practical_pair_says() -> None:
    """A fresh bed at 55 lb read 38 kgf/cm in practice; the model, fed only with physics, says so within 5 %."""
    assert solve_stringbed(BED).stiffness_kgf_cm == pytest.approx(38, rel=0.05)


def test_the_net_stays_near_the_membrane_formula() -> None:
    """The real layout is not the even membrane, but gives within 4 % of its formula under the patch."""
    answer = solve_stringbed(BED)
    area = 100 * CM2_PER_IN2 * 1e-4
    width_force = find_force_per_width(answer.mains_tension_n, 16, 19, area)
    formula = find_patch_stiffness(width_force, (area / 3.141592653589793) ** 0.5, 0.0325) / 980.665
    assert answer.stiffness_kgf_cm == pytest.approx(formula, rel=0.04)


def test_a_bed_sounds_in_the_usual_range() -> None:
    """500 to 700 Hz for the usual strings and tensions (R. Cross, "Measuring String Tension", 2006)."""
    for material in Material:
        for lb in (50, 60):
            assert 500 < solve_stringbed(bed(string(material, lb))).frequency_hz < 700


def test_about_thirty_per_cent_of_the_pull_is_gone_when_strung() -> None:
    """A constant-pull machine leaves about 70 % (Cross and Bower, Sports Engineering 4, 2001); a lock-out less."""
    answer = solve_stringbed(BED)
    assert answer.mains_tension_n == pytest.approx(0.7 * 55 * 4.4482216152605)
    assert solve_stringbed(bed(machine=Machine.LOCK_OUT)).mains_tension_n < answer.mains_tension_n


def test_proportions_are_those_of_the_trade() -> None:
    """A denser pattern and a smaller head are stiffer, a heavier string sounds lower, a stiffer one hits harder."""
    plain = solve_stringbed(BED)
    assert solve_stringbed(bed(pattern=(18, 20))).stiffness_kgf_cm > plain.stiffness_kgf_cm
    assert solve_stringbed(bed(head_cm2=110 * CM2_PER_IN2)).stiffness_kgf_cm < plain.stiffness_kgf_cm
    assert solve_stringbed(bed(string(gauge_mm=1.4))).frequency_hz < plain.frequency_hz
    hits = [solve_stringbed(bed(string(material))).hit_stiffness_kgf_cm for material in (Material.NATURAL_GUT, NYLON)]
    assert hits == sorted(hits)
    assert solve_stringbed(bed(string(POLYESTER))).hit_stiffness_kgf_cm > plain.hit_stiffness_kgf_cm


def test_a_badminton_bed_is_a_bed_as_well() -> None:
    """A small long head with thin strings: 22x21 at 24 lb, far above a tennis bed's frequency."""
    side = string(Material.MULTIFILAMENT, 24, 0.7)
    small = Stringbed(360, (22, 21), side, side, Machine.CONSTANT_PULL, aspect=1.28)
    assert solve_stringbed(small).frequency_hz > 900


def test_an_estimate_is_marked_and_wide_and_leaves_a_deflection_scale_alone() -> None:
    """Every estimate says it is one, and its range spans at least a sixth of it; a deflection scale gets none."""
    for kind in (Kind.STIFFNESS, Kind.POUNDS, Kind.FREQUENCY):
        estimate = estimate_fresh(BED, kind)
        assert estimate is not None
        (value,) = estimate.reading.values
        assert estimate.reading.estimated
        assert estimate.low < value < estimate.high
        assert (estimate.high - estimate.low) / value > 1 / 6
        json.dumps(estimate.to_dict())
    assert estimate_fresh(BED, Kind.DEFLECTION) is None
    unknown = estimate_fresh(bed(machine=Machine.UNKNOWN), Kind.STIFFNESS)
    known = estimate_fresh(BED, Kind.STIFFNESS)
    assert unknown is not None
    assert known is not None
    assert unknown.sd / unknown.reading.values[0] > known.sd / known.reading.values[0]


def test_an_estimated_baseline_gives_a_forecast_that_says_so() -> None:
    """A forecast from an estimate is wide, and names the estimate."""
    estimate = estimate_fresh(BED, Kind.STIFFNESS)
    assert estimate is not None
    job = Job(STRUNG_ON, NYLON, baseline=(estimate.reading,), reading=(read(40, 34),), hours_per_week=Span(2, 2))
    measured = replace(job, baseline=(replace(estimate.reading, estimated=False),))
    guessed, known = forecast_loss(job, day(40)), forecast_loss(measured, day(40))
    assert "estimated_baseline" in {remark.key for remark in guessed.remarks}
    wide, narrow = guessed.loss_today_percent, known.loss_today_percent
    assert wide.high - wide.low > 1.5 * (narrow.high - narrow.low)


@pytest.mark.parametrize(
    ("value", "kind", "fit", "slip", "meant"),
    [
        (38, Kind.STIFFNESS, "fits", None, None),
        (83, Kind.STIFFNESS, "impossible", "digits", 38),
        (3.8, Kind.STIFFNESS, "impossible", "point_added", 38),
        (380, Kind.STIFFNESS, "impossible", "point_lost", 38),
        (212.8, Kind.STIFFNESS, "impossible", "lbf_per_inch", 38),
        (372.7, Kind.STIFFNESS, "impossible", "n_per_cm", 38),
        (14, Kind.STIFFNESS, "impossible", "misheard", 40),
        (620, Kind.STIFFNESS, "impossible", "frequency", 620),
        (55, Kind.STIFFNESS, "unlikely", "pounds", 55),
        (25, Kind.POUNDS, "unlikely", "kilograms", 55.1),
        (245, Kind.POUNDS, "impossible", "newtons", 55.1),
        (15, Kind.POUNDS, "impossible", "misheard", 50),
        (640, Kind.FREQUENCY, "fits", None, None),
        (37200, Kind.FREQUENCY, "impossible", "per_minute", 620),
        (38, Kind.FREQUENCY, "impossible", "stiffness", 38),
        (0.5, Kind.STIFFNESS, "impossible", None, None),
        (28, Kind.STIFFNESS, "unlikely", None, None),
    ],
)
def test_a_baseline_that_cannot_be_right_is_spotted(
    value: float, kind: Kind, fit: str, slip: str | None, meant: float | None
) -> None:
    """Wrong unit, lost point, swapped digits, misheard teens, another instrument: named, never corrected."""
    check = check_baseline(BED, Reading((float(value),), kind))
    assert check.fit == fit
    found = {guess.slip: guess.value for guess in check.guesses}
    if slip is None:
        assert not found
    else:
        assert found[slip] == pytest.approx(meant, rel=0.01)
    json.dumps(check.to_dict(), allow_nan=False)


def test_what_nothing_is_known_to_check_against_is_not_checked() -> None:
    """A deflection scale, an instrument nobody named, a unit of its own."""
    for reading in (Reading((55.0,), Kind.DEFLECTION), Reading((38.0,)), Reading((9.0,), Kind.STIFFNESS, unit="turns")):
        assert check_baseline(BED, reading).fit is BaselineFit.NOT_CHECKED


def test_repeats_of_a_baseline_are_checked_by_their_mean() -> None:
    """Three repeats count as their mean."""
    check = check_baseline(BED, Reading((37.0, 38.0, 39.0), Kind.STIFFNESS))
    assert check.fit is BaselineFit.FITS


def test_the_same_bed_needs_the_same_tension() -> None:
    """Nothing changed: the old tension, still within two pounds only, still a starting point."""
    advice = advise_tension(BED, BED)
    assert (advice.mains, advice.crosses) == (Tension(55, "lb"), Tension(55, "lb"))
    assert (advice.low, advice.high) == (Tension(53, "lb"), Tension(57, "lb"))
    assert "starting point" in advice.remarks[0]
    assert any("printed on the frame" in remark for remark in advice.remarks)


@pytest.mark.parametrize(
    ("new", "higher"),
    [
        (bed(head_cm2=110 * CM2_PER_IN2), True),
        (bed(pattern=(18, 20)), False),
        (bed(pattern=(14, 16)), True),
        (bed(string(gauge_mm=1.2)), True),
        (bed(string(POLYESTER)), False),
        (bed(string(Material.NATURAL_GUT)), True),
        (bed(machine=Machine.LOCK_OUT), True),
    ],
)
def test_tension_moves_the_way_the_trade_moves_it(new: Stringbed, higher: bool) -> None:  # noqa: FBT001 - a table's column
    """Bigger head, opener pattern, thinner or softer string, lock-out machine: more pull for the same feel."""
    advice = advise_tension(BED, new)
    assert (advice.mains.value > 55) is higher
    assert advice.mains.value != 55
    assert advice.low.value < advice.mains.value < advice.high.value


def test_the_advised_bed_feels_like_the_old_one() -> None:
    """Strung as advised, the new bed meets a firm push like the old one, up to rounding to whole pounds."""
    new = bed(string(POLYESTER), head_cm2=105 * CM2_PER_IN2)
    advice = advise_tension(BED, new)
    strung = replace(
        new, mains=replace(new.mains, pull=advice.mains), crosses=replace(new.crosses, pull=advice.crosses)
    )
    assert solve_stringbed(strung).hit_stiffness_kgf_cm == pytest.approx(advice.hit_stiffness_kgf_cm, rel=0.01)
    assert solve_stringbed(BED).hit_stiffness_kgf_cm == pytest.approx(advice.hit_stiffness_kgf_cm)


def test_the_printed_range_wins() -> None:
    """A frame printed 50 to 52.5 lb is never told 61, even by rounding, and the cut is said."""
    big = bed(head_cm2=110 * CM2_PER_IN2)
    advice = advise_tension(BED, big, printed_lb=Span(50, 52.5))
    assert advice.clipped
    for pull in (advice.mains, advice.crosses, advice.low, advice.high):
        assert 50 <= pull.value <= 52.5
    assert any("61 lb" in remark for remark in advice.remarks)


def test_kilograms_stay_kilograms() -> None:
    """A new bed given in kg is advised in kg, to half a kilogram."""
    side = StringSide(NYLON, Tension(25, "kg"), 1.3)
    advice = advise_tension(BED, bed(side))
    assert advice.mains == Tension(25.0, "kg")


def test_a_very_stiff_string_leaves_the_usual_range_and_says_so() -> None:
    """Aramid can hardly be pulled low enough to feel like gut: said, not hidden."""
    advice = advise_tension(bed(string(Material.NATURAL_GUT, 45)), bed(string(Material.ARAMID, 45)))
    assert advice.mains.value < 35
    assert any("usual range" in remark for remark in advice.remarks)


@settings(max_examples=8, deadline=None)
@given(
    materials=st.tuples(st.sampled_from(Material), st.sampled_from(Material)),
    lb=st.floats(20, 80),
    pattern=st.tuples(st.integers(12, 20), st.integers(14, 22)),
    square_inches=st.floats(85, 135),
)
def test_advice_is_always_a_range_around_a_start(
    materials: tuple[Material, Material], lb: float, pattern: tuple[int, int], square_inches: float
) -> None:
    """Whatever the two beds: finite, in order, never closer than two pounds either way before rounding."""
    new = Stringbed(square_inches * CM2_PER_IN2, pattern, string(materials[0], lb), string(materials[1], lb - 2))
    advice = advise_tension(BED, new)
    assert advice.low.value <= advice.mains.value <= advice.high.value
    assert advice.high.value - advice.low.value >= 3
    json.dumps(advice.to_dict(), allow_nan=False)


@pytest.mark.parametrize(
    "changes",
    [{"pattern": (1, 19)}, {"head_cm2": 0.0}, {"aspect": -1.0}, {"mains": string(lb=0)}, {"crosses": string(lb=-5)}],
)
def test_a_bed_that_cannot_be_is_refused(changes: dict[str, Any]) -> None:
    """No strings, no head, no tension: an error that says so."""
    with pytest.raises(ValueError, match=r"stringbed|above zero"):
        solve_stringbed(bed(**changes))


WITHOUT = """
import sys
for package in ("numpy", "scipy"):
    sys.modules[package] = None
import datetime as dt
import rules.baseline_check, rules.tension_advice
from rules.errors import RulesError
from rules.facts import Material, Tension
from rules.forecast import forecast_loss
from rules.forecast_history import Job
from rules.forecast_shop import learn_shop_prior
from rules.stringbed import Stringbed, StringSide, solve_stringbed
day = dt.date(2026, 3, 2)
assert forecast_loss(Job(day, Material.POLYESTER), day).reaches
assert learn_shop_prior([], day).jobs == 0
side = StringSide(Material.POLYESTER, Tension(50, "lb"))
try:
    solve_stringbed(Stringbed(645, (16, 19), side, side))
except RulesError as error:
    print(error)
from rules.tap import read_tap
try:
    read_tap([0.0] * 8000, 8000)
except RulesError as error:
    print(error)
"""


def test_without_numpy_and_scipy_the_forecast_works_and_the_model_says_what_to_install() -> None:
    """A typed-only install forecasts all the same; the stringbed model names the extra."""
    done = subprocess.run([sys.executable, "-c", WITHOUT], capture_output=True, text=True, check=True)
    assert done.stdout.count("pip install 'counterpull[physics]'") == 2
