"""Reads the tables of the rulebook from their YAML content and refuses what a row may not say."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from rules.book_format import (
    COLUMNS,
    LARGEST_NUMBER,
    LONGEST_OWN_MONTHS,
    MOST_ROWS,
    OUTPUTS,
    OWN,
    PLACEHOLDERS,
    WORD,
    InputSpec,
    RowSpec,
    Scalar,
    TableSpec,
    check_spec,
)
from rules.errors import BookError
from rules.intake import GROUP_WORD
from rules.tables import Cell, Input, Row, Table
from rules.words_format import find_placeholders

OWN_FILE = "own.yaml"
BOUNDS = ("at_least", "more_than", "at_most", "below")
ASKED_BY_OWN_ROWS = ("sport", "breaks_strings")
"""Facts that are asked where one of the shop's own rows reads them; the others the chart asks, or the card tells."""
ASKED_WHERE_SAID_WHY = (*ASKED_BY_OWN_ROWS, "group")
"""A group is asked for too, but in editions from before it was, which do not say why."""
NEEDED_BY_RULE: Mapping[str, tuple[str, ...]] = {"months": ("first", "last"), "per_year": ("ceiling",), "league": ()}
"""What a row of the chart must give beside its rule."""


@dataclass
class TableReader:
    """Reads the files of one book; remembers which row ids are taken."""

    sources: Mapping[str, str]
    """Citations by id."""
    values: Mapping[str, float]
    policies: Mapping[str, bool]
    seen: set[str] = field(default_factory=set)

    def read_file(self, file: str, data: Any) -> Iterator[Table]:
        """Yield the tables of one file.

        Raises:
            BookError: names the file, the table or row, and what to do.
        """
        if not isinstance(data, dict) or not isinstance(data.get("tables"), list) or set(data) != {"tables"}:
            raise BookError(file, "file", "must hold one list called tables, and nothing else; begin it with tables:")
        for entry in data["tables"]:
            name = entry.get("table", "a table") if isinstance(entry, dict) else "a table"
            spec = check_spec(file, str(name), TableSpec, entry)
            if spec.table not in OUTPUTS:
                raise BookError(file, spec.table, f"unknown table; use one of {', '.join(OUTPUTS)}")
            if (spec.table == OWN) != (file == OWN_FILE):
                raise BookError(file, spec.table, f"the table {OWN} stands in {OWN_FILE}, alone; move it")
            reader = _RowReader(self, file, spec, _read_inputs(file, spec))
            rows = tuple(reader.read(index, row) for index, row in enumerate(spec.rows or ()))
            facts = {fact.value: why for fact, why in spec.facts.items()}
            yield Table(spec.table, spec.title, spec.hit_policy, spec.complete, reader.inputs, rows, facts)


def _read_inputs(file: str, spec: TableSpec) -> dict[str, Input]:
    return {name: _read_input(file, spec.table, name, column) for name, column in spec.inputs.items()}


def _read_input(file: str, table: str, name: str, column: InputSpec) -> Input:
    known = COLUMNS[table]
    if name not in known:
        raise BookError(file, table, f"inputs.{name} is never told to this table; use {', '.join(known)}")
    values = known[name]
    if values == WORD:
        _check_own_words(file, table, name, column)
        return Input(name, tuple(column.one_of), because=column.because)
    if values == "number" and column.one_of:
        raise BookError(file, table, f"inputs.{name} is a number; give it from and to")
    if values != "number":
        if not column.one_of:
            raise BookError(file, table, f"inputs.{name} is no number; list its values in one_of")
        for option in column.one_of:
            if not _is_among(option, values):
                raise BookError(file, table, f"inputs.{name}: {option!r} cannot be; use {_show(values)}")
    try:
        low, high = (None if end is None else float(end) for end in (column.low, column.high))
    except OverflowError:
        raise BookError(file, table, f"inputs.{name}: from or to is far too long; give a number that can be") from None
    return Input(name, tuple(column.one_of), low, high, column.because, column.derived)


