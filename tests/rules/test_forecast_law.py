"""The loss law in closed form, against figures worked out by hand and against another implementation."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import lambertw
from scipy.stats import linregress

from rules.forecast_law import LossLaw, fit_log_line, hours_to_reach, invert_w_exp_w

# T = 60 - 3.5 log10(h) in lb: 10 % and 20 % of 60 lb are losses of 6 and 12 lb. Worked from the closed form
# h = 10^(loss/slope), and with wear from the Lambert W function: figures to six places by a hand calculator.
FADING = LossLaw(slope=3.5, zero_hours=1.0)
WORN = LossLaw(slope=3.5, zero_hours=1.0, wear=0.001)
FIRST_DAY_PERCENT = 8.95
"""Mean loss of the first day over about 90 jobs (stringers' published notes)."""


def test_a_fading_string_reaches_its_lines_at_the_closed_form_times() -> None:
    """10 % below the one-hour value at 51.795 h, 20 % at 111.779 days."""
    assert hours_to_reach(FADING, 6) == pytest.approx(51.795, abs=5e-4)
    assert hours_to_reach(FADING, 12) / 24 == pytest.approx(111.779, abs=5e-4)


def test_wear_brings_the_lines_closer_by_the_lambert_w_function() -> None:
    """With 0.001 lb for every hour played through: 50.115 h and 50.421 days."""
    assert hours_to_reach(WORN, 6) == pytest.approx(50.115, abs=5e-4)
    assert hours_to_reach(WORN, 12) / 24 == pytest.approx(50.421, abs=5e-4)


def test_least_squares_over_log_time() -> None:
    """Four readings against a 60.0 baseline: the figures worked by hand, and scipy's line."""
    line = fit_log_line([(1, 60.0), (24, 55.0), (168, 52.5), (720, 50.0)])
    assert line.at_one_hour == pytest.approx(59.95357, abs=5e-6)
    assert line.per_decade == pytest.approx(-3.452698, abs=5e-7)
    assert line.r_squared == pytest.approx(0.998207, abs=1e-6)
    other = linregress([math.log10(hours) for hours in (1, 24, 168, 720)], [60.0, 55.0, 52.5, 50.0])
    assert (line.per_decade, line.at_one_hour) == pytest.approx((other.slope, other.intercept))
    assert line.r_squared == pytest.approx(other.rvalue**2)
    assert line.hours_at(54) == pytest.approx(53.006, abs=5e-4)
    assert line.hours_at(48) / 24 == pytest.approx(120.749, abs=5e-4)


@pytest.mark.parametrize(
    ("first_reading_minutes", "ten_percent_hours", "twenty_percent_days", "last_digit"),
    [(1, 56.3, 7933, 1), (10, 43.0, 462, 1), (60, 34.8, 50.6, 0.1)],
)
def test_the_same_first_day_leaves_room_for_very_different_futures(
    first_reading_minutes: float, ten_percent_hours: float, twenty_percent_days: float, last_digit: float
) -> None:
    """A mean first-day loss of 8.95 % means 51 days or 22 years to 20 %, by when the first reading was taken."""
    zero = first_reading_minutes / 60
    law = LossLaw(FIRST_DAY_PERCENT / math.log10(24 / zero), zero)
    assert hours_to_reach(law, 10) == pytest.approx(ten_percent_hours, abs=0.05)
    assert hours_to_reach(law, 20) / 24 == pytest.approx(twenty_percent_days, abs=last_digit / 2)


@given(st.floats(0, 1e300))
def test_w_agrees_with_scipy(value: float) -> None:
    """W is that of scipy.special.lambertw."""
    assert invert_w_exp_w(value) == pytest.approx(float(lambertw(value).real), rel=1e-12, abs=1e-300)


@given(
    slope=st.floats(0.1, 20),
    zero=st.floats(0.01, 48),
    wear=st.floats(0, 1),
    share=st.floats(0, 1),
    loss=st.floats(0.1, 40),
)
def test_the_time_to_a_loss_gives_that_loss(slope: float, zero: float, wear: float, share: float, loss: float) -> None:
    """Going there and back: the loss at the time of a loss is that loss."""
    law = LossLaw(slope, zero, wear)
    hours = hours_to_reach(law, loss, share)
    if math.isfinite(hours):
        assert law.loss(hours, share * hours) == pytest.approx(loss, rel=1e-9)


def test_a_string_that_loses_nothing_never_gets_there() -> None:
    """No slope and no wear: never. Wear alone: in proportion to play."""
    assert hours_to_reach(LossLaw(0.0), 10) == math.inf
    assert hours_to_reach(LossLaw(0.0, wear=0.1), 10, 0.5) == pytest.approx(200)


def test_what_has_no_value_is_refused() -> None:
    """No loss at zero hours, no line through one time, no W below zero."""
    with pytest.raises(ValueError, match="above zero"):
        FADING.loss(0)
    with pytest.raises(ValueError, match="two different times"):
        fit_log_line([(2, 60.0), (2, 59.0)])
    with pytest.raises(ValueError, match="above zero"):
        fit_log_line([(0, 60.0), (2, 59.0)])
    with pytest.raises(ValueError, match="negative"):
        invert_w_exp_w(-0.1)
