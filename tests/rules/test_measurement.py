"""Units, loss and energy against other libraries and the trade's worked values."""

from __future__ import annotations

import datetime as dt
import math

import pint
import pytest
import scipy.constants as si
from hypothesis import given
from hypothesis import strategies as st

from rules.facts import Kind, Reading
from rules.intake import POUNDS_PER
from rules.measurement import (
    MILLIMETRES_PER_INCH,
    NEWTON_PER_KGF,
    NEWTON_PER_LBF,
    Comparison,
    compare,
    convert_stiffness_to_lbf_per_inch,
    convert_stiffness_to_newton_per_mm,
    convert_to_newton,
    exact,
    mean,
    spread,
)

UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()
TINY = 1e-12


def lose(kind: Kind | None, baseline: float, reading: float) -> Comparison:
    """Return one reading beside its baseline."""
    return Comparison(Reading((baseline,), kind), Reading((reading,), kind), kind)


def test_the_units_are_those_of_scipy() -> None:
    """scipy.constants holds the SI definitions: pound-force, standard gravity (kgf) and inch."""
    assert pytest.approx(si.pound_force, rel=TINY) == NEWTON_PER_LBF
    assert pytest.approx(si.kilogram_force, rel=TINY) == NEWTON_PER_KGF
    assert pytest.approx(si.inch / si.milli, rel=TINY) == MILLIMETRES_PER_INCH
    assert POUNDS_PER["kg"] == pytest.approx(si.kilogram_force / si.pound_force, rel=TINY)


@given(value=st.floats(0.1, 1000))
def test_conversions_agree_with_pint(value: float) -> None:
    """A second library of units, for any figure."""
    for unit, name in (("lb", "force_pound"), ("kg", "kilogram_force"), ("N", "newton")):
        assert convert_to_newton(value, unit) == pytest.approx(UNITS.Quantity(value, name).to("newton").m, rel=TINY)
    stiffness = UNITS.Quantity(value, "kilogram_force / centimeter")
    assert convert_stiffness_to_newton_per_mm(value) == pytest.approx(stiffness.to("newton / millimeter").m, rel=TINY)
    assert convert_stiffness_to_lbf_per_inch(value) == pytest.approx(stiffness.to("force_pound / inch").m, rel=TINY)


def test_worked_conversions() -> None:
    """Worked by hand from the SI definitions; 200, 222 and 245 N are the pulls of Mohandhas et al. 2016."""
    assert convert_to_newton(28, "kg") == pytest.approx(274.586, abs=5e-4)
    assert convert_to_newton(28, "kg") / NEWTON_PER_LBF == pytest.approx(61.729, abs=5e-4)
    for newton, pounds in ((200, 44.962), (222, 49.908), (245, 55.078)):
        assert newton / convert_to_newton(1, "lb") == pytest.approx(pounds, abs=5e-4)
    assert convert_stiffness_to_newton_per_mm(1) == pytest.approx(0.980665, abs=5e-7)
    assert convert_stiffness_to_lbf_per_inch(1) == pytest.approx(5.599741, abs=5e-7)


def test_a_unit_nobody_knows_is_refused() -> None:
    """Stones are no unit of tension."""
    with pytest.raises(ValueError, match="use lb, kg or N"):
        convert_to_newton(4, "stone")


@pytest.mark.parametrize(
    ("kind", "baseline", "reading", "percent"),
    [
        (Kind.STIFFNESS, 38, 27, 28.947),  # common practice: 11/38
        (Kind.DEFLECTION, 55, 41, 25.455),  # common practice: 14/55
        (Kind.FREQUENCY, 600, 560, 12.889),  # string formula: 1 - (560/600)^2, not 6.667
        (None, 600, 560, 6.667),  # the same figures without the square
        (Kind.POUNDS, 60, 54, 10),
        (Kind.STIFFNESS, 40, 41, -2.5),
    ],
)
def test_worked_losses(kind: Kind | None, baseline: float, reading: float, percent: float) -> None:
    """Loss = (baseline - now) / baseline; by the square for a frequency."""
    assert float(100 * lose(kind, baseline, reading).loss) == pytest.approx(percent, abs=5e-4)


def test_twenty_per_cent_is_twenty_per_cent() -> None:
    """1 - 32/40 is 0.19999999999999996 in binary arithmetic; a stringer's 20 % is a fifth."""
    assert 1 - 32 / 40 != 0.2
    assert lose(Kind.STIFFNESS, 40, 32).loss * 5 == 1


