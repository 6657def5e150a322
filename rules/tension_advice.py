"""A tension to start from when head, pattern, gauge or material change and the bed should feel the same."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from rules.facts import Span, Tension
from rules.measurement import NEWTON_PER_LBF, convert_to_newton
from rules.ranges import EIGHTY_PERCENT
from rules.stringbed import Stringbed, build_net, feel
from rules.stringbed_book import Machine, StringbedBook, load_stringbed_book
from rules.stringbed_book import StringbedRemark as Key

if TYPE_CHECKING:
    from rules.stringbed_net import Net

_LOWEST_FACTOR, _HIGHEST_FACTOR = 0.2, 5.0
"""Beyond these the two racquets have nothing to do with each other."""
_CLOSE_ENOUGH = 1e-4
_MOST_STEPS = 20


@dataclass(frozen=True)
class TensionAdvice:
    """A starting point for the pull tension of a new bed, always with a range."""

    mains: Tension
    """In the unit of the new bed's own tension."""
    crosses: Tension
    low: Tension
    """Lowest and highest pull of the mains that the model cannot tell apart from it."""
    high: Tension
    hit_stiffness_kgf_cm: float
    """The feel that was aimed at: stiffness of the old bed under a firm push."""
    clipped: bool
    """True when the frame's printed range cut the advice."""
    remarks: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the advice as JSON."""
        return {
            **{key: getattr(self, key).to_json() for key in ("mains", "crosses", "low", "high")},
            "hit_stiffness_kgf_cm": round(self.hit_stiffness_kgf_cm, 2),
            "clipped": self.clipped,
            "remarks": list(self.remarks),
        }


def advise_tension(
    old: Stringbed, new: Stringbed, printed_lb: Span | None = None, book: StringbedBook | None = None
) -> TensionAdvice:
    """Return the pull at which the new bed should feel like the old one: a starting point, never a promise.

    The new bed's own pulls give the proportion of mains to crosses and the unit; both are raised or lowered together.
    `printed_lb` is the range printed on the frame, which always wins.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed.
        ValueError: for a bed that cannot be.
    """
    book = book or load_stringbed_book()
    old_net, new_net = build_net(old, book), build_net(new, book)
    aim = feel(old_net, book)
    factor = _match(new_net, aim, book)
    lb = factor * _in_lb(new.mains.pull)
    unsure = EIGHTY_PERCENT * lb * _doubt_material(old, new, (old_net, _pull(new_net, factor)), book)
    off = math.hypot(unsure, book.figures.advice_share.value * abs(lb - _in_lb(old.mains.pull)))
    half = max(off, book.figures.advice_least_lb.value)
    crosses_lb = factor * _in_lb(new.crosses.pull)
    setting = _Setting(printed_lb, book)
    mains_unit, crosses_unit = new.mains.pull.unit, new.crosses.pull.unit
    return TensionAdvice(
        mains=setting.set(lb, mains_unit),
        crosses=setting.set(crosses_lb, crosses_unit),
        low=setting.set(lb - half, mains_unit),
        high=setting.set(lb + half, mains_unit),
        hit_stiffness_kgf_cm=aim,
        clipped=not (setting.allows(lb) and setting.allows(crosses_lb)),
        remarks=(*_remark((old, new), (lb, crosses_lb), setting, book), *_cut((lb, half), setting, book)),
    )


@dataclass(frozen=True)
class _Setting:
    """What a machine can be set to for one frame."""

    printed_lb: Span | None
    book: StringbedBook

    def allows(self, lb: float) -> bool:
        return self.printed_lb is None or self.printed_lb.low <= lb <= self.printed_lb.high

    def set(self, lb: float, unit: str) -> Tension:
        """Return the pull in its unit, rounded to a machine's steps, and inside the printed range all the same."""
        step = (self.book.figures.advice_step_kg if unit == "kg" else self.book.figures.advice_step_lb).value
        per_lb = NEWTON_PER_LBF / convert_to_newton(1, unit)
        value = round(lb * per_lb / step) * step
        if self.printed_lb is not None:
            value = min(max(value, self.printed_lb.low * per_lb), self.printed_lb.high * per_lb)
        return Tension(round(value, 2), unit)


