"""Turns the figures of a match into the value of a slot; knows units and ranges, not words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from dialogue.understanding.cuebook import Hit

WEEKS_A_YEAR = 52
MONTHS_A_YEAR = 12
DAYS_A_WEEK = 7
MINUTES_AN_HOUR = 60
LONGEST_IN_HOURS = 12
"""A bare number above this, said of one session, means minutes."""

Value = Any


def convert(hit: Hit) -> Value:
    """Return the value a row gives for a match: its own, or the figures through its converter; None refuses."""
    if hit.row.reads is None:
        return hit.row.value
    if not (hit.groups.get("n") or hit.groups.get("ord")):
        return None
    return CONVERTERS[hit.row.reads](hit)


def figures(hit: Hit) -> tuple[float, float | None]:
    """Return the number of a match and the upper end where it is a range."""
    low = float(hit.groups.get("n") or 0)
    high = hit.groups.get("m")
    if high is None or float(high) == low:
        return low, None
    return low, float(high)


def tidy(number: float) -> float:
    """Return a figure rounded to two places, whole where it is whole."""
    rounded = round(number, 2)
    return int(rounded) if rounded == int(rounded) else rounded


def spread(low: float, high: float | None) -> Value:
    """Return a figure or a range; a falling range is a slip of the tongue, of which the last figure counts."""
    if high is None:
        return tidy(low)
    if high < low:
        return tidy(high)
    return {"min": tidy(low), "max": tidy(high)}


def _scaled(factor: float) -> Callable[[Hit], Value]:
    def scale(hit: Hit) -> Value:
        low, high = figures(hit)
        return spread(low * factor, None if high is None else high * factor)

    return scale


def _first(hit: Hit) -> Value:
    return tidy(float(hit.groups.get("n") or 0))


def _between(days: float) -> Callable[[Hit], Value]:
    def invert(hit: Hit) -> Value:
        if hit.groups.get("ord"):
            return tidy(DAYS_A_WEEK / (float(hit.groups["ord"] or 1) * days))
        low, high = figures(hit)
        if low <= 0:
            return None
        if high is None or high <= low:
            return tidy(DAYS_A_WEEK / (low * days))
        return spread(DAYS_A_WEEK / (high * days), DAYS_A_WEEK / (low * days))

    return invert


def _times_in(days: float) -> Callable[[Hit], Value]:
    def divide(hit: Hit) -> Value:
        times, spans = float(hit.groups["n"] or 0), float(hit.groups["m"] or 0)
        return tidy(times * DAYS_A_WEEK / (spans * days)) if spans > 0 else None

    return divide


def _hours_or_minutes(hit: Hit) -> Value:
    low, high = figures(hit)
    factor = 1 / MINUTES_AN_HOUR if low > LONGEST_IN_HOURS else 1
    return spread(low * factor, None if high is None else high * factor)


def _hours_minutes(hit: Hit) -> Value:
    hours, minutes = (1, hit.groups["n"]) if hit.groups.get("m") is None else (hit.groups["n"], hit.groups["m"])
    return tidy(float(hours or 0) + float(minutes or 0) / MINUTES_AN_HOUR)


def _count(hit: Hit) -> Value:
    if not hit.groups.get("n"):
        return int(hit.groups["ord"] or 0)
    low, _ = figures(hit)
    return int(low) if low == int(low) else None


CONVERTERS: dict[str, Callable[[Hit], Value]] = {
    "plain": lambda hit: tidy(figures(hit)[0]),
    "per_week": _scaled(1),
    "per_fortnight": _scaled(0.5),
    "per_month": _scaled(MONTHS_A_YEAR / WEEKS_A_YEAR),
    "per_year": _scaled(1 / WEEKS_A_YEAR),
    "days_between": _between(1),
    "weeks_between": _between(DAYS_A_WEEK),
    "months_between": _between(DAYS_A_WEEK * WEEKS_A_YEAR / MONTHS_A_YEAR),
    "per_weeks": _times_in(DAYS_A_WEEK),
    "per_days": _times_in(1),
    "hours": _scaled(1),
    "minutes": _scaled(1 / MINUTES_AN_HOUR),
    "hours_or_minutes": _hours_or_minutes,
    "hours_minutes": _hours_minutes,
    "count": _count,
    "first": _first,
}
"""A converter for every `reads:` of the simple slots."""