def test_worked_energy() -> None:
    """A deflection meter says 49 % for 55 fresh and 41 later (common practice); the straight line gives 49.09."""
    energy = lose(Kind.DEFLECTION, 55, 41).energy_percent(2)
    assert energy is not None
    assert float(energy) == pytest.approx(49.09, abs=5e-3)
    assert lose(Kind.DEFLECTION, 60, 45).energy_percent(2) == 50
    assert lose(Kind.STIFFNESS, 55, 41).energy_percent(2) is None


def test_worked_lines_of_a_frequency() -> None:
    """From 600 Hz the tension has lost 10 % at 569.210 Hz and 20 % at 536.656 Hz: 600 sqrt(0.9), 600 sqrt(0.8)."""
    beside = lose(Kind.FREQUENCY, 600, 560)
    assert beside.line(10) == pytest.approx(569.210, abs=5e-4)
    assert beside.line(20) == pytest.approx(536.656, abs=5e-4)
    assert lose(Kind.STIFFNESS, 40, 30).line(20) == 32


@given(kind=st.sampled_from([*Kind, None]), baseline=st.integers(1, 10_000), reading=st.integers(0, 10_000))
def test_the_loss_is_exact_in_the_decimals_people_write(kind: Kind | None, baseline: int, reading: int) -> None:
    """Against integer arithmetic: loss x baseline = baseline - reading, to the last digit, in hundredths."""
    beside = lose(kind, baseline / 100, reading / 100)
    if kind is Kind.FREQUENCY:
        assert beside.loss * baseline**2 == baseline**2 - reading**2
    else:
        assert beside.loss * baseline == baseline - reading


@given(kind=st.sampled_from(Kind), baseline=st.floats(100, 700), percent=st.integers(0, 100))
def test_a_reading_on_a_line_has_lost_just_that(kind: Kind, baseline: float, percent: int) -> None:
    """The line and the loss undo each other."""
    line = lose(kind, baseline, baseline).line(percent)
    assert math.isclose(100 * lose(kind, baseline, line).loss, percent, abs_tol=1e-9)


def test_mean_and_spread_of_repeats() -> None:
    """30, 31 and 32: mean 31, spread 2; and 0.1, 0.2, 0.3 exactly 0.2."""
    assert mean(Reading((30, 31, 32))) == 31
    assert spread(Reading((30, 31, 32))) == 2
    assert mean(Reading((0.1, 0.2, 0.3))) == exact(0.2)
    assert spread(Reading((32.5, 32.1))) == pytest.approx(0.4)


MAY, JUNE = dt.date(2026, 5, 1), dt.date(2026, 6, 1)


def reading(value: float, kind: Kind | None = Kind.STIFFNESS, **more: object) -> Reading:
    """Return a single reading."""
    return Reading((value,), kind, **more)  # type: ignore[arg-type] # fields of Reading by name


def pairs(*comparisons: Comparison) -> list[tuple[tuple[float, ...], tuple[float, ...]]]:
    """Return which figures were set beside which."""
    return [(one.baseline.values, one.reading.values) for one in comparisons]


def test_like_is_compared_with_like_only() -> None:
    """Another kind, another unit or another instrument is never compared."""
    for other in (
        reading(30, Kind.POUNDS),
        reading(30, None),
        reading(30, unit="N/mm"),
        reading(30, instrument="bench"),
    ):
        assert compare([reading(40)], [other]) == ()
        assert compare([other], [reading(40)]) == ()
        assert len(compare([other], [other])) == 1


def test_a_figure_that_can_only_be_a_frequency_is_compared_as_one() -> None:
    """Above every other scale: 600 unnamed is Hz, beside Hz unnamed or named."""
    (beside,) = compare([reading(600, None)], [reading(560, Kind.FREQUENCY)])
    assert beside.kind is Kind.FREQUENCY
    assert beside.squared
    for low in (reading(120, None), Reading((121, 120), None)):
        (plain,) = compare([low], [low])
        assert plain.kind is None


def test_the_latest_of_each_instrument_counts() -> None:
    """By its day, not by its place; without a day a baseline is of the stringing and a reading of today."""
    baselines = [reading(35, taken_on=JUNE), reading(40), reading(38, taken_on=MAY)]
    readings = [reading(31), reading(33, taken_on=JUNE)]
    assert pairs(*compare(baselines, readings)) == [((35,), (31,))]
    assert pairs(*compare(baselines[::-1], readings[::-1])) == [((35,), (31,))]


def test_readings_of_one_day_are_repeats() -> None:
    """Three figures of one meter on one day are one measurement; an estimate among them marks it."""
    (beside,) = compare([reading(40)], [reading(30), reading(31), reading(32, estimated=True)])
    assert beside.reading.values == (30, 31, 32)
    assert beside.reading.estimated
