"""Arithmetic on readings: units, mean and spread, loss and energy, like with like; holds no threshold."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache

from rules.facts import Kind, Reading

NEWTON_PER_LBF = 4.4482216152605
"""Exact by definition: 0.45359237 kg x 9.80665 m/s2."""
NEWTON_PER_KGF = 9.80665
"""Exact by definition."""
MILLIMETRES_PER_INCH = 25.4


def convert_to_newton(value: float, unit: str) -> float:
    """Return a pull in newton from lb (lbf), kg (kgf) or N.

    Raises:
        ValueError: for another unit.
    """
    factors = {"lb": NEWTON_PER_LBF, "kg": NEWTON_PER_KGF, "N": 1.0}
    if unit not in factors:
        raise ValueError(f"unknown unit of tension {unit!r}; use lb, kg or N")
    return value * factors[unit]


def convert_stiffness_to_newton_per_mm(kgf_cm: float) -> float:
    """Return a stiffness in N/mm from kgf/cm."""
    return kgf_cm * NEWTON_PER_KGF / 10


def convert_stiffness_to_lbf_per_inch(kgf_cm: float) -> float:
    """Return a stiffness in lbf/in from kgf/cm."""
    return convert_stiffness_to_newton_per_mm(kgf_cm) * MILLIMETRES_PER_INCH / NEWTON_PER_LBF


@lru_cache(maxsize=4096)
def exact(number: float) -> Fraction:
    """Return the decimal number a person wrote, free of binary rounding."""
    return Fraction(repr(float(number)))


def mean(reading: Reading) -> Fraction:
    """Return the mean of the repeats, exactly."""
    if len(reading.values) == 1:
        return exact(reading.values[0])
    return sum((exact(value) for value in reading.values), Fraction(0)) / len(reading.values)


def spread(reading: Reading) -> float:
    """Return the distance between the largest and the smallest repeat."""
    return float(exact(max(reading.values)) - exact(min(reading.values)))


@dataclass(frozen=True)
class Comparison:
    """A reading against the baseline of the same instrument."""

    baseline: Reading
    reading: Reading
    kind: Kind | None

    @property
    def loss(self) -> Fraction:
        """Loss as a part of the baseline, negative when the reading rose; by the square for a frequency."""
        ratio = mean(self.reading) / mean(self.baseline)
        return 1 - ratio**2 if self.squared else 1 - ratio

    @property
    def squared(self) -> bool:
        """Tell whether the instrument reads Hz, where tension goes with the square."""
        return self.kind is Kind.FREQUENCY

    def line(self, loss_percent: float) -> float:
        """Return the reading at which the loss is so many per cent."""
        rest = float(1 - exact(loss_percent) / 100)
        return float(mean(self.baseline)) * (math.sqrt(rest) if self.squared else rest)

    def energy_percent(self, per_loss: float) -> Fraction | None:
        """Return the energy left in per cent, for a deflection meter or an unnamed scale."""
        if self.kind in {Kind.DEFLECTION, None}:
            return 100 * (1 - exact(per_loss) * self.loss)
        return None

    def taken_on(self, today: dt.date) -> dt.date:
        """Return the day of the later reading."""
        return self.reading.taken_on or today


HIGHEST_ON_A_SCALE = 120
"""An unnamed reading above every scale but Hz can only be a frequency."""


def compare(baselines: Iterable[Reading], readings: Iterable[Reading]) -> tuple[Comparison, ...]:
    """Return the latest reading of each instrument beside the latest baseline of the same instrument.

    Readings of one instrument on one day are repeats of one measurement. A reading without a day was taken
    today, a baseline without a day just after stringing.
    """
    fresh = _take_latest(baselines, undated=dt.date.min)
    now = _take_latest(readings, undated=dt.date.max)
    return tuple(
        Comparison(fresh[instrument], reading, instrument[0])
        for instrument, reading in now.items()
        if instrument in fresh
    )


Instrument = tuple[Kind | None, str | None, str | None]
"""What must agree before two readings are compared: kind, unit, and the shop's name of the instrument."""


def _take_latest(readings: Iterable[Reading], *, undated: dt.date) -> dict[Instrument, Reading]:
    found: dict[Instrument, Reading] = {}
    for reading in readings:
        instrument = _instrument(reading)
        other = found.get(instrument)
        if other is None or (other.taken_on or undated) < (reading.taken_on or undated):
            found[instrument] = reading
        elif other.taken_on == reading.taken_on:
            estimated = other.estimated or reading.estimated
            found[instrument] = replace(other, values=other.values + reading.values, estimated=estimated)
    return found


def _instrument(reading: Reading) -> Instrument:
    kind = reading.kind
    if kind is None and min(reading.values) > HIGHEST_ON_A_SCALE:
        kind = Kind.FREQUENCY
    return kind, reading.unit, reading.instrument
