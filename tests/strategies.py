"""Builders for random facts: JSON that parsing accepts, the facts it gives, and JSON of any kind at all."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from hypothesis import strategies as st

from rules.facts import Facts, Kind, Level, Material, Season, Sport, Symptom
from rules.intake import parse_facts
from rules.rulebook import load_book
from rules.tables import Table

LIMITS = load_book().limits
FIRST_DAY, LAST_DAY = dt.date(1980, 1, 1), dt.date(2090, 12, 31)
LONGEST_AGE = 1500
"""Days a stringing lies back at the most: beyond, nothing new happens."""
ASKED_FACTS = (
    "level",
    "mains_material",
    "crosses_material",
    "plays_per_week",
    "strung_on",
    "league_start",
    "label_due",
)


def _values(choices: Any) -> st.SearchStrategy[str]:
    return st.sampled_from([choice.value for choice in choices])


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers as people say them: whole, or with two places."""
    return st.one_of(
        st.integers(int(low), int(high)).map(float),
        st.integers(int(low * 100), int(high * 100)).map(lambda hundredths: hundredths / 100),
    )


def spans(limit: str) -> st.SearchStrategy[Any]:
    """A number of the limit's range, or a range of two."""
    one = numbers(*LIMITS.ranges[limit])
    return one | st.tuples(one, one).map(lambda pair: {"min": min(pair), "max": max(pair)})


def tensions() -> st.SearchStrategy[Any]:
    """A pull in lb or kg that the limits allow."""
    pounds = st.builds(lambda value: {"value": value, "unit": "lb"}, numbers(15, 90))
    kilos = st.builds(lambda value: {"value": value, "unit": "kg"}, numbers(7, 40))
    return pounds | kilos


def _reading(kind: Kind | None, lowest: float) -> st.SearchStrategy[dict[str, Any]]:
    low, high = LIMITS.ranges[kind.value if kind else "unnamed_reading"]
    value = numbers(max(low, lowest), high)
    figures = st.builds(lambda one: {"value": one}, value) | st.builds(
        lambda several: {"values": several}, st.lists(value, min_size=1, max_size=4)
    )
    extras = st.fixed_dictionaries(
        {},
        optional={
            "taken_on": st.builds(_Ago, st.integers(0, 40)),
            "instrument": st.sampled_from(["bench", "counter"]),
            "estimated": st.booleans(),
        },
    )
    return st.builds(lambda read, more: {"kind": kind.value if kind else None, **read, **more}, figures, extras)


def readings(*, lowest: float = 0.0) -> st.SearchStrategy[list[dict[str, Any]]]:
    """One or two readings in the unit of their kind, with repeats, a day or an instrument now and then."""
    return st.lists(st.one_of([_reading(kind, lowest) for kind in (None, *Kind)]), min_size=1, max_size=2)


@dataclass(frozen=True)
class _Ago:
    """A day so many days before today (after it, if negative), to be said in some layout."""

    days: int
    layout: str = "%Y-%m-%d"

    def say(self, today: dt.date) -> Any:
        """Return the day as facts JSON holds it."""
        text = (today - dt.timedelta(days=self.days)).strftime(self.layout)
        return text if self.layout == "%Y-%m-%d" else {"value": text, "approx": True}


def days_ago(earliest: int, latest: int) -> st.SearchStrategy[Any]:
    """A day within so many days before today: exact, or as a month or a year."""
    return st.builds(_Ago, st.integers(earliest, latest), st.sampled_from(["%Y-%m-%d", "%Y-%m-%d", "%Y-%m", "%Y"]))


def _resolve(value: Any, today: dt.date) -> Any:
    """Return the value with every day told from today."""
    if isinstance(value, _Ago):
        return value.say(today)
    if isinstance(value, list):
        return [_resolve(one, today) for one in value]
    if isinstance(value, dict):
        return {name: _resolve(one, today) for name, one in value.items()}
    return value


