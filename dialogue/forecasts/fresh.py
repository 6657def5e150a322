"""What a fresh stringbed should read, from the cards or from what was said; silent where the model is not installed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.forecasts.stringings import known_word
from rules.baseline_check import BaselineCheck, BaselineFit, check_baseline
from rules.facts import Facts, Kind, Material, Reading, Sport, Tension
from rules.physics_book import PhysicsMissing
from rules.stringbed import FreshEstimate, Stringbed, estimate_fresh
from rules.stringbed_book import Machine, load_stringbed_book
from rules.usual_bed import KnownBed, KnownSide, complete_bed
from storage.rows import RacquetRow, StringJobRow

MACHINES = {"drop_weight": Machine.CONSTANT_PULL}
"""A falling weight pulls on while the string gives, as a constant-pull machine does."""


@dataclass(frozen=True)
class Doubt:
    """Why a baseline is asked back before it is kept."""

    says: str
    """That it cannot be right, what was to be expected, and what may have been meant."""
    meant: tuple[float, ...]
    """Figures that would fit; somebody must be asked."""


def bed_on_card(job: StringJobRow, racquet: RacquetRow) -> Stringbed | None:
    """Return the stringbed on a card, with what is usual where the card is silent."""
    return complete_bed(known_on_card(job, racquet), load_stringbed_book())


def known_on_card(job: StringJobRow | None, racquet: RacquetRow) -> KnownBed:
    """Return what a card tells of a racquet and the strings in it; of an unstrung one only the frame."""
    pattern = None
    if racquet.mains_count and racquet.crosses_count:
        pattern = (racquet.mains_count, racquet.crosses_count)
    return KnownBed(
        mains=_side(job, "mains") if job else KnownSide(),
        crosses=_side(job, "crosses") if job else KnownSide(),
        head_in2=racquet.head_size_in2,
        pattern=pattern,
        machine=_machine(job),
        sport=known_word(Sport, racquet.sport),
    )


def _machine(job: StringJobRow | None) -> Machine:
    if job is None:
        return Machine.UNKNOWN
    return MACHINES.get(job.machine or "") or known_word(Machine, job.machine) or Machine.UNKNOWN


def bed_of_facts(facts: Facts) -> Stringbed | None:
    """Return the stringbed that was talked of, with what is usual where nothing was said."""
    known = KnownBed(
        mains=KnownSide(facts.mains_material, facts.mains_tension),
        crosses=KnownSide(facts.crosses_material, facts.crosses_tension),
        sport=facts.sport,
    )
    return complete_bed(known, load_stringbed_book())


def doubt_baseline(bed: Stringbed | None, baselines: Sequence[Reading]) -> Doubt | None:
    """Return why a baseline must be asked back, or None where it may be right or nothing can be told.

    One that is only unusual is asked back where a slip would explain it.
    """
    for reading in baselines if bed else ():
        check = _check(bed, reading)
        if check is None or check.fit in (BaselineFit.FITS, BaselineFit.NOT_CHECKED):
            continue
        if check.fit is BaselineFit.IMPOSSIBLE or check.guesses:
            says = " ".join(dict.fromkeys([check.says, *(guess.says for guess in check.guesses)]))
            return Doubt(says, tuple(round(guess.value, 1) for guess in check.guesses))
    return None


@dataclass(frozen=True)
class AgainstEstimate:
    """A reading beside what the bed should have read when it was fresh: a range, and never more than advice."""

    low: float
    high: float
    """Between these it should have read, four times in five."""
    least_percent: float
    most_percent: float
    """Between these would be lost; below zero where the reading lies above."""

    def values(self) -> dict[str, Any]:
        """Return what its sentence names, in round figures."""
        least, most = (round(max(value, 0.0)) for value in (self.least_percent, self.most_percent))
        return {"low": round(self.low), "high": round(self.high), "least": least, "most": most}


def compare_with_estimate(bed: Stringbed | None, reading: Reading) -> AgainstEstimate | None:
    """Return the reading beside the estimate for its instrument, or None where no model can tell."""
    if bed is None or reading.kind is None or reading.unit is not None:
        return None
    if bed.assumed_share > load_stringbed_book().figures.told_assumed_share.value:
        return None
    estimate = estimate_baseline(bed, reading.kind)
    if estimate is None or estimate.low <= 0:
        return None
    now = sum(reading.values) / len(reading.values)
    power = 2 if reading.kind is Kind.FREQUENCY else 1  # tension goes with the square of the frequency
    least, most = (100 * (1 - (now / fresh) ** power) for fresh in (estimate.low, estimate.high))
    return AgainstEstimate(estimate.low, estimate.high, least, most)


def estimate_baseline(bed: Stringbed | None, kind: Kind) -> FreshEstimate | None:
    """Return what the bed should have read when it was fresh, marked estimated, or None where no model can tell."""
    try:
        return estimate_fresh(bed, kind) if bed else None
    except (PhysicsMissing, ValueError):
        return None


def _check(bed: Stringbed | None, reading: Reading) -> BaselineCheck | None:
    try:
        return check_baseline(bed, reading) if bed and not reading.estimated else None
    except (PhysicsMissing, ValueError):
        return None


def _side(job: StringJobRow, side: str) -> KnownSide:
    pull = getattr(job, f"{side}_tension")
    return KnownSide(
        material=known_word(Material, getattr(job, f"{side}_material")),
        pull=Tension(float(pull), getattr(job, f"{side}_tension_unit") or "lb") if pull else None,
        gauge_mm=_millimetres(getattr(job, f"{side}_gauge")),
    )


def _millimetres(gauge: str | None) -> float | None:
    try:
        found = float(gauge or "")
    except ValueError:
        return None
    return found if 0 < found < 5 else None  # noqa: PLR2004 - a number beyond is a gauge by name, such as 16
