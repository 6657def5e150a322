"""A stringbed out of what is on record, with what is usual in the place of what is not; computes no reading."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rules.facts import Material, Sport, Tension
from rules.stringbed import CM2_PER_IN2, Stringbed, StringSide
from rules.stringbed_book import Machine, StringbedBook


@dataclass(frozen=True)
class KnownSide:
    """What is known of the string on one side of the bed."""

    material: Material | None = None
    pull: Tension | None = None
    gauge_mm: float | None = None


@dataclass(frozen=True)
class KnownBed:
    """What is known of a racquet and its strings; all may be missing."""

    mains: KnownSide
    crosses: KnownSide
    head_in2: float | None = None
    pattern: tuple[int, int] | None = None
    machine: Machine = Machine.UNKNOWN
    sport: Sport | None = None


_ASSUMED_MATERIAL = Material.SYNTHETIC_GUT


def complete_bed(known: KnownBed, book: StringbedBook) -> Stringbed | None:
    """Return the bed, or None where nothing usual can be said: another sport's racquet of unknown head or tension.

    What is assumed makes every figure of the bed less sure, by the shares of the data file.
    """
    figures = book.figures
    pull = known.mains.pull or known.crosses.pull
    if known.sport not in (None, Sport.TENNIS) and None in (known.head_in2, known.pattern, pull):
        return None
    material = known.mains.material or known.crosses.material
    shares = (
        (figures.assumed_head_share_sd, known.head_in2),
        (figures.assumed_pattern_share_sd, known.pattern),
        (figures.assumed_pull_share_sd, pull),
        (figures.assumed_material_share_sd, material),
    )
    usual = StringSide(material or _ASSUMED_MATERIAL, pull or Tension(figures.usual_pull_lb.value, "lb"))
    mains = _complete_side(known.mains, usual)
    return Stringbed(
        head_cm2=(known.head_in2 or figures.usual_head_in2.value) * CM2_PER_IN2,
        pattern=known.pattern or (int(figures.usual_mains.value), int(figures.usual_crosses.value)),
        mains=mains,
        crosses=_complete_side(known.crosses, mains),
        machine=known.machine,
        assumed_share=math.hypot(*(figure.value for figure, value in shares if value is None)),
    )


def _complete_side(known: KnownSide, usual: StringSide) -> StringSide:
    return StringSide(known.material or usual.material, known.pull or usual.pull, known.gauge_mm or usual.gauge_mm)
