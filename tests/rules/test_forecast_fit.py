"""The small Bayesian fit, against the same sums done by numpy and scipy."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import norm, truncnorm

from rules.forecast_fit import Belief, Check, Course, LossFit, Noise, fit_without_outliers

BELIEF = Belief(slope=4.0, slope_variance=1.0, wear=0.3, wear_variance=0.002, covariance=-0.01, drift_percent=1.5)
NOISE = Noise(zero_hours=1 / 6, baseline_percent=1.8, played_share=0.25)
CHECKS = (
    Check(24.0, 0.4, 9.0, 1.2),
    Check(240.0, 4.0, 14.0, 1.2),
    Check(960.0, 17.0, 22.0, 1.2),
    Check(2400.0, 43.0, 33.0, 1.2),
)


def _draw_many(belief: Belief, hours: list[float], played: list[float], count: int) -> tuple[np.ndarray, np.ndarray]:
    """Return many draws of slope and wear, and of the losses they make, from the model written out anew."""
    rng = np.random.default_rng(7)
    spread = [[belief.slope_variance, belief.covariance], [belief.covariance, belief.wear_variance]]
    theta = rng.multivariate_normal([belief.slope, belief.wear], spread, count)
    decades = np.log10(np.array(hours) / NOISE.zero_hours)
    order = np.argsort(decades)
    steps = np.diff(np.concatenate(([0.0], decades[order])))
    walk = np.cumsum(rng.normal(size=(count, len(hours))) * np.sqrt(steps) * belief.drift_percent, axis=1)
    drift = np.empty_like(walk)
    drift[:, order] = walk
    base = rng.normal(0, NOISE.baseline_percent, (count, 1))
    off = rng.normal(0, NOISE.played_share, (count, 1)) * belief.wear
    losses = theta[:, :1] * decades + (theta[:, 1:] + off) * np.array(played) + base + drift
    return theta, losses


def test_the_prior_spread_is_that_of_many_simulated_beds() -> None:
    """Mean and standard deviation with nothing read agree with 400,000 simulated beds."""
    fit = LossFit((), replace(BELIEF, wear=5.0, wear_variance=0.01), NOISE)
    belief = fit.belief
    theta, losses = _draw_many(belief, [30.0, 2000.0], [0.5, 36.0], 400_000)
    assert theta.min() > -1.5
    for place, (hours, played) in enumerate([(30.0, 0.5), (2000.0, 36.0)]):
        mean, sd = fit.at(hours, played)
        assert mean == pytest.approx(losses[:, place].mean(), rel=3e-3)
        assert sd == pytest.approx(losses[:, place].std(), rel=1e-2)


def test_the_fit_is_the_conditional_normal_distribution() -> None:
    """What is expected at a later day is what numpy's conditional normal gives for the simulated covariance."""
    hours = [*(check.hours for check in CHECKS), 5000.0]
    played = [*(check.played for check in CHECKS), 90.0]
    _, losses = _draw_many(BELIEF, hours, played, 600_000)
    cover = np.cov(losses.T)
    mean = losses.mean(axis=0)
    seen = cover[:4, :4] + np.diag([check.scatter_percent**2 for check in CHECKS])
    gain = np.linalg.solve(seen, cover[:4, 4])
    told = mean[4] + gain @ (np.array([check.loss_percent for check in CHECKS]) - mean[:4])
    left = math.sqrt(cover[4, 4] - gain @ cover[:4, 4])
    found, sd = LossFit(CHECKS, BELIEF, NOISE).at(5000.0, 90.0)
    assert found == pytest.approx(told, abs=0.1)
    assert sd == pytest.approx(left, rel=0.02)


def test_with_a_wide_prior_and_no_blur_it_is_plain_least_squares() -> None:
    """A vague belief, no drift and a sure baseline: slope and wear are those of numpy.linalg.lstsq."""
    belief = Belief(4.0, 1e6, 0.3, 1e6)
    noise = Noise(1 / 6, 1e-6, 0.0)
    fit = LossFit(CHECKS, belief, noise)
    design = [[math.log10(6 * check.hours), check.played] for check in CHECKS]
    slope, wear = np.linalg.lstsq(np.array(design), np.array([check.loss_percent for check in CHECKS]))[0]
    assert fit.slope == pytest.approx(slope, rel=1e-4)
    assert fit.wear == pytest.approx(wear, rel=1e-3)


