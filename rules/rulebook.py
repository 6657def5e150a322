"""The rulebook as frozen tables, read strictly from YAML; decides nothing itself."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from string import Formatter
from typing import Any

from rules.book_format import (
    NEEDED_LIMITS,
    NEEDED_VALUES,
    OUTPUTS,
    PLACEHOLDERS,
    RowSpec,
    Scalar,
    SourceSpec,
    TableSpec,
    ValuesSpec,
    check_spec,
    read_yaml,
)
from rules.errors import BookError
from rules.facts import Limits

BOOK_FOLDER = Path(__file__).parent / "book"
TABLE_FILES = ("interval.yaml", "readings.yaml", "verdict.yaml", "cautions.yaml")

RESERVED = frozenset({"entry", "sid", "id"})
"""Names the engine uses itself."""
ONE_VALUE = (str, bool, int, float)


@dataclass(frozen=True)
class Cell:
    """One condition of a row on one input; an input without a cell may be anything."""

    one_of: tuple[Scalar, ...] = ()
    at_least: float | None = None
    more_than: float | None = None
    at_most: float | None = None
    below: float | None = None


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


@dataclass(frozen=True)
class Table:
    """A decision table with its hit policy."""

    name: str
    title: str
    hit_policy: str
    complete: bool
    inputs: Mapping[str, Input]
    rows: tuple[Row, ...]
    facts: Mapping[str, str]
    """Why a fact that a row asks for or offers is worth telling, by fact."""


@dataclass(frozen=True)
class Rulebook:
    """All tables, numbers, words and sources of one edition of the rules."""

    tables: Mapping[str, Table]
    values: Mapping[str, float]
    limits: Limits
    words: Mapping[str, Any]
    policies: Mapping[str, bool]
    content: Mapping[str, Any] = field(repr=False, compare=False)
    """The YAML content as read, so that an edition can be stored and loaded again."""
    hash: str = ""

    def row(self, row_id: str) -> Row:
        """Return the row of that id.

        Raises:
            KeyError: when no table has it.
        """
        for table in self.tables.values():
            for row in table.rows:
                if row.id == row_id:
                    return row
        raise KeyError(row_id)


@lru_cache(maxsize=4)
def load_book(folder: Path = BOOK_FOLDER) -> Rulebook:
    """Return the rulebook of a folder.

    Raises:
        BookError: names the file, the row or key, and what to do.
    """
    names = ("sources.yaml", "values.yaml", "words.yaml", *TABLE_FILES)
    return build_book({name: read_yaml(folder / name) for name in names})


def build_book(content: Mapping[str, Any]) -> Rulebook:
    """Return the rulebook made of the content of its files, as kept in `Rulebook.content`.

    Raises:
        BookError: names the file, the row or key, and what to do.
    """
    sources = _read_sources(content["sources.yaml"])
    numbers = check_spec("values.yaml", "file", ValuesSpec, content["values.yaml"])
    for group in (numbers.values, numbers.limits, numbers.approximate_days, numbers.policies):
        for name, spec in group.items():
            if spec.source not in sources:
                raise BookError("values.yaml", name, f"source {spec.source!r} is not in sources.yaml; add it there")
    values = {name: float(spec.value) for name, spec in numbers.values.items()}
    _require("values.yaml", "values", NEEDED_VALUES, values)
    _require("values.yaml", "limits", NEEDED_LIMITS, numbers.limits)
    reader = _TableReader(sources, values, {name: spec.enabled for name, spec in numbers.policies.items()})
    tables = {}
    for file in TABLE_FILES:
        for table in reader.read_file(file, content[file]):
            if table.name in tables:
                raise BookError(file, table.name, "a table of this name stands twice; rename one")
            tables[table.name] = table
    _require("book", "tables", OUTPUTS, tables)
    if not isinstance(content["words.yaml"], dict):
        raise BookError("words.yaml", "file", "must hold words by name")
    return Rulebook(
        tables=tables,
        values=values,
        limits=Limits(
            {name: (float(spec.low), float(spec.high)) for name, spec in numbers.limits.items()},
            {name: spec.day for name, spec in numbers.approximate_days.items()},
        ),
        words=content["words.yaml"],
        policies=reader.policies,
        content=dict(content),
        hash=_hash(content),
    )


def _hash(content: Mapping[str, Any]) -> str:
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _require(file: str, where: str, names: Any, present: Any) -> None:
    for name in names:
        if name not in present:
            raise BookError(file, where, f"{name} is missing; the rules need it")


def _read_sources(data: Any) -> dict[str, str]:
    entries = data.get("sources") if isinstance(data, dict) else None
    if not isinstance(entries, dict):
        raise BookError("sources.yaml", "sources", "must list the sources by id")
    return {name: check_spec("sources.yaml", str(name), SourceSpec, entry).cite for name, entry in entries.items()}


@dataclass
class _TableReader:
    """Reads the tables of the book and refuses what a row may not say."""

    sources: Mapping[str, str]
    values: Mapping[str, float]
    policies: Mapping[str, bool]
    seen: set[str] = field(default_factory=set)

    def read_file(self, file: str, data: Any) -> Iterator[Table]:
        """Yield the tables of one file."""
        if not isinstance(data, dict) or not isinstance(data.get("tables"), list) or set(data) != {"tables"}:
            raise BookError(file, "file", "must hold one list called tables")
        for entry in data["tables"]:
            name = entry.get("table", "a table") if isinstance(entry, dict) else "a table"
            spec = check_spec(file, str(name), TableSpec, entry)
            if spec.table not in OUTPUTS:
                raise BookError(file, spec.table, f"unknown table; known are {', '.join(OUTPUTS)}")
            if taken := RESERVED & set(spec.inputs):
                raise BookError(file, spec.table, f"an input may not be called {min(taken)}; give it another name")
            inputs = {
                key: Input(
                    key,
                    tuple(one.one_of),
                    None if one.low is None else float(one.low),
                    None if one.high is None else float(one.high),
                    one.because,
                    one.derived,
                )
                for key, one in spec.inputs.items()
            }
            rows = tuple(self._row(file, spec, inputs, index, row) for index, row in enumerate(spec.rows))
            yield Table(spec.table, spec.title, spec.hit_policy, spec.complete, inputs, rows, spec.facts)

    def _row(self, file: str, table: TableSpec, inputs: Mapping[str, Input], order: int, entry: Any) -> Row:
        name = str(entry.get("id", f"row {order + 1}")) if isinstance(entry, dict) else f"row {order + 1}"
        spec = check_spec(file, name, RowSpec, entry)
        if spec.id in self.seen:
            raise BookError(file, spec.id, "this row id stands twice in the book; give one another id")
        self.seen.add(spec.id)
        self._check_result(file, table.table, spec)
        for source in spec.source:
            if source not in self.sources:
                raise BookError(file, spec.id, f"source {source!r} is not in sources.yaml; add it there")
        if spec.policy is not None and spec.policy not in self.policies:
            raise BookError(file, spec.id, f"policy {spec.policy!r} is not in values.yaml; add it there")
        for fact in (*spec.asks, *spec.offers):
            if not (inputs[fact].because if fact in inputs else table.facts.get(fact)):
                raise BookError(file, spec.id, f"{fact} is asked for, but the table's facts do not say why; add it")
        return Row(
            id=spec.id,
            table=table.table,
            order=order,
            when={key: self._cell(file, spec.id, inputs, key, cell) for key, cell in spec.when.items()},
            gives=spec.gives,
            says=spec.says,
            source="; ".join(self.sources[source] for source in spec.source),
            asks=tuple(fact.value for fact in spec.asks),
            offers=tuple(fact.value for fact in spec.offers),
            policy=spec.policy,
        )

    def _check_result(self, file: str, table: str, spec: RowSpec) -> None:
        allowed = OUTPUTS[table]
        for key, value in spec.gives.items():
            if key not in allowed:
                raise BookError(file, spec.id, f"gives.{key} means nothing here; use {', '.join(allowed)}")
            choices = allowed[key]
            if choices == "value":
                if value not in self.values:
                    raise BookError(file, spec.id, f"gives.{key}: {value!r} is no number of values.yaml; add it there")
            elif not any(value == choice and type(value) is type(choice) for choice in choices):
                options = ", ".join(str(choice) for choice in choices)
                raise BookError(file, spec.id, f"gives.{key}: {value!r} is not possible; use one of {options}")
        try:
            names = {name for _, name, _, _ in Formatter().parse(spec.says) if name is not None}
        except ValueError as error:
            raise BookError(file, spec.id, f"says: {error}; close every brace") from error
        if unknown := names - PLACEHOLDERS[table]:
            known = ", ".join(sorted(PLACEHOLDERS[table]))
            raise BookError(file, spec.id, f"says: nothing fills {{{min(unknown)}}}; use {known}")

    def _cell(self, file: str, row: str, inputs: Mapping[str, Input], key: str, cell: Any) -> Cell:
        if key not in inputs:
            raise BookError(file, row, f"when.{key} is no input of the table; use {', '.join(inputs)}")
        column = inputs[key]
        if isinstance(cell, dict):
            return self._range(file, row, column, cell)
        options = cell if isinstance(cell, list) else [cell]
        if not options:
            raise BookError(file, row, f"when.{key} is an empty list; name a value or remove the cell")
        for option in options:
            if not isinstance(option, ONE_VALUE):
                raise BookError(file, row, f"when.{key}: {option!r} is no plain value; write a word or a number")
            if column.one_of and not any(option == one and type(option) is type(one) for one in column.one_of):
                known = ", ".join(str(one).lower() if isinstance(one, bool) else str(one) for one in column.one_of)
                raise BookError(file, row, f"when.{key}: {option!r} is not possible; use one of {known}")
            if not column.one_of and (isinstance(option, (bool, str))):
                raise BookError(file, row, f"when.{key}: {option!r} is no number")
        return Cell(one_of=tuple(options))

    def _range(self, file: str, row: str, column: Input, cell: Mapping[str, Any]) -> Cell:
        if column.one_of:
            raise BookError(file, row, f"when.{column.name} is no number, so it takes no range; list its values")
        bounds: dict[str, float] = {}
        for key, bound in cell.items():
            if key not in {"at_least", "more_than", "at_most", "below"}:
                raise BookError(
                    file, row, f"when.{column.name}.{key} is unknown; use at_least, more_than, at_most, below"
                )
            if isinstance(bound, str) and bound in self.values:
                bounds[key] = self.values[bound]
            elif isinstance(bound, (int, float)) and not isinstance(bound, bool):
                bounds[key] = float(bound)
            else:
                raise BookError(file, row, f"when.{column.name}.{key}: {bound!r} is no number of values.yaml")
        if not bounds:
            raise BookError(file, row, f"when.{column.name} has no bound; add one or remove the cell")
        return Cell((), *(bounds.get(key) for key in ("at_least", "more_than", "at_most", "below")))
