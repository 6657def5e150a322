"""Closed formulas for a stringbed seen as a membrane, against which the net of strings is checked; knows no net."""

from __future__ import annotations

import math

FIRST_BESSEL_ZERO = 2.404825557695773
"""First zero of J0 (Abramowitz and Stegun, Handbook of Mathematical Functions, table 9.5)."""


def find_mass_per_m(density_g_cm3: float, gauge_mm: float) -> float:
    """Return the mass of a round solid string in kg per metre."""
    return density_g_cm3 * 1e3 * math.pi / 4 * (gauge_mm * 1e-3) ** 2


def find_square_frequency(tension: float, mass_per_m: float, area: float) -> float:
    """Return the lowest frequency in Hz of a square bed woven alike both ways: 0.5 sqrt(T / (mu A)).

    Tension in N, mass in kg/m, area in m2. Two layers of string carry the same force per width as they weigh per
    area, so the spacing drops out (membrane formula, any physics text).
    """
    return 0.5 * math.sqrt(tension / (mass_per_m * area))


def find_circle_frequency(tension: float, mass_per_m: float, area: float) -> float:
    """Return the same for a round bed: j01 / sqrt(8 pi) = 0.479693 takes the place of 0.5."""
    return FIRST_BESSEL_ZERO / math.sqrt(8 * math.pi) * math.sqrt(tension / (mass_per_m * area))


def find_patch_stiffness(force_per_width: float, head_radius: float, patch_radius: float) -> float:
    """Return force over deflection in the middle, in N/m, of a round membrane pushed evenly over a disc.

    k = 2 pi S / (ln(R/r0) + 1/2), from the membrane equation with an even load inside r0 (any text on the membrane).
    """
    return 2 * math.pi * force_per_width / (math.log(head_radius / patch_radius) + 0.5)


def find_force_per_width(tension: float, mains: int, crosses: int, area: float) -> float:
    """Return the bed's force per width in N/m, with all strings spread over the square of the head's area."""
    return tension * math.sqrt(mains * crosses / area)
