"""The parts of a decision table: cell, row, input, table; frozen, and ignorant of files and engines."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rules.book_format import Scalar


@dataclass(frozen=True)
class Cell:
    """One condition of a row on one input; an input without a cell may be anything."""

    one_of: tuple[Scalar, ...] = ()
    at_least: float | None = None
    more_than: float | None = None
    at_most: float | None = None
    below: float | None = None

    @property
    def bounds(self) -> tuple[float, ...]:
        """The numbers at which the condition may turn."""
        ends = (self.at_least, self.more_than, self.at_most, self.below)
        named = (float(one) for one in self.one_of if isinstance(one, (int, float)) and not isinstance(one, bool))
        return (*(end for end in ends if end is not None), *named)


@dataclass(frozen=True)
class Row:
    """One row of a table: conditions, result, sentence, source."""

    id: str
    table: str
    order: int
    when: Mapping[str, Cell]
    gives: Mapping[str, Scalar]
    says: str
    source: str
    """The row's sources as one readable citation."""
    asks: tuple[str, ...] = ()
    """Facts the result is computed from."""
    offers: tuple[str, ...] = ()
    """Facts that would make the result firmer."""
    policy: str | None = None
    """The published advice this row is part of, which a shop may switch on."""
    followed: str = ""
    """What the row says in a shop that has switched its advice on."""


@dataclass(frozen=True)
class Input:
    """A column of a table and the values it may take."""

    name: str
    one_of: tuple[Scalar, ...] = ()
    low: float | None = None
    high: float | None = None
    because: str = ""
    derived: bool = False
    """True when the column follows from other columns and is never asked."""

    @property
    def numeric(self) -> bool:
        """Tell whether the column holds numbers from low to high."""
        return not self.one_of


@dataclass(frozen=True)
class Table:
    """A decision table with its hit policy."""

    name: str
    title: str
    hit_policy: str
    complete: bool
    """True when every combination of inputs must be answered by a row."""
    inputs: Mapping[str, Input]
    rows: tuple[Row, ...]
    facts: Mapping[str, str]
    """Why a fact that a row asks for or offers is worth telling, by fact."""

    def bounds(self, name: str) -> tuple[float, ...]:
        """Return the numbers at which any row's condition on a column may turn, in order."""
        cells = (row.when[name] for row in self.rows if name in row.when)
        return tuple(sorted({bound for cell in cells for bound in cell.bounds}))
