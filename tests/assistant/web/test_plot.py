"""The drawing of readings: thresholds against worked values, every place inside the frame."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.channels.web.plot import HEIGHT, WIDTH, Measured, Series, draw, find_thresholds, group_readings

STRUNG = dt.date(2026, 7, 1)
FIGURES = {"worn_loss_percent": 10.0, "dead_loss_percent": 20.0, "dead_energy_percent": 50.0, "energy_per_loss": 2.0}


def series(kind: str | None, *values: float, baseline: float | None = None) -> Series:
    """Return readings thirty days apart."""
    measured = tuple(Measured(STRUNG + dt.timedelta(days=30 * at), value) for at, value in enumerate(values))
    return Series(kind, None, None, STRUNG, baseline or values[0], measured)


@pytest.mark.parametrize(
    ("kind", "fresh", "worn", "dead", "source"),
    [
        ("stiffness", 38, 34.2, 30.4, "10 % and 20 % of 38 kgf/cm"),
        ("pounds", 60, 54, 48, "10 % and 20 % of 60 lb"),
        ("deflection", 55, 49.5, 41.25, "10 %; energy 50 % is a loss of 25 %"),
        ("frequency", 600, 569.210, 536.656, "string formula, T ~ f squared: 600 sqrt(0.9), 600 sqrt(0.8)"),
        (None, 50, 45, 40, "an instrument nobody named, as stiffness"),
    ],
)
def test_thresholds_stand_where_the_loss_is_reached(
    kind: str | None, fresh: float, worn: float, dead: float, source: str
) -> None:
    """In the instrument's own unit."""
    found = find_thresholds(series(kind, fresh), FIGURES)
    assert found["worn"] == pytest.approx(worn, abs=5e-4), source
    assert found["dead"] == pytest.approx(dead, abs=5e-4), source


def test_without_a_baseline_there_are_no_thresholds() -> None:
    """Nothing to lose from."""
    assert find_thresholds(Series("stiffness", None, None, STRUNG, None, (Measured(STRUNG, 30),)), FIGURES) == {}


def test_a_lower_reading_lies_lower_and_a_later_one_further_right() -> None:
    """Screen places grow downwards."""
    one = series("stiffness", 38, 33, 27)
    plot = draw(one, find_thresholds(one, FIGURES), STRUNG + dt.timedelta(days=60))
    assert [dot.y for dot in plot.dots] == sorted(dot.y for dot in plot.dots)
    assert [dot.x for dot in plot.dots] == sorted(dot.x for dot in plot.dots)
    worn, dead = plot.lines
    assert worn.name == "worn"
    assert plot.dots[0].y < worn.y < dead.y < plot.dots[2].y
    assert plot.dots[1].y > worn.y
    assert plot.dots[1].y < dead.y


@given(
    st.lists(st.floats(0.5, 2000), min_size=1, max_size=8),
    st.sampled_from(["deflection", "stiffness", "pounds", "frequency", None]),
    st.integers(0, 4000),
)
def test_everything_lies_inside_the_drawing(values: list[float], kind: str | None, days: int) -> None:
    """Whatever was read, whenever today is."""
    one = series(kind, *values)
    curve = [{"days": day, "loss_percent": {"low": -5.0, "expected": 20.0, "high": 130.0}} for day in (0, 1, 10, 100)]
    plot = draw(one, find_thresholds(one, FIGURES), STRUNG + dt.timedelta(days=days), curve)
    places = [(mark.x, mark.y) for mark in (*plot.dots, *plot.days, *plot.values)]
    places += [tuple(map(float, point.split(","))) for text in (plot.band, plot.expected) for point in text.split()]  # type: ignore[misc]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in places)
    assert len(plot.values) <= 12
    assert len(plot.days) <= 12


def test_the_drawing_goes_on_to_the_day_the_strings_are_foreseen_to_be_dead() -> None:
    """Far enough to see the line crossed, never more than four times what lies behind."""
    one = Series("stiffness", None, None, STRUNG, 40.0, (Measured(STRUNG, 40.0), Measured(STRUNG, 38.0)))
    lines = find_thresholds(one, FIGURES)

    def last_day(dead_on: int) -> int:
        curve = [
            {"days": day, "loss_percent": {"low": loss - 5.0, "expected": loss, "high": loss + 5.0}}
            for day, loss in ((0, 0.0), (40, 10.0), (dead_on, 20.0), (700, 25.0))
        ]
        return int(draw(one, lines, STRUNG + dt.timedelta(days=50), curve).days[-1].text)

    assert 100 <= last_day(120) <= 132
    assert last_day(45) <= 63
    assert last_day(600) <= 200


def test_readings_of_two_instruments_are_drawn_apart() -> None:
    """Unlike instruments are never on one scale; a repeat counts as its mean."""
    rows = [
        SimpleNamespace(kind=kind, unit=None, instrument=None, role=role, values=values, taken_on=STRUNG)
        for kind, role, values in (
            ("stiffness", "baseline", (38.0, 39.0, 40.0)),
            ("deflection", "baseline", (55.0,)),
            ("stiffness", "check", (30.0,)),
        )
    ]
    stiff, soft = group_readings(rows, STRUNG)
    assert stiff.baseline == 39
    assert [one.value for one in stiff.readings] == [39, 30]
    assert soft.baseline == 55