SPANS_OF_TIME = st.builds(
    lambda count, unit: {"value": f"-P{count}{unit}", "approx": True}, st.integers(0, 40), st.sampled_from("MW")
)
GIVEN = st.fixed_dictionaries(
    {},
    optional={
        "level": _values(Level),
        "plays_per_week": spans("plays_per_week"),
        "hours_per_play": spans("hours_per_play"),
        "hours_per_week": spans("hours_per_week"),
        "season": _values(Season),
        "mains_material": _values(Material),
        "crosses_material": _values(Material) | st.just("same_as_mains"),
        "hybrid": st.booleans(),
        "mains_tension": tensions(),
        "crosses_tension": tensions() | st.just("same_as_mains"),
        "strung_on": days_ago(0, LONGEST_AGE) | SPANS_OF_TIME,
        "label_due": days_ago(-730, 730),
        "league_start": days_ago(-730, 730),
        "baseline": readings(lowest=1),
        "reading": readings(),
        "breaks_strings": st.booleans(),
        "symptoms": st.lists(_values(Symptom), max_size=3),
        "sport": _values(Sport),
        "unknown": st.lists(st.sampled_from(ASKED_FACTS), unique=True, max_size=4),
        "words": st.dictionaries(st.sampled_from(ASKED_FACTS), st.text(max_size=20), max_size=2),
    },
)


def facts_json(*, today: dt.date | None = None) -> st.SearchStrategy[dict[str, Any]]:
    """Facts JSON that parsing accepts, with its own today; any fact may be missing or declared unknown."""
    days = st.just(today) if today else st.dates(FIRST_DAY, LAST_DAY)
    return st.builds(lambda given, day: {**_resolve(given, day), "today": day.isoformat()}, GIVEN, days)


def facts(*, today: dt.date | None = None) -> st.SearchStrategy[Facts]:
    """Facts as parsing gives them."""
    return facts_json(today=today).map(lambda raw: parse_facts(raw, today=FIRST_DAY, limits=LIMITS))


@st.composite
def chart_facts(draw: st.DrawFn, *, today: dt.date) -> Facts:
    """Facts that the chart can decide: level, both strings, plays and an exact stringing day."""
    raw = {
        "level": draw(_values(Level)),
        "mains_material": draw(_values(Material)),
        "crosses_material": draw(_values(Material)),
        "plays_per_week": draw(spans("plays_per_week")),
        "strung_on": (today - dt.timedelta(days=draw(st.integers(0, 500)))).isoformat(),
    }
    return parse_facts(raw, today=today, limits=LIMITS)


def any_json() -> st.SearchStrategy[Any]:
    """Any JSON value at all, with the numbers that JSON readers of this language let through."""
    leaf = st.one_of(
        st.none(),
        st.booleans(),
        st.integers(),
        st.floats(),
        st.text(max_size=20),
        st.sampled_from(["2026-02-30", "-P6M", "P9999Y", "same_as_mains", "٢٠٢٦", "polyester"]),
    )
    return st.recursive(
        leaf, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=10), inner, max_size=4)
    )


def table_values(table: Table) -> st.SearchStrategy[dict[str, Any]]:
    """Values for a table's inputs: possible ones, their neighbours, look-alikes of another kind, or none."""
    choices = {}
    for name, column in table.inputs.items():
        if column.one_of:
            likely = st.sampled_from(list(column.one_of))
        else:
            turns = [*table.bounds(name), column.low or 0.0, column.high or 0.0]
            near = st.sampled_from([0.0, 1e-4, -1e-4, 1e-7, -1e-7, 1e-13])
            likely = st.builds(lambda turn, step: turn + step, st.sampled_from(turns), near)
        odd = st.sampled_from(
            [True, False, 0, 1, -0.0, 1e-7, 1e300, "true", "1", "", "no such word", 'a "quote" \\ {$ex}']
        )
        choices[name] = st.one_of(likely, likely, likely, odd)
    return st.fixed_dictionaries({}, optional=choices)
