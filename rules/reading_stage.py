"""The third stage: what readings say against their baselines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rules.book_format import Scalar
from rules.facts import Reading
from rules.measurement import Comparison, compare, spread
from rules.trail import Trail

WEIGHT = {"none": 0, "fine": 1, "settling": 2, "worn": 3, "dead": 4}


@dataclass(frozen=True)
class Measured:
    """What the readings amount to."""

    state: str = "none"
    """dead, worn, settling, fine or none."""
    loss_percent: Fraction | None = None
    energy_percent: Fraction | None = None
    slipped: bool = False
    """True when the loss of the first week is more than settling."""


def measure(trail: Trail) -> Measured:
    """Return what the readings say and write their rows to the trail."""
    facts = trail.facts
    if not facts.reading:
        return Measured()
    current = tuple(reading for reading in facts.reading if not _belongs_to_earlier_strings(trail, reading))
    comparisons = compare(facts.baseline, current)
    values: dict[str, Scalar] = {
        "has_reading": True,
        "has_baseline": bool(facts.baseline),
        "same_instrument": bool(comparisons),
        "before_stringing": not current,
    }
    if not comparisons:
        row = trail.fire("comparable", values)[0]
        trail.write(row, values, words={})
        return Measured()
    found = []
    for comparison in comparisons:
        read = {"baseline": comparison.baseline.to_json(), "reading": comparison.reading.to_json()}
        trail.write_with(trail.fire("comparable", values)[0], values, read, _words(trail, comparison))
        found.append(_weigh(trail, comparison))
    if _tell_different_stories(trail, comparisons):
        return Measured()
    return max(found, key=lambda one: WEIGHT[one.state])


def _belongs_to_earlier_strings(trail: Trail, reading: Reading) -> bool:
    strung = trail.facts.strung_on
    return bool(reading.taken_on and strung and not strung.approx and reading.taken_on < strung.day)


def _words(trail: Trail, comparison: Comparison) -> dict[str, str]:
    energy = comparison.energy_percent(trail.value("energy_per_loss"))
    return {
        "baseline": trail.words.reading(comparison.baseline),
        "reading": trail.words.reading(comparison.reading),
        "loss_percent": trail.words.decimal(100 * comparison.loss),
        "energy_percent": "" if energy is None else trail.words.decimal(energy),
    }


def _weigh(trail: Trail, comparison: Comparison) -> Measured:
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
    row = trail.fire("reading", values)[0]
    words = _words(trail, comparison)
    trail.write(row, _rounded(values), words=words)
    _judge_quality(trail, comparison, words)
    shown = energy if comparison.kind else None
    return Measured(str(row.gives["measured"]), loss, shown, bool(row.gives.get("slipped")))


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
    reach = trail.value("too_close_units")
    reading = float(sum(comparison.reading.values)) / len(comparison.reading.values)
    values: dict[str, Scalar] = {
        "too_close": any(
            abs(reading - comparison.line(line)) <= reach + ROUNDING for line in _lines(trail, comparison)
        ),
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


def _lines(trail: Trail, comparison: Comparison) -> tuple[float, ...]:
    """Return the losses in per cent at which the answer changes for this instrument."""
    worn, dead = trail.value("worn_loss_percent"), trail.value("dead_loss_percent")
    if comparison.energy_percent(1) is not None:
        dead = (100 - trail.value("dead_energy_percent")) / trail.value("energy_per_loss")
    return worn, dead


def _tell_different_stories(trail: Trail, comparisons: tuple[Comparison, ...]) -> bool:
    losses = [100 * comparison.loss for comparison in comparisons]
    apart = max(losses) - min(losses) > Fraction(trail.value("instruments_apart_points"))
    if not apart:
        return False
    values: dict[str, Scalar] = {"instruments_apart": True, "repeats": 1, "too_close": False}
    told = " and ".join(f"{trail.words.decimal(loss)} %" for loss in losses)
    for row in trail.fire("reading_quality", values):
        trail.write(row, values, words={"losses": told})
    return True