@given(mean=st.floats(-3, 6), sd=st.floats(0.05, 3))
def test_wear_never_goes_below_zero(mean: float, sd: float) -> None:
    """A belief about wear is cut at zero: mean and spread are scipy's truncated normal."""
    belief = Belief(100.0, 1e-9, mean, sd**2)
    fit = LossFit((), belief, NOISE)
    expected = truncnorm(-mean / sd, np.inf, loc=mean, scale=sd)
    if mean / sd > -5:  # further out scipy's own moments lose their digits
        assert fit.wear == pytest.approx(expected.mean(), rel=1e-6, abs=1e-9)
        assert math.sqrt(fit.wear_variance) == pytest.approx(expected.std(), rel=1e-4)
    assert fit.wear > 0


@given(st.permutations(CHECKS))
def test_the_order_of_readings_does_not_matter(checks: list[Check]) -> None:
    """Readings written down out of order tell the same."""
    assert LossFit(checks, BELIEF, NOISE).at(3000.0, 50.0) == pytest.approx(
        LossFit(CHECKS, BELIEF, NOISE).at(3000.0, 50.0), rel=1e-9
    )


def test_leaving_one_out_in_closed_form_is_refitting_without_it() -> None:
    """Each reading's distance is that from a fit made without it."""
    plain = replace(BELIEF, wear=3.0, wear_variance=1e-4, covariance=0.0)  # far from zero, where nothing is cut
    checks = [replace(check, loss_percent=check.loss_percent + 2.7 * check.played) for check in CHECKS]
    for place, (expected, away) in enumerate(LossFit(checks, plain, NOISE).misfits()):
        check = checks[place]
        mean, sd = LossFit([*checks[:place], *checks[place + 1 :]], plain, NOISE).at(check.hours, check.played)
        assert expected == pytest.approx(mean, abs=1e-3)
        assert away == pytest.approx((check.loss_percent - mean) / math.hypot(sd, check.scatter_percent), abs=1e-3)


@settings(max_examples=50)
@given(st.integers(0, 3), st.sampled_from([-25.0, 25.0]))
def test_one_wild_reading_among_four_is_named_and_set_aside(place: int, off: float) -> None:
    """A reading 25 points off is the one that is named, and the fit is made without it."""
    checks = [replace(c, loss_percent=c.loss_percent + off * (i == place)) for i, c in enumerate(CHECKS)]
    fit, found = fit_without_outliers(checks, BELIEF, NOISE, 3.5, 2)
    assert [(one.index, one.set_aside) for one in found] == [(place, True)]
    assert math.copysign(1, found[0].sd_away) == math.copysign(1, off)
    assert len(fit.checks) == 3


def test_of_two_readings_neither_is_set_aside() -> None:
    """Where nobody can tell which is wrong, the odd one is named and kept."""
    checks = [CHECKS[0], replace(CHECKS[1], loss_percent=45.0)]
    fit, found = fit_without_outliers(checks, BELIEF, NOISE, 3.5, 2)
    assert [one.set_aside for one in found] == [False]
    assert len(fit.checks) == 2


def test_honest_readings_are_rarely_called_outliers() -> None:
    """Readings drawn from the model itself: under 1 % of jobs have one named."""
    hours, played = [check.hours for check in CHECKS], [check.played for check in CHECKS]
    _, losses = _draw_many(BELIEF, hours, played, 1000)
    noisy = losses + np.random.default_rng(8).normal(0, 1.2, losses.shape)
    named = 0
    for row in noisy:
        checks = [replace(check, loss_percent=float(loss)) for check, loss in zip(CHECKS, row, strict=True)]
        named += bool(fit_without_outliers(checks, BELIEF, NOISE, 3.5, 2)[1])
    assert named / len(noisy) < 0.01
    assert 2 * norm.sf(3.5) * 4 < 0.01


def test_a_bent_course_runs_through_its_knots() -> None:
    """Log time is stretched after 1, 4, 16 and 64 days, and left alone where the course is straight."""
    straight, bent = Course(), Course((2.0, 1.0, 0.5, 0.0))
    assert straight.decades(1000.0) == pytest.approx(3.0)
    assert bent.decades(24.0) == pytest.approx(math.log10(24))
    stretch = math.log10(4)
    assert bent.decades(96.0) == pytest.approx(math.log10(24) + 2 * stretch)
    assert bent.decades(1536.0) == pytest.approx(math.log10(24) + 3.5 * stretch)
    assert bent.decades(15360.0) == pytest.approx(bent.decades(1536.0))
