"""The durable engine and the plain evaluator fire the same rows, whatever they are given."""

from __future__ import annotations

import itertools
import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.chain import decide
from rules.coverage import list_combinations
from rules.facts import Facts
from rules.rulebook import load_book
from tests.rules.editions import ENGINES
from tests.strategies import facts, table_values

DURABLE, PLAIN = ENGINES
BOOK = load_book()
each_table = pytest.mark.parametrize("table", list(BOOK.tables))


def test_durable_runs_here() -> None:
    """The comparison is one of two engines, not of one with itself."""
    assert [engine.name for engine in ENGINES] == ["durable", "plain"]


@each_table
def test_every_combination_fires_the_same_rows(table: str) -> None:
    """The whole grid of a table: every value, every line and the room between lines."""
    for combination in list_combinations(BOOK, BOOK.tables[table]):
        assert DURABLE.fire(BOOK, table, combination) == PLAIN.fire(BOOK, table, combination), combination


@each_table
def test_each_input_may_be_unknown(table: str) -> None:
    """A value left out fires only rows that do not read it, in both engines."""
    for combination in itertools.islice(list_combinations(BOOK, BOOK.tables[table]), 0, None, 97):
        for name in combination:
            values = {key: value for key, value in combination.items() if key != name}
            fired = DURABLE.fire(BOOK, table, values)
            assert fired == PLAIN.fire(BOOK, table, values)
            assert all(name not in row.when for row in fired)


@each_table
@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_odd_values_fire_the_same_rows(table: str, data: st.DataObject) -> None:
    """Neighbours of a line, tiny numbers, true for one, words for numbers: no look-alike counts in either engine."""
    values = data.draw(table_values(BOOK.tables[table]))
    assert DURABLE.fire(BOOK, table, values) == PLAIN.fire(BOOK, table, values)


@given(known=facts())
@settings(max_examples=120, deadline=None)
def test_random_facts_get_the_same_bytes(known: Facts) -> None:
    """End to end, from any facts to the JSON of the decision."""
    first, second = (json.dumps(decide(known, BOOK, engine).to_dict()) for engine in ENGINES)
    assert first == second


@pytest.mark.parametrize(
    "value", [float("nan"), float("inf"), float("-inf"), 1e-300, 10**400, True, "20", "abc"], ids=repr
)
def test_numbers_no_engine_likes_fire_the_same_rows(value: Any) -> None:
    """Not a number, infinity, a number too large to be one, and words: the same answer from both."""
    for name in ("loss_percent", "energy_percent"):
        values = {"kind": "stiffness", "settling": False, "estimated": False, "loss_percent": 5.0, name: value}
        assert DURABLE.fire(BOOK, "reading", values) == PLAIN.fire(BOOK, "reading", values)
