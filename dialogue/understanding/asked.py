"""Reads a lone figure, or days of the week, as the answer to the question that was asked; decides nothing else."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from dialogue.understanding.convert import LONGEST_IN_HOURS, MINUTES_AN_HOUR, Value, tidy
from dialogue.understanding.cuebook import Hit
from dialogue.understanding.cues import Scan
from dialogue.understanding.found import Found, overlaps
from dialogue.understanding.sides import TensionLimits

LONE = 0.85
"""A figure that is understood only because it was asked for."""
FIGURES = frozenset({"plays_per_week", "hours_per_play", "racquet_count", "mains_tension", "crosses_tension"})


def read_asked(scan: Scan, settled: Sequence[Hit], found: Collection[str], limits: TensionLimits) -> list[Found]:
    """Return the value of the asked slot where no cue gave it, but one figure or some days stand there."""
    asked = scan.asked
    if asked not in FIGURES or asked in found:
        return []
    if asked == "plays_per_week" and (days := _days(scan)):
        return [days]
    taken = [hit.span for hit in settled]
    lone = [
        span
        for span in scan.line.numbers
        if not scan.blocked(asked, span)
        and not scan.blocked("tension" if asked.endswith("tension") else asked, span)
        and not scan.is_negated(span)
        and not any(overlaps(span, other) for other in taken)
    ]
    if len(lone) != 1:
        return []
    value = _value(asked, float(scan.line.text[slice(*lone[0])]), limits)
    return [] if value is None else [Found(asked, value, lone[0], "asked.lone_figure", LONE)]


def _value(asked: str, number: float, limits: TensionLimits) -> Value:
    if asked.endswith("tension"):
        unit, _ = limits.unit_of(number, None, badminton=False)
        return {"value": tidy(number), "unit": unit}
    if asked == "hours_per_play" and number > LONGEST_IN_HOURS:
        return tidy(number / MINUTES_AN_HOUR)
    if asked == "racquet_count":
        return int(number) if number == int(number) else None
    return tidy(number)


def _days(scan: Scan) -> Found | None:
    hits = [hit for hit in scan.role("plays_per_week", "weekday") if not scan.is_negated(hit.span)]
    days = {hit.row.value for hit in hits}
    if not days:
        return None
    return Found("plays_per_week", len(days), (hits[0].span[0], hits[-1].span[1]), "asked.days", LONE)
