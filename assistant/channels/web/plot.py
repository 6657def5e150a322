"""Readings over time against their thresholds as a drawing: every place worked out here, drawn by a template."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

WIDTH, HEIGHT = 640.0, 300.0
LEFT, RIGHT, TOP, BOTTOM = 56.0, 132.0, 16.0, 44.0
FREQUENCY, DEFLECTION = "frequency", "deflection"
LEAST_DAYS = 30
ROOM = 0.08
"""Part of the height left free above and below."""
STEPS = (1, 2, 5)
TICKS = 5
AHEAD, BEYOND, FURTHEST = 1.25, 1.1, 4
"""How far the drawing goes: beyond today, beyond the day the strings are foreseen to be dead, and at the most."""


@dataclass(frozen=True)
class Measured:
    """The mean of one reading."""

    day: dt.date
    value: float
    spread: float = 0.0


@dataclass(frozen=True)
class Series:
    """The readings of one stringing by one instrument."""

    kind: str | None
    unit: str | None
    instrument: str | None
    strung_on: dt.date
    baseline: float | None
    readings: tuple[Measured, ...]


@dataclass(frozen=True)
class Mark:
    """A place on the drawing with its text."""

    x: float
    y: float
    text: str


@dataclass(frozen=True)
class Line:
    """A threshold: the value at which strings count as worn, or as dead."""

    name: str
    value: float
    y: float
    text_y: float
    """Where its name stands: moved a little where two names would lie on each other."""


@dataclass(frozen=True)
class Plot:
    """A drawing in its own measures, WIDTH by HEIGHT."""

    series: Series
    dots: tuple[Mark, ...]
    path: str
    lines: tuple[Line, ...]
    days: tuple[Mark, ...]
    values: tuple[Mark, ...]
    band: str
    """The range of the forecast as a polygon; empty where nothing is foreseen."""
    expected: str
    today_x: float
    width: float = WIDTH
    height: float = HEIGHT
    left: float = LEFT
    right: float = WIDTH - RIGHT
    top: float = TOP
    bottom: float = HEIGHT - BOTTOM


def group_readings(readings: Iterable[Any], strung_on: dt.date) -> tuple[Series, ...]:
    """Return the readings of one stringing by instrument, each against its own latest baseline."""
    groups: dict[tuple[str | None, str | None, str | None], list[Any]] = {}
    for row in readings:
        groups.setdefault((row.kind, row.unit, row.instrument), []).append(row)
    found = []
    for (kind, unit, instrument), rows in groups.items():
        fresh = [row for row in rows if row.role == "baseline"]
        measured = [Measured(row.taken_on, _mean(row.values), max(row.values) - min(row.values)) for row in rows]
        baseline = _mean(fresh[-1].values) if fresh else None
        ordered = tuple(sorted(measured, key=lambda one: one.day))
        found.append(Series(kind, unit, instrument, strung_on, baseline, ordered))
    return tuple(found)


def find_thresholds(series: Series, figures: Mapping[str, float]) -> dict[str, float]:
    """Return the readings at which the strings count as worn and as dead, in the instrument's own unit.

    On a deflection meter strings are dead below an energy, which is linear in the loss; tension goes with the square
    of a frequency (string formula), so the reading falls with the root of what is left.
    """
    if series.baseline is None:
        return {}
    dead = figures["dead_loss_percent"]
    if series.kind == DEFLECTION:
        dead = (100 - figures["dead_energy_percent"]) / figures["energy_per_loss"]
    return {
        "worn": after_loss(series, figures["worn_loss_percent"]),
        "dead": after_loss(series, dead),
    }


def after_loss(series: Series, percent: float) -> float:
    """Return what the instrument would read after so much loss."""
    left = max(1 - percent / 100, 0.0)
    return (series.baseline or 0.0) * (math.sqrt(left) if series.kind == FREQUENCY else left)


def draw(
    series: Series, thresholds: Mapping[str, float], today: dt.date, curve: Sequence[Mapping[str, Any]] = ()
) -> Plot:
    """Return the drawing of one series.

    Args:
        series: the readings.
        thresholds: readings by name at which a line is drawn.
        today: the day marked as today.
        curve: points of a forecast: {"days", "loss_percent": {"low", "expected", "high"}}; may be empty.
    """
    so_far = max(
        [LEAST_DAYS, (today - series.strung_on).days, *((one.day - series.strung_on).days for one in series.readings)]
    )
    last = round(max(so_far * AHEAD, min(_day_dead(series, thresholds, curve) * BEYOND, so_far * FURTHEST)))
    seen = [point for point in curve if point["days"] <= last] if series.baseline else []
    values = [one.value for one in series.readings] + list(thresholds.values())
    low, high = min(values), max(values)
    pad = (high - low) * ROOM or 1.0
    low, high = low - pad, high + pad

    def x(days: float) -> float:
        return round(LEFT + (WIDTH - LEFT - RIGHT) * days / last, 1)

    def y(value: float) -> float:
        inside = min(max(value, low), high)
        return round(TOP + (HEIGHT - TOP - BOTTOM) * (high - inside) / (high - low), 1)

    places = [(x((each.day - series.strung_on).days), y(each.value), each) for each in series.readings]
    return Plot(
        series=series,
        dots=tuple(Mark(at, over, f"{one.value:.4g}") for at, over, one in places),
        path=" ".join(f"{at},{over}" for at, over, _ in places),
        lines=_place_lines(thresholds, y),
        days=tuple(Mark(x(day), HEIGHT - BOTTOM, f"{day}") for day in _ticks(0, last)),
        values=tuple(Mark(LEFT, y(value), f"{value:g}") for value in _ticks(low, high)),
        band=_band(series, seen, x, y),
        expected=" ".join(
            f"{x(point['days'])},{y(after_loss(series, point['loss_percent']['expected']))}" for point in seen
        ),
        today_x=x((today - series.strung_on).days),
    )


def _day_dead(series: Series, thresholds: Mapping[str, float], curve: Sequence[Mapping[str, Any]]) -> float:
    """Return the days since stringing at which the strings are foreseen to be dead; 0 where they are not."""
    for point in curve if series.baseline and "dead" in thresholds else ():
        if after_loss(series, point["loss_percent"]["expected"]) <= thresholds["dead"]:
            return float(point["days"])
    return 0.0


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values)


def _place_lines(thresholds: Mapping[str, float], y: Callable[[float], float]) -> tuple[Line, ...]:
    lines: list[Line] = []
    for name, value in sorted(thresholds.items(), key=lambda pair: -pair[1]):
        at = y(value)
        text_y = max(at, lines[-1].text_y + 34) if lines else at
        lines.append(Line(name, round(value, 1), at, text_y))
    return tuple(lines)


def _band(
    series: Series, seen: Sequence[Mapping[str, Any]], x: Callable[[float], float], y: Callable[[float], float]
) -> str:
    upper = [(x(point["days"]), y(after_loss(series, point["loss_percent"]["low"]))) for point in seen]
    lower = [(x(point["days"]), y(after_loss(series, point["loss_percent"]["high"]))) for point in reversed(seen)]
    return " ".join(f"{at},{over}" for at, over in (*upper, *lower))


def _ticks(low: float, high: float) -> list[float]:
    """Return a few round numbers inside a range."""
    rough = (high - low) / TICKS
    power = 10 ** math.floor(math.log10(rough))
    step = next((power * one for one in STEPS if power * one >= rough), power * 10)
    first = math.ceil(low / step)
    return [round(step * number, 10) for number in range(first, math.floor(high / step) + 1)]
