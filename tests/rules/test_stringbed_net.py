"""The net of strings, against membrane formulas and other implementations, and in its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import jn_zeros, mathieu_modcem1

from rules.membrane import (
    FIRST_BESSEL_ZERO,
    find_circle_frequency,
    find_force_per_width,
    find_mass_per_m,
    find_patch_stiffness,
    find_square_frequency,
)
from rules.stringbed_net import Net, NetSide

IN2 = 0.0254**2
KGF_CM = 980.665
"""N/m in 1 kgf/cm."""
AREA = 100 * IN2
MASS = find_mass_per_m(1.39, 1.25)
RADIUS = math.sqrt(AREA / math.pi)
PATCH = 0.0325


def weave(count: int, aspect: float = 1.0, tension: float = 175.0, stretch: float = 1e4) -> Net:
    """Return an even net over the whole of a head of 100 in2, with square meshes."""
    width = 2 * math.sqrt(AREA / math.pi / aspect)
    mains = NetSide(count, tension, MASS, stretch)
    crosses = NetSide(round(count * aspect), tension, MASS, stretch)
    return Net(mains, crosses, width, width * aspect)


def find_ellipse_factor(aspect: float) -> float:
    """Return the lowest frequency of an elliptical membrane over that of a circle of the same area.

    The first zero of the even modified Mathieu function of order 0 in q at the boundary (scipy.special, an
    implementation of its own); q = (c k / 2)^2 with c half the distance of the foci.
    """
    boundary = math.atanh(1 / aspect)
    q = brentq(lambda q: mathieu_modcem1(0, q, boundary)[0], 0.1, 2.0)
    foci = math.sqrt(aspect - 1 / aspect)  # for semi-axes sqrt(aspect) and 1/sqrt(aspect): the area of the unit circle
    return float(2 * math.sqrt(q) / foci / FIRST_BESSEL_ZERO)


def test_the_formulas_give_the_worked_figures() -> None:
    """Line density of two strings, and a bed of 1.25 mm PET at 175 N in 100 in2, square and round.

    Densities: Morton and Hearle, Physical Properties of Textile Fibres. Formulas: any text on the membrane.
    """
    assert find_mass_per_m(1.14, 1.30) * 1e3 == pytest.approx(1.5131, abs=5e-5)
    assert pytest.approx(1.7058, abs=5e-5) == MASS * 1e3
    assert find_square_frequency(175, MASS, AREA) == pytest.approx(630.51, abs=5e-3)
    assert find_circle_frequency(175, MASS, AREA) == pytest.approx(604.90, abs=5e-3)
    assert find_circle_frequency(1, 1, 1) == pytest.approx(0.479693, abs=5e-7)
    assert pytest.approx(jn_zeros(0, 1)[0], rel=1e-12) == FIRST_BESSEL_ZERO


@pytest.mark.parametrize(
    ("pattern", "square_inches", "kgf_cm"), [((16, 19), 100, 44.34), ((18, 20), 100, 48.25), ((16, 19), 110, 41.29)]
)
def test_the_patch_formula_gives_the_worked_figures(
    pattern: tuple[int, int], square_inches: float, kgf_cm: float
) -> None:
    """200 N in every string, a disc of 3.25 cm in the middle."""
    area = square_inches * IN2
    width_force = find_force_per_width(200, *pattern, area)
    found = find_patch_stiffness(width_force, math.sqrt(area / math.pi), PATCH)
    assert found / KGF_CM == pytest.approx(kgf_cm, abs=5e-3)


def test_a_fine_net_sounds_like_the_membrane() -> None:
    """The finer the net, the nearer to the round membrane's frequency; at 80 strings within 0.02 %."""
    exact = find_circle_frequency(175, MASS, AREA)
    off = [abs(weave(count).frequency() / exact - 1) for count in (20, 40, 80)]
    assert off == sorted(off, reverse=True)
    assert off[-1] < 2e-4


@pytest.mark.parametrize(("aspect", "factor"), [(1.3493, 1.02111), (1.3, 1.01621)])
def test_an_elliptical_head_sounds_higher_than_a_round_one(aspect: float, factor: float) -> None:
    """Ellipse over circle of the same area: the Mathieu functions, and a net of square meshes within 0.1 %."""
    assert find_ellipse_factor(aspect) == pytest.approx(factor, abs=5e-6)
    net = weave(80, aspect)
    drawn_out = net.crosses.count / net.mains.count  # whole strings make the meshes only nearly square
    assert drawn_out == pytest.approx(aspect, rel=5e-3)
    assert net.frequency() / find_circle_frequency(175, MASS, AREA) == pytest.approx(factor, rel=1e-3)