def _match(net: Net, aim: float, book: StringbedBook) -> float:
    """Return by how much to change every tension of the net so that it feels as stiff as aimed at.

    The feel only grows with tension, so the secant is kept between a factor too low and one too high.
    """
    low, high = math.log(_LOWEST_FACTOR), math.log(_HIGHEST_FACTOR)
    short_low, short_high = (math.log(feel(_pull(net, math.exp(end)), book) / aim) for end in (low, high))
    if short_low >= 0 or short_high <= 0:
        return _LOWEST_FACTOR if short_low >= 0 else _HIGHEST_FACTOR
    guess, last = 0.0, (low, short_low)
    for _ in range(_MOST_STEPS):
        short = math.log(feel(_pull(net, math.exp(guess)), book) / aim)
        if abs(short) < _CLOSE_ENOUGH:
            break
        low, high = (guess, high) if short < 0 else (low, guess)
        slope = (short - last[1]) / (guess - last[0])
        last = (guess, short)
        guess = guess - short / slope if slope > 0 else (low + high) / 2
        if not low < guess < high:
            guess = (low + high) / 2
    return math.exp(guess)


def _pull(net: Net, factor: float) -> Net:
    mains, crosses = (replace(side, tension=side.tension * factor) for side in (net.mains, net.crosses))
    return replace(net, mains=mains, crosses=crosses)


def _doubt_material(old: Stringbed, new: Stringbed, nets: tuple[Net, Net], book: StringbedBook) -> float:
    """Return how far the pull may be off, as a share, for not knowing exactly how stiff different strings are."""
    if _materials(old) == _materials(new):
        return 0.0  # the same error on both sides cancels
    doubt = 0.0
    for bed, net in zip((old, new), nets, strict=True):
        moduli = [book.strings[side.material].modulus for side in (bed.mains, bed.crosses)]
        stiffer = replace(
            net,
            mains=replace(net.mains, stretch=net.mains.stretch * (1 + moduli[0].sd / moduli[0].mean)),
            crosses=replace(net.crosses, stretch=net.crosses.stretch * (1 + moduli[1].sd / moduli[1].mean)),
        )
        doubt += math.log(feel(stiffer, book) / feel(net, book)) ** 2
    step = 0.05
    per_tension = math.log(feel(_pull(nets[1], 1 + step), book) / feel(nets[1], book)) / math.log1p(step)
    return math.sqrt(doubt) / per_tension


def _materials(bed: Stringbed) -> tuple[str, str]:
    return bed.mains.material, bed.crosses.material


def _in_lb(pull: Tension) -> float:
    return convert_to_newton(pull.value, pull.unit) / NEWTON_PER_LBF


def _remark(
    beds: tuple[Stringbed, Stringbed], pulls_lb: tuple[float, float], setting: _Setting, book: StringbedBook
) -> Iterator[str]:
    figures = book.figures
    low, high = figures.advice_lowest_lb.value, figures.advice_highest_lb.value
    yield book.say(Key.STARTING_POINT)
    yield book.say(Key.SAME_STRINGS if _materials(beds[0]) == _materials(beds[1]) else Key.OTHER_STRINGS)
    if setting.printed_lb is None:
        yield book.say(Key.PRINTED_UNKNOWN)
    for lb in dict.fromkeys(pulls_lb):
        if not setting.allows(lb):
            yield book.say(Key.CLIPPED_TO_PRINTED, lb=f"{lb:.0f}")
    if not all(low <= lb <= high for lb in pulls_lb):
        yield book.say(Key.OUTSIDE_USUAL, low=f"{low:g}", high=f"{high:g}")
    if beds[0].machine is not beds[1].machine and Machine.UNKNOWN in {bed.machine for bed in beds}:
        # Of one machine for both the share that is left of the pull cancels.
        yield book.say(Key.MACHINE_UNKNOWN)
    if None in {side.gauge_mm for bed in beds for side in (bed.mains, bed.crosses)}:
        yield book.say(Key.GAUGE_UNKNOWN, gauge=f"{figures.gauge_mm.value:g}")


def _cut(about: tuple[float, float], setting: _Setting, book: StringbedBook) -> Iterator[str]:
    """Yield that the range about a start ends where the printed one does, where the start itself lies inside."""
    lb, half = about
    if setting.allows(lb) and not (setting.allows(lb - half) and setting.allows(lb + half)):
        yield book.say(Key.RANGE_CUT)
