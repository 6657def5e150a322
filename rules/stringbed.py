"""What a racquet, its strings and their tension should give: stiffness, frequency, a fresh reading with a range."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from rules.facts import Kind, Material, Reading, Tension
from rules.measurement import NEWTON_PER_KGF, convert_to_newton
from rules.membrane import find_mass_per_m
from rules.physics_book import PhysicsMissing
from rules.ranges import EIGHTY_PERCENT
from rules.stringbed_book import Machine, StringbedBook, StringbedRemark, load_stringbed_book

if TYPE_CHECKING:
    from rules.stringbed_net import Net

CM2_PER_IN2 = 6.4516


@dataclass(frozen=True)
class StringSide:
    """The string on one side of the bed, mains or crosses, as it was pulled."""

    material: Material
    pull: Tension
    """Reference tension set on the machine."""
    gauge_mm: float | None = None
    """None where nobody knows it: a usual gauge is then assumed, and said."""


@dataclass(frozen=True)
class Stringbed:
    """A racquet with its strings: all that the model needs to know."""

    head_cm2: float
    pattern: tuple[int, int]
    """Mains by crosses: (16, 19)."""
    mains: StringSide
    crosses: StringSide
    machine: Machine = Machine.UNKNOWN
    aspect: float | None = None
    """Length of the head over its width; None for a usual one."""
    assumed_share: float = 0.0
    """How far a reading may be off, as a share, because some of this is not known but assumed."""


@dataclass(frozen=True)
class StringbedResponse:
    """How a bed answers, by the model, at the tension expected to be left in it."""

    frequency_hz: float
    stiffness_kgf_cm: float
    """For a small push in the middle, as a stiffness meter makes it."""
    hit_stiffness_kgf_cm: float
    """For a push so strong that the strings stretch: what a player feels."""
    mains_tension_n: float
    crosses_tension_n: float

    def to_dict(self) -> dict[str, float]:
        """Return the response as JSON, rounded to what a model can tell."""
        return {
            "frequency_hz": round(self.frequency_hz, 1),
            "stiffness_kgf_cm": round(self.stiffness_kgf_cm, 2),
            "hit_stiffness_kgf_cm": round(self.hit_stiffness_kgf_cm, 2),
            "mains_tension_n": round(self.mains_tension_n, 1),
            "crosses_tension_n": round(self.crosses_tension_n, 1),
        }


@dataclass(frozen=True)
class FreshEstimate:
    """What a bed should read just after stringing: always an estimate with a range."""

    reading: Reading
    """Marked estimated."""
    low: float
    high: float
    """Range that holds the true reading four times in five, in the reading's unit."""
    sd: float
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the estimate as JSON."""
        return {
            "reading": self.reading.to_json(),
            "low": round(self.low, 1),
            "high": round(self.high, 1),
            "remarks": list(self.remarks),
        }


def build_net(bed: Stringbed, book: StringbedBook, kept: float | None = None) -> Net:
    """Return the net of the bed, with so much of the pull left in the strings (by default what the machine leaves).

    Raises:
        PhysicsMissing: when numpy or scipy is not installed; says what to install.
        ValueError: for a bed that cannot be: no strings, no area, no tension.
    """
    try:
        from rules.stringbed_net import Net, NetSide  # noqa: PLC0415 - only this needs numpy and scipy
    except ModuleNotFoundError as error:
        if error.name is None or error.name.split(".")[0] not in {"numpy", "scipy"}:
            raise
        raise PhysicsMissing(
            f"The stringbed model needs {error.name}, which is not installed: pip install 'counterpull[physics]'."
        ) from error
    _check(bed)
    share = book.kept[bed.machine].mean if kept is None else kept

    def side(string: StringSide, count: int) -> NetSide:
        gauge = string.gauge_mm or book.figures.gauge_mm.value
        figures = book.strings[string.material]
        return NetSide(
            count=count,
            tension=share * convert_to_newton(string.pull.value, string.pull.unit),
            mass_per_m=find_mass_per_m(figures.density.value, gauge),
            stretch=figures.modulus.mean * 1e9 * math.pi / 4 * (gauge * 1e-3) ** 2,
        )

    aspect = bed.aspect or book.figures.head_aspect.value
    width = 2 * math.sqrt(bed.head_cm2 * 1e-4 / math.pi / aspect)
    return Net(
        mains=side(bed.mains, bed.pattern[0]),
        crosses=side(bed.crosses, bed.pattern[1]),
        width=width,
        length=width * aspect,
        span=book.figures.layout_span.value,
    )


_FEWEST_STRINGS = 4


def _check(bed: Stringbed) -> None:
    if min(bed.pattern) < _FEWEST_STRINGS:
        raise ValueError(f"A pattern of {bed.pattern[0]}x{bed.pattern[1]} is no stringbed.")
    figures = (bed.head_cm2, bed.mains.pull.value, bed.crosses.pull.value, bed.aspect or 1.0)
    gauges = (bed.mains.gauge_mm or 1.0, bed.crosses.gauge_mm or 1.0)
    if not all(math.isfinite(value) and value > 0 for value in (*figures, *gauges)):
        raise ValueError("Head size, tension, gauge and aspect must be above zero.")


def solve_stringbed(bed: Stringbed, book: StringbedBook | None = None) -> StringbedResponse:
    """Return how the bed answers, by the model.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed.
        ValueError: for a bed that cannot be.
    """
    book = book or load_stringbed_book()
    net = build_net(bed, book)
    return StringbedResponse(
        frequency_hz=net.frequency(),
        stiffness_kgf_cm=_in_kgf_cm(net.push_stiffness(book.figures.patch_radius_mm.value * 1e-3)),
        hit_stiffness_kgf_cm=feel(net, book),
        mains_tension_n=net.mains.tension,
        crosses_tension_n=net.crosses.tension,
    )


def feel(net: Net, book: StringbedBook) -> float:
    """Return the stiffness under a firm push in kgf/cm, which is what a player feels of the bed."""
    patch = book.figures.patch_radius_mm.value * 1e-3
    return _in_kgf_cm(net.hit_stiffness(patch, book.figures.hit_force_n.value))


def _in_kgf_cm(newton_per_m: float) -> float:
    return newton_per_m / (100 * NEWTON_PER_KGF)


def estimate_fresh(bed: Stringbed, kind: Kind, book: StringbedBook | None = None) -> FreshEstimate | None:
    """Return what the bed should read just after stringing, or None for a deflection scale, which no model knows.

    Stiffness and pounds follow the tension, frequency its square root, so the spread of what a machine leaves counts
    whole for the first two and half for the last.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed.
        ValueError: for a bed that cannot be.
    """
    book = book or load_stringbed_book()
    figures = book.figures
    if kind is Kind.DEFLECTION:
        return None
    net = build_net(bed, book)
    kept = book.kept[bed.machine]
    tension_share = kept.sd / kept.mean
    if kind is Kind.FREQUENCY:
        value, share = net.frequency(), math.hypot(tension_share / 2, figures.frequency_share_sd.value)
    else:
        value = _in_kgf_cm(net.push_stiffness(figures.patch_radius_mm.value * 1e-3))
        share = math.hypot(tension_share, figures.stiffness_share_sd.value)
        if kind is Kind.POUNDS:
            value *= figures.pounds_per_stiffness.value
            share = math.hypot(tension_share, figures.pounds_share_sd.value)
    sd = value * math.hypot(share, bed.assumed_share)
    reading = Reading((round(value, 1),), kind, estimated=True)
    half = EIGHTY_PERCENT * sd
    return FreshEstimate(reading, value - half, value + half, sd, _remark(bed, kind, book))


def _remark(bed: Stringbed, kind: Kind, book: StringbedBook) -> tuple[str, ...]:
    said = [book.say(StringbedRemark.ESTIMATED)]
    if kind is Kind.POUNDS:
        said.append(book.say(StringbedRemark.FROM_PAIR))
    if bed.assumed_share:
        said.append(book.say(StringbedRemark.ASSUMED))
    if bed.machine is Machine.UNKNOWN:
        said.append(book.say(StringbedRemark.MACHINE_UNKNOWN))
    if bed.mains.gauge_mm is None or bed.crosses.gauge_mm is None:
        said.append(book.say(StringbedRemark.GAUGE_UNKNOWN, gauge=f"{book.figures.gauge_mm.value:g}"))
    return tuple(said)