def test_a_fine_net_gives_under_a_patch_like_the_membrane() -> None:
    """Force over deflection in the middle nears the patch formula; at 160 strings within 0.1 %."""
    off = []
    for count in (20, 40, 80, 160):
        net = weave(count, tension=200.0)
        exact = find_patch_stiffness(200 * count / net.width, RADIUS, PATCH)
        off.append(abs(net.push_stiffness(PATCH) / exact - 1))
    assert off == sorted(off, reverse=True)
    assert off[-1] < 1e-3


def test_two_mains_and_two_crosses_are_a_mass_on_springs() -> None:
    """Four crossings that move as one: only the pieces to the frame pull, worked by hand."""
    side = NetSide(2, 100.0, 2e-3, 1e4)
    net = Net(side, side, 0.2, 0.2)
    to_frame, between = 0.1 * (math.sqrt(3) / 2 - 0.5), 0.1
    mass = 2 * 2e-3 * (to_frame + between) / 2
    spring = 2 * 100.0 / to_frame
    assert net.frequency() == pytest.approx(math.sqrt(spring / mass) / (2 * math.pi), rel=1e-9)
    assert net.push_stiffness(0.2) == pytest.approx(4 * spring, rel=1e-9)


@given(depth=st.floats(0.001, 0.05), tension=st.floats(20, 400), stretch=st.floats(1e3, 5e4))
@settings(max_examples=40, deadline=None)
def test_two_crossed_strings_stretch_as_pythagoras_has_it(depth: float, tension: float, stretch: float) -> None:
    """Two strings crossed in the middle, pushed so deep: each stretches by Pythagoras, and the force is known."""
    half = 0.1
    side = NetSide(1, tension, 2e-3, stretch)
    slant = math.hypot(half, depth)
    pull = tension + stretch * (slant / half - 1)
    force = 4 * pull * depth / slant
    assert Net(side, side, 2 * half, 2 * half).hit_stiffness(0.05, force) == pytest.approx(force / depth, rel=1e-5)


def test_a_hard_push_meets_more_than_a_soft_one() -> None:
    """A tiny push is the small-push stiffness; harder pushes and stiffer strings meet more."""
    net = weave(16)
    assert net.hit_stiffness(PATCH, 1e-3) == pytest.approx(net.push_stiffness(PATCH), rel=1e-6)
    forces = [net.hit_stiffness(PATCH, force) for force in (1, 100, 300, 1000, 3000)]
    assert forces == sorted(forces)
    assert weave(16, stretch=2e4).hit_stiffness(PATCH, 500) > weave(16, stretch=1e4).hit_stiffness(PATCH, 500)


def test_frequency_goes_with_the_root_of_tension_and_stiffness_with_tension() -> None:
    """Four times the tension: twice the frequency, four times the small-push stiffness (string formula)."""
    soft, hard = weave(18, 1.3, tension=100.0), weave(18, 1.3, tension=400.0)
    assert hard.frequency() == pytest.approx(2 * soft.frequency(), rel=1e-9)
    assert hard.push_stiffness(PATCH) == pytest.approx(4 * soft.push_stiffness(PATCH), rel=1e-9)


def test_the_lowest_frequency_is_that_of_the_whole_spectrum() -> None:
    """The sparse solver's answer is the smallest of all frequencies by numpy's dense one."""
    net = weave(14, 1.3)
    mesh = net.mesh
    ends = mesh.ends.toarray()
    stiffness = ends.T @ np.diag(mesh.tension / mesh.piece) @ ends
    root = np.diag(1 / np.sqrt(mesh.mass))
    lowest = np.linalg.eigvalsh(root @ stiffness @ root)[0]
    assert net.frequency() == pytest.approx(math.sqrt(lowest) / (2 * math.pi), rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(
    mains=st.integers(4, 24),
    crosses=st.integers(4, 24),
    aspect=st.floats(0.8, 2.2),
    span=st.floats(0.6, 1.0),
)
@example(mains=8, crosses=4, aspect=2.0, span=1.0)
def test_any_pattern_makes_a_sound_net(mains: int, crosses: int, aspect: float, span: float) -> None:
    """Every piece of string has a length, every crossing a mass, every string its whole length."""
    net = Net(NetSide(mains, 200, MASS, 1e4), NetSide(crosses, 180, MASS, 1e4), 0.25, 0.25 * aspect, span)
    mesh = net.mesh
    assert (mesh.piece > 0).all()
    assert (mesh.mass > 0).all()
    assert mesh.string_length.sum() == pytest.approx(mesh.piece.sum())
    assert mesh.patch(PATCH).sum() == pytest.approx(1)
    assert mesh.middle().sum() == pytest.approx(1)
    assert 0 < net.frequency() < 5000