def _check_own_words(file: str, table: str, name: str, column: InputSpec) -> None:
    """Refuse what cannot be the shop's own word for a group of players."""
    if not column.one_of:
        raise BookError(file, table, f"inputs.{name} is no number; list its values in one_of")
    if len(column.one_of) > MOST_ROWS:
        # More than there may be rows; each would make the check of every combination longer.
        raise BookError(file, table, f"inputs.{name} lists more than {MOST_ROWS} words; remove some")
    for option in column.one_of:
        if not isinstance(option, str) or not re.fullmatch(GROUP_WORD, option):
            message = f"inputs.{name}: {option!r} cannot be; write a word in small letters, such as junior"
            raise BookError(file, table, message)


def _is_among(value: Scalar, options: tuple[Scalar, ...]) -> bool:
    """Tell whether a value is one of the options and no look-alike, such as 1 for true."""
    return any(value == option and isinstance(value, bool) == isinstance(option, bool) for option in options)


def _show(values: tuple[Scalar, ...]) -> str:
    return ", ".join(str(one).lower() if isinstance(one, bool) else str(one) for one in values)


@dataclass(frozen=True)
class _RowReader:
    """Reads the rows of one table."""

    book: TableReader
    file: str
    table: TableSpec
    inputs: Mapping[str, Input]

    def read(self, order: int, entry: Any) -> Row:
        """Return one row, or raise a BookError that names it."""
        name = str(entry.get("id", f"row {order + 1}")) if isinstance(entry, dict) else f"row {order + 1}"
        spec = check_spec(self.file, name, RowSpec, entry)
        if spec.id in self.book.seen:
            raise self._problem(spec, "this row id stands twice in the book; give one another id")
        self.book.seen.add(spec.id)
        self._check_result(spec)
        self._check_sentence(spec, "says", spec.says)
        self._check_sentence(spec, "followed", spec.followed)
        self._check_origin(spec)
        return Row(
            id=spec.id,
            table=self.table.table,
            order=order,
            # By name, so that an edition stored with its keys in another order writes the very same trail.
            when={key: self._cell(spec, key, cell) for key, cell in sorted(spec.when.items())},
            gives=dict(sorted(spec.gives.items())),
            says=spec.says,
            source="; ".join(self.book.sources[source] for source in spec.source),
            asks=tuple(fact.value for fact in spec.asks),
            offers=tuple(fact.value for fact in spec.offers),
            policy=spec.policy,
            followed=spec.followed,
        )

    def _problem(self, spec: RowSpec, message: str) -> BookError:
        return BookError(self.file, spec.id, message)

    def _check_origin(self, spec: RowSpec) -> None:
        if self.table.table == OWN:
            self._check_own(spec)
        for source in spec.source:
            if source not in self.book.sources:
                raise self._problem(spec, f"source {source!r} is not in sources.yaml; add it there")
        if spec.policy is not None and spec.policy not in self.book.policies:
            raise self._problem(spec, f"policy {spec.policy!r} is not in values.yaml; add it there")
        for fact in (*spec.asks, *spec.offers):
            if not (self.inputs[fact].because if fact in self.inputs else self.table.facts.get(fact)):
                raise self._problem(spec, f"{fact} is asked for, but the table's facts do not say why; add it")

    def _check_own(self, spec: RowSpec) -> None:
        """Refuse an own row that would count for everybody, or ask without saying why."""
        if not spec.when:
            message = "has no condition, so it would count for everybody; write a line such as when: {group: junior}"
            raise self._problem(spec, message)
        if "strung_on" not in self.table.facts:
            raise self._problem(spec, "the table's facts do not say why strung_on is asked; put facts back")
        for name in spec.when:
            if name in self.inputs and name in ASKED_BY_OWN_ROWS and not self.inputs[name].because:
                raise self._problem(spec, f"{name} is asked for, but inputs.{name} has no because; add it")

    def _check_result(self, spec: RowSpec) -> None:
        allowed = OUTPUTS[self.table.table]
        for key, value in spec.gives.items():
            if key not in allowed:
                raise self._problem(spec, f"gives.{key} means nothing here; use {', '.join(allowed)}")
            self._check_given(spec, key, value, allowed[key])
        for key in self._find_needed(spec):
            if key not in spec.gives:
                raise self._problem(spec, f"gives.{key} is missing; this row needs it, so add it")
        if self.table.table == "interval":
            self._check_interval(spec)

    def _check_given(self, spec: RowSpec, key: str, value: Scalar, choices: tuple[Scalar, ...] | str) -> None:
        if choices == "months":
            if not _is_number(value) or not 0 < float(value) <= LONGEST_OWN_MONTHS:
                message = f"gives.{key}: {value!r} is no number of months; write one up to {LONGEST_OWN_MONTHS}"
                raise self._problem(spec, message)
        elif choices == "value":
            if value not in self.book.values:
                raise self._problem(spec, f"gives.{key}: {value!r} is no number of values.yaml; add it there")
        elif isinstance(choices, tuple) and not _is_among(value, choices):
            raise self._problem(spec, f"gives.{key}: {value!r} is not possible; use one of {_show(choices)}")

    def _find_needed(self, spec: RowSpec) -> tuple[str, ...]:
        """Return the results that a row of this table cannot do without."""
        table = self.table.table
        if table == OWN:
            return ("every_months",)
        if table == "interval":
            return ("rule", *NEEDED_BY_RULE.get(str(spec.gives.get("rule")), ()))
        if table == "due":
            return ("from", "lead") if spec.gives.get("from") == "league_start" else ("from",)
        if table == "others_say":
            return ("ceiling",) if spec.policy else ()
        return {"reading": ("measured",), "stringbed": ("stringbed",), "advise_strings": ("mains", "crosses")}.get(
            table, ()
        )

    def _check_interval(self, spec: RowSpec) -> None:
        if spec.gives["rule"] == "per_year" and "plays_per_week" not in spec.asks:
            raise self._problem(spec, "counts by plays a week, so it asks for plays_per_week; add it to asks")
        if spec.gives["rule"] == "months":
            first, last = (self.book.values[str(spec.gives[end])] for end in ("first", "last"))
            if first > last:
                raise self._problem(spec, f"first is {first:g} and last is {last:g} months; put the smaller first")

    def _check_sentence(self, spec: RowSpec, key: str, text: str) -> None:
        try:
            names = find_placeholders(text)
        except ValueError as error:
            raise self._problem(spec, f"{key}: {error}; close every brace and put only a name in it") from error
        known = PLACEHOLDERS[self.table.table]
        if unknown := names - known - set(self.book.values):
            raise self._problem(
                spec,
                f"{key}: nothing fills {{{min(unknown)}}}; use {', '.join(sorted(known))} or a number of values.yaml",
            )

    def _cell(self, spec: RowSpec, key: str, cell: Any) -> Cell:
        if key not in self.inputs:
            raise self._problem(spec, f"when.{key} is no input of the table; use {', '.join(self.inputs)}")
        column = self.inputs[key]
        if isinstance(cell, dict):
            return self._range(spec, column, cell)
        options = cell if isinstance(cell, list) else [cell]
        if not options:
            raise self._problem(spec, f"when.{key} is an empty list; name a value or remove the cell")
        for option in options:
            if not isinstance(option, (str, bool, int, float)):
                raise self._problem(spec, f"when.{key}: {option!r} is no plain value; write a word or a number")
            if column.one_of and not _is_among(option, column.one_of):
                raise self._problem(spec, f"when.{key}: {option!r} is not possible; use one of {_show(column.one_of)}")
            if column.numeric and not _is_number(option):
                raise self._problem(spec, f"when.{key}: {option!r} is no number; write one")
        return Cell(one_of=tuple(options))

    def _range(self, spec: RowSpec, column: Input, cell: Mapping[str, Any]) -> Cell:
        where = f"when.{column.name}"
        if not column.numeric:
            raise self._problem(spec, f"{where} is no number, so it takes no range; list its values")
        bounds: dict[str, float] = {}
        for key, bound in cell.items():
            if key not in BOUNDS:
                raise self._problem(spec, f"{where}.{key} is unknown; use {', '.join(BOUNDS)}")
            if isinstance(bound, str) and bound in self.book.values:
                bounds[key] = self.book.values[bound]
            elif _is_number(bound):
                bounds[key] = float(bound)
            else:
                raise self._problem(spec, f"{where}.{key}: {bound!r} is no number of values.yaml; add it there")
        if not bounds:
            raise self._problem(spec, f"{where} has no bound; add one or remove the cell")
        return Cell((), *(bounds.get(key) for key in BOUNDS))


def _is_number(value: Any) -> bool:
    """Tell whether a value is a number that can be counted with; the engine does so in floats."""
    if not isinstance(value, (int, float)) or isinstance(value, bool):
        return False
    return math.isfinite(value) if isinstance(value, float) else abs(value) <= LARGEST_NUMBER
