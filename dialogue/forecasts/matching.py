"""A pull at which a changed bed should feel the same, from what was said of both beds and what is on the cards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from dialogue.forecasts.fresh import known_on_card
from rules.facts import Material, Span, Tension
from rules.physics_book import PhysicsMissing
from rules.same_feel import FRAMES, FeelAdvice, list_missing, match_feel
from rules.usual_bed import KnownBed, KnownSide
from storage.rows import RacquetRow, StringJobRow

SIDES = ("mains", "crosses")
UNSAID = KnownBed(KnownSide(), KnownSide())


@dataclass(frozen=True)
class Matched:
    """Two beds held against each other: what is missing, why it cannot be done, or the pull to start from."""

    old: KnownBed
    new: KnownBed
    missing: tuple[str, ...] = ()
    found: FeelAdvice | None = None
    install: str | None = None
    """What must be installed before any pull can be told, as a sentence."""


def match_beds(
    old: KnownBed, new: KnownBed, printed_lb: Span | None, *, other_frame: bool, given_up: frozenset[str] = frozenset()
) -> Matched:
    """Return the pull for the new bed, or what it still takes.

    Args:
        old: the bed that felt right.
        new: the bed to be; its strings and its frame.
        printed_lb: the range printed on the new frame, where somebody read it.
        other_frame: whether the strings go into another frame.
        given_up: what nobody can say; a frame is then taken to be like the other one, strings and tension are not.
    """
    missing = tuple(
        name for name in list_missing(old, new, other_frame=other_frame) if not (name in FRAMES and name in given_up)
    )
    if missing:
        return Matched(old, new, missing)
    try:
        found = match_feel(old, new, printed_lb)
    except PhysicsMissing as lacking:
        return Matched(old, new, install=str(lacking))
    except ValueError:
        return Matched(old, new)
    return Matched(old, new, found=found)


def known_bed(said: Mapping[str, Any], job: StringJobRow | None = None, racquet: RacquetRow | None = None) -> KnownBed:
    """Return what is known of a bed: what was said of it, else what its card says.

    Args:
        said: {"mains_material", "crosses_material", "mains_tension", "crosses_tension", "head_size", "pattern",
            "gauge"} as the conversation keeps them; what was not said is left out.
        job: the card of the strings in it, where they are meant.
        racquet: the card of its frame.
    """
    card = known_on_card(job, racquet) if racquet else UNSAID
    mains = _side(said, "mains", card.mains)
    crosses = card.crosses if not _strings_said(said) else KnownSide()
    pattern = said.get("pattern")
    return replace(
        card,
        mains=mains,
        crosses=_side(said, "crosses", crosses),
        head_in2=said.get("head_size") or card.head_in2,
        pattern=(int(pattern[0]), int(pattern[1])) if pattern else card.pattern,
    )


def _strings_said(said: Mapping[str, Any]) -> bool:
    return any(f"{side}_material" in said for side in SIDES)


def _side(said: Mapping[str, Any], side: str, card: KnownSide) -> KnownSide:
    """Return one side: strings that were said are others than the card's, so nothing else of the card counts."""
    if _strings_said(said):
        card = KnownSide(pull=card.pull)
    material, pull, gauge = (said.get(key) for key in (f"{side}_material", f"{side}_tension", "gauge"))
    return KnownSide(
        material=Material(material) if material not in (None, SAME) else card.material,
        pull=Tension(float(pull["value"]), pull["unit"]) if isinstance(pull, Mapping) else card.pull,
        gauge_mm=float(gauge) if gauge else card.gauge_mm,
    )


SAME = "same_as_mains"
