"""The tables in plain Python: the second opinion on the engine, near misses, and what is still undecided."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.book_format import Scalar
from rules.rulebook import Rulebook
from rules.tables import Cell, Row, Table

Values = Mapping[str, Scalar]
"""Inputs by name; what is not known is left out."""


@dataclass(frozen=True)
class NearMiss:
    """A row that did not fire, and the inputs that stopped it."""

    row: Row
    stopped_by: tuple[str, ...]


def cell_holds(cell: Cell, value: Scalar | None) -> bool | None:
    """Tell whether the condition holds; None when the value is not known."""
    if value is None:
        return None
    if cell.one_of:
        return any(value == one and isinstance(value, bool) == isinstance(one, bool) for one in cell.one_of)
    if isinstance(value, (bool, str)):
        return False
    return (
        (cell.at_least is None or value >= cell.at_least)
        and (cell.more_than is None or value > cell.more_than)
        and (cell.at_most is None or value <= cell.at_most)
        and (cell.below is None or value < cell.below)
    )


def fire_rows(table: Table, values: Values) -> tuple[Row, ...]:
    """Return every row of which all conditions hold, in table order."""
    return tuple(
        row for row in table.rows if all(cell_holds(cell, values.get(name)) for name, cell in row.when.items())
    )


def find_candidates(table: Table, values: Values) -> tuple[Row, ...]:
    """Return every row that nothing known rules out, in table order."""
    return tuple(
        row
        for row in table.rows
        if all(cell_holds(cell, values.get(name)) is not False for name, cell in row.when.items())
    )


def find_near_misses(table: Table, values: Values) -> tuple[NearMiss, ...]:
    """Return the rows that did not fire, those stopped by the fewest inputs first."""
    misses = []
    for row in table.rows:
        stopped = tuple(name for name, cell in row.when.items() if cell_holds(cell, values.get(name)) is not True)
        if stopped:
            misses.append(NearMiss(row, stopped))
    return tuple(sorted(misses, key=lambda miss: (len(miss.stopped_by), miss.row.order)))


class PlainEngine:
    """Fires rows in plain Python: where durable cannot be loaded, and as the other's check."""

    name = "plain"

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order."""
        return fire_rows(book.tables[table], values)
