"""The third stage: what readings say against their baselines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from rules.book_format import Scalar
from rules.facts import Reading
from rules.measurement import Comparison, compare, exact, mean, spread
from rules.trail import Trail

STRENGTH = ("none", "risen", "fine", "settling", "worn", "dead")
"""What readings may amount to, the weakest evidence for a restring first."""


@dataclass(frozen=True)
class Measured:
    """What the readings amount to."""

    state: str = "none"
    """dead, worn, settling, fine, risen or none."""
    loss_percent: Fraction | None = None
    energy_percent: Fraction | None = None
    spoken_loss: str = ""
    """The loss in per cent as it is told."""
    slipped: bool = False
    """True when the loss of the first week is more than settling."""


def measure(trail: Trail) -> Measured:
    """Return what the readings say and write their rows to the trail."""
    facts = trail.facts
    if not facts.reading:
        return Measured()
    readings = _leave_out_earlier(trail, facts.reading)
    baselines = _leave_out_earlier(trail, facts.baseline)
    comparisons = compare(baselines, readings)
    values: dict[str, Scalar] = {
        "has_baseline": bool(facts.baseline),
        "same_instrument": bool(comparisons),
        "before_stringing": not readings,
        "baseline_before_stringing": bool(facts.baseline) and not baselines,
    }
    if not comparisons:
        trail.write(trail.fire_one("comparable", values), values, words={})
        return Measured()
    found = []
    for comparison in comparisons:
        read = {"baseline": comparison.baseline.to_json(), "reading": comparison.reading.to_json()}
        words = _words(trail, comparison)
        trail.write_with(trail.fire_one("comparable", values), values, read, words)
        found.append(_weigh(trail, comparison, words))
    if _tell_different_stories(trail, comparisons):
        return Measured()
    strongest = max(found, key=lambda one: (STRENGTH.index(one.state), one.loss_percent))
    energies = [one.energy_percent for one in found if one.energy_percent is not None]
    return replace(strongest, energy_percent=min(energies, default=None))


def _leave_out_earlier(trail: Trail, readings: tuple[Reading, ...]) -> tuple[Reading, ...]:
    """Return the readings that are not for certain of the strings before."""
    strung = trail.facts.strung_on
    if strung is None or strung.approx:
        return readings
    return tuple(reading for reading in readings if reading.taken_on is None or reading.taken_on >= strung.day)


def _words(trail: Trail, comparison: Comparison) -> dict[str, str]:
    words = {
        "baseline": trail.words.reading(comparison.baseline),
        "reading": trail.words.reading(comparison.reading),
        "loss_percent": trail.words.figure(100 * comparison.loss, (0, *_lines(trail, comparison))),
    }
    energy = comparison.energy_percent(trail.value("energy_per_loss"))
    if energy is not None:
        # The straight line that gives the energy runs below nothing for a great loss; nothing is left then.
        words["energy_percent"] = trail.words.figure(max(energy, Fraction(0)), (trail.value("dead_energy_percent"),))
    return words


def _weigh(trail: Trail, comparison: Comparison, words: dict[str, str]) -> Measured:
    loss = 100 * comparison.loss
    energy = comparison.energy_percent(trail.value("energy_per_loss"))
    values: dict[str, Scalar] = {
        "kind": comparison.kind.value if comparison.kind else "unnamed",
        "loss_percent": float(loss),
        "settling": _is_settling(trail, comparison),
        "estimated": comparison.baseline.estimated or comparison.reading.estimated,
    }
    if energy is not None:
        values["energy_percent"] = float(energy)
    row = trail.fire_one("reading", values)
    trail.write(row, _rounded(values), words=words)
    _judge_quality(trail, comparison, words)
    shown = energy if comparison.kind else None
    return Measured(str(row.gives["measured"]), loss, shown, words["loss_percent"], bool(row.gives.get("slipped")))


def _rounded(values: Mapping[str, Scalar]) -> dict[str, Scalar]:
    return {name: round(value, 3) if isinstance(value, float) else value for name, value in values.items()}


def _is_settling(trail: Trail, comparison: Comparison) -> bool:
    strung = trail.facts.strung_on
    if strung is None:
        return False
    baseline_day = comparison.baseline.taken_on
    just_strung = baseline_day is None or baseline_day <= strung.day
    age = (comparison.taken_on(trail.facts.today) - strung.day).days
    return just_strung and 0 <= age <= trail.value("settling_days")


def _judge_quality(trail: Trail, comparison: Comparison, words: dict[str, str]) -> None:
    reach = trail.value("too_close_units") + ROUNDING
    reading = float(mean(comparison.reading))
    values: dict[str, Scalar] = {
        "too_close": any(abs(reading - comparison.line(line)) <= reach for line in _lines(trail, comparison)),
        "repeats": len(comparison.reading.values),
        "instruments_apart": False,
    }
    words = {
        **words,
        "repeats": trail.words.number(len(comparison.reading.values)),
        "spread": trail.words.decimal(spread(comparison.reading), 2),
    }
    for row in trail.fire("reading_quality", values):
        trail.write(row, values, words=words)


ROUNDING = 1e-9
"""Two figures closer than this are one: the line of a frequency is a square root."""


def _lines(trail: Trail, comparison: Comparison) -> tuple[float, ...]:
    """Return the losses in per cent at which the answer changes for this instrument."""
    worn, dead = trail.value("worn_loss_percent"), trail.value("dead_loss_percent")
    if comparison.energy_percent(1) is not None:
        dead = (100 - trail.value("dead_energy_percent")) / trail.value("energy_per_loss")
    return worn, dead


def _tell_different_stories(trail: Trail, comparisons: tuple[Comparison, ...]) -> bool:
    losses = [100 * comparison.loss for comparison in comparisons]
    if max(losses) - min(losses) <= exact(trail.value("instruments_apart_points")):
        return False
    values: dict[str, Scalar] = {"instruments_apart": True, "repeats": 1, "too_close": False}
    told = " and ".join(f"{trail.words.decimal(loss)} %" for loss in losses)
    for row in trail.fire("reading_quality", values):
        trail.write(row, values, words={"losses": told})
    return True
