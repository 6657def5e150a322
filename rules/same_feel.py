"""A pull at which a changed bed should feel like the one before, from what is known of both; asks nobody anything."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

from rules.facts import Span, Sport
from rules.stringbed_book import Machine, StringbedBook, load_stringbed_book
from rules.stringbed_book import StringbedRemark as Key
from rules.tension_advice import TensionAdvice, advise_tension
from rules.usual_bed import KnownBed, KnownSide, complete_bed

OLD_STRINGS, OLD_TENSION, NEW_STRINGS = "old_strings", "old_tension", "new_strings"
OLD_FRAME, NEW_FRAME = "old_frame", "new_frame"
FRAMES = (OLD_FRAME, NEW_FRAME)


@dataclass(frozen=True)
class FeelAdvice:
    """A starting point for the changed bed, with what was taken for granted."""

    advice: TensionAdvice
    assumed: tuple[str, ...]
    """What nobody said and what was taken instead, as sentences."""
    book: StringbedBook = field(repr=False, compare=False)

    @property
    def says(self) -> tuple[str, ...]:
        """All that is to be said beside the figures: what it is, what was assumed."""
        return tuple(dict.fromkeys((*self.advice.remarks, *self.assumed)))

    @property
    def matched(self) -> str:
        """What of the two beds was made alike, as a sentence."""
        return self.book.say(Key.MATCHED, value=f"{self.advice.hit_stiffness_kgf_cm:.0f}")

    @property
    def source(self) -> str:
        """What the figures rest on."""
        return self.book.say(Key.MODEL)

    def to_dict(self) -> dict[str, Any]:
        """Return the advice as JSON."""
        return {**self.advice.to_dict(), "assumed": list(self.assumed)}


def list_missing(old: KnownBed, new: KnownBed, *, other_frame: bool) -> tuple[str, ...]:
    """Return what must be known before the two beds can be matched, first to ask first.

    `other_frame` tells that the strings go into another frame. Where nothing else is to change, the frame must be what
    does; and of a racquet of another sport than tennis nothing usual can be assumed.
    """
    missing = []
    if old.mains.material is None:
        missing.append(OLD_STRINGS)
    if old.mains.pull is None:
        missing.append(OLD_TENSION)
    if new.mains.material is None:
        missing.append(NEW_STRINGS)
    if missing:
        return tuple(missing)
    unusual = old.sport not in (None, Sport.TENNIS)
    changes = _strings_change(old, new) or _frame_changes(old, new)
    wanted = FRAMES if other_frame or not changes else (OLD_FRAME,) if unusual else ()
    return tuple(name for name, bed in zip(FRAMES, (old, new), strict=True) if name in wanted and bed.head_in2 is None)


def match_feel(
    old: KnownBed, new: KnownBed, printed_lb: Span | None = None, book: StringbedBook | None = None
) -> FeelAdvice | None:
    """Return the pull for the new bed, or None where a racquet of another sport is not known well enough.

    In what nobody said of one bed it is taken to be like the other; in what nobody said of either, to be usual.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed.
        ValueError: for a bed that cannot be, and where the old bed's strings or pull are not known.
    """
    book = book or load_stringbed_book()
    if old.mains.material is None or old.mains.pull is None:
        message = "the old bed's strings and tension must be known"
        raise ValueError(message)
    usual = KnownSide(gauge_mm=book.figures.gauge_mm.value)
    before, after = (
        replace(bed, mains=_fill(bed.mains, usual), crosses=_fill(bed.crosses, usual))
        for bed in (_alike(old, new), _alike(new, old))
    )
    beds = complete_bed(before, book), complete_bed(after, book)
    if beds[0] is None or beds[1] is None:
        return None
    return FeelAdvice(advise_tension(beds[0], beds[1], printed_lb, book), tuple(_assumed(old, new, book)), book)


def _strings_change(old: KnownBed, new: KnownBed) -> bool:
    sides = ((old.mains, new.mains), (_crosses(old), _crosses(new)))
    return any(
        after.material not in (None, before.material) or after.gauge_mm not in (None, before.gauge_mm)
        for before, after in sides
    )


def _frame_changes(old: KnownBed, new: KnownBed) -> bool:
    pairs = ((old.head_in2, new.head_in2), (old.pattern, new.pattern))
    return any(before != after and None not in (before, after) for before, after in pairs)


def _crosses(bed: KnownBed) -> KnownSide:
    """Return the crosses; what is open of them is as in the mains."""
    return _fill(bed.crosses, bed.mains)


def _fill(side: KnownSide, other: KnownSide) -> KnownSide:
    return KnownSide(
        material=side.material or other.material,
        pull=side.pull or other.pull,
        gauge_mm=side.gauge_mm or other.gauge_mm,
    )


def _alike(bed: KnownBed, other: KnownBed) -> KnownBed:
    """Return a bed that is like the other one in all that is not known of it; pulls and gauges side by side."""
    mains = _fill(bed.mains, other.mains)
    own = replace(bed.crosses, material=bed.crosses.material or bed.mains.material)
    crosses = _fill(_fill(own, KnownSide(gauge_mm=bed.mains.gauge_mm, pull=bed.mains.pull)), _crosses(other))
    return replace(
        bed,
        mains=mains,
        crosses=crosses,
        head_in2=bed.head_in2 or other.head_in2,
        pattern=bed.pattern or other.pattern,
        machine=other.machine if bed.machine is Machine.UNKNOWN else bed.machine,
        sport=bed.sport or other.sport,
    )


def _assumed(old: KnownBed, new: KnownBed, book: StringbedBook) -> Iterator[str]:
    """Yield what was taken for granted: alike where one is known, usual where neither is."""
    figures = book.figures
    usual = {
        "head": f"{figures.usual_head_in2.value:g}",
        "pattern": f"{figures.usual_mains.value:g}x{figures.usual_crosses.value:g}",
        "gauge": f"{figures.gauge_mm.value:g}",
    }
    told: dict[str, tuple[object, object]] = {
        "head": (old.head_in2, new.head_in2),
        "pattern": (old.pattern, new.pattern),
        "gauge": (old.mains.gauge_mm, new.mains.gauge_mm),
    }
    nowhere = [what for what, both in told.items() if both == (None, None)]
    alike = [what for what, both in told.items() if None in both and what not in nowhere]
    if nowhere:
        says = ", ".join(book.parts[f"usual_{what}"].format(n=usual[what]) for what in nowhere)
        yield book.say(Key.ASSUMED_USUAL, what=says)
    if alike:
        yield book.say(Key.ASSUMED_ALIKE, what=", ".join(book.parts[what] for what in alike))
