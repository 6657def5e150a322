"""Tries every combination of inputs against every table: gaps, overlaps, rows that never count; knows no facts."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction

from rules.book_format import NEEDED_VALUES, Scalar
from rules.evaluator import fire_rows
from rules.measurement import exact
from rules.rulebook import Rulebook, list_rows
from rules.tables import Input, Row, Table
from rules.words_format import find_placeholders

Combination = Mapping[str, Scalar]


class Fault(StrEnum):
    """What can be wrong with a table as a whole."""

    GAP = "gap"
    """No row fires, though the table is marked complete."""
    OVERLAP = "overlap"
    """Rows fire together that may not."""
    NEVER_FIRES = "never_fires"
    """No combination makes the row fire."""
    NEVER_COUNTS = "never_counts"
    """The row fires, but never without an earlier one that takes its place."""


@dataclass(frozen=True)
class CoverageProblem:
    """One fault of one table."""

    fault: Fault
    table: str
    rows: tuple[str, ...] = ()
    combination: tuple[tuple[str, Scalar], ...] = ()
    """The inputs that show it, by name; none for a row that never fires."""

    def describe(self) -> str:
        """Return what is wrong and what to do, in one sentence."""
        case = ", ".join(f"{name} {value}" for name, value in self.combination)
        rows = " and ".join(self.rows)
        return {
            Fault.GAP: f"{self.table}: no row answers {case}; add one",
            Fault.OVERLAP: f"{self.table}: {rows} fire together for {case}; narrow one of them",
            Fault.NEVER_FIRES: f"{self.table}: nothing makes {rows} fire; correct its conditions or remove it",
            Fault.NEVER_COUNTS: f"{self.table}: an earlier row always stands before {rows}; move it up or remove it",
        }[self.fault]


def find_gaps_and_overlaps(book: Rulebook) -> tuple[CoverageProblem, ...]:
    """Return every combination a complete table leaves open, and rows that fire together though they may not.

    Rows that overlap are named once, with the first combination that shows it.
    """
    found: dict[tuple[str, ...], CoverageProblem] = {}
    for table in book.tables.values():
        for combination in list_combinations(book, table):
            fired = fire_rows(table, combination)
            rows = tuple(row.id for row in fired)
            shown = tuple(combination.items())
            if not fired and table.complete:
                found[(table.name, *map(str, shown))] = CoverageProblem(Fault.GAP, table.name, (), shown)
            elif len(fired) > 1 and not _may_stand_together(table, fired):
                found.setdefault(rows, CoverageProblem(Fault.OVERLAP, table.name, rows, shown))
    return tuple(found.values())


def find_dead_rows(book: Rulebook) -> tuple[CoverageProblem, ...]:
    """Return the rows that no combination makes fire, or that never count under their table's hit policy."""
    found = []
    for table in book.tables.values():
        fires: set[str] = set()
        counts: set[str] = set()
        for combination in list_combinations(book, table):
            fired = fire_rows(table, combination)
            fires |= {row.id for row in fired}
            counts |= {row.id for row in (fired if table.hit_policy == "collect" else fired[:1])}
        for row in table.rows:
            if row.id not in fires:
                found.append(CoverageProblem(Fault.NEVER_FIRES, table.name, (row.id,)))
            elif row.id not in counts:
                found.append(CoverageProblem(Fault.NEVER_COUNTS, table.name, (row.id,)))
    return tuple(found)


def _may_stand_together(table: Table, fired: Sequence[Row]) -> bool:
    """Tell whether the hit policy allows these rows to fire together."""
    if table.hit_policy == "unique":
        return False
    return table.hit_policy != "any" or all(row.gives == fired[0].gives for row in fired)


def list_combinations(book: Rulebook, table: Table) -> Iterator[Combination]:
    """Yield every combination of a table's inputs that can happen.

    A number is tried at its ends, at each value where a row turns, and between each two of these; an input
    that follows from others is computed from them.
    """
    computed = {name: DERIVED[name] for name, column in table.inputs.items() if column.derived and name in DERIVED}
    free = [column for name, column in table.inputs.items() if name not in computed]
    options = [_list_options(book, table, column) for column in free]
    for values in itertools.product(*options):
        combination = dict(zip((column.name for column in free), values, strict=True))
        for name, derive in computed.items():
            value = derive(book, combination)
            if value is not None:
                combination[name] = value
        yield combination


def _list_options(book: Rulebook, table: Table, column: Input) -> tuple[Scalar, ...]:
    if column.low is None or column.high is None:
        return column.one_of
    turns = {*table.bounds(column.name), column.low, column.high}
    if column.name == "loss_percent":
        turns |= {_loss_at(book, energy) for energy in table.bounds("energy_percent")}
    points = sorted(turn for turn in turns if column.low <= turn <= column.high)
    return (*points, *((low + high) / 2 for low, high in itertools.pairwise(points)))


def _loss_at(book: Rulebook, energy_percent: float) -> float:
    """Return the loss in per cent at which so much energy is left."""
    return float((100 - exact(energy_percent)) / exact(book.values["energy_per_loss"]))


def _derive_hybrid(_: Rulebook, combination: Combination) -> Scalar | None:
    return combination["mains_material"] != combination["crosses_material"]


def _derive_energy(book: Rulebook, combination: Combination) -> Scalar | None:
    if combination["kind"] not in {"deflection", "unnamed"}:
        return None
    lost = exact(book.values["energy_per_loss"]) * Fraction(combination["loss_percent"])
    return float(100 - lost)


DERIVED: Mapping[str, Callable[[Rulebook, Combination], Scalar | None]] = {
    "hybrid": _derive_hybrid,
    "energy_percent": _derive_energy,
}
"""Columns that follow from others of the same table."""


def find_unused(book: Rulebook) -> tuple[str, ...]:
    """Return the numbers and sources of an edition that nothing uses: a slip of the pen, or left over.

    A number is used by the chain itself, a row's result, a condition or a sentence; a source by a row or a number.
    """
    used = set(NEEDED_VALUES)
    cited: set[str] = set()
    for row in list_rows(book.content):
        cited |= set(row["source"])
        used |= {value for value in row["gives"].values() if isinstance(value, str)}
        used |= find_placeholders(row["says"]) | find_placeholders(row.get("followed", ""))
        for cell in row.get("when", {}).values():
            used |= {bound for bound in cell.values() if isinstance(bound, str)} if isinstance(cell, dict) else set()
    numbers = book.content["values.yaml"]
    for group in ("values", "limits", "approximate_days", "policies", "forecast"):
        cited |= {entry["source"] for entry in numbers.get(group, {}).values()}
    found = [f"values.yaml: {name}: no row uses this number" for name in book.values if name not in used]
    sources = book.content["sources.yaml"]["sources"]
    return (*found, *(f"sources.yaml: {name}: nothing names this source" for name in sources if name not in cited))
