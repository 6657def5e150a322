"""The rulebook as one frozen object, read strictly from YAML; decides nothing itself."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from rules.book_format import (
    NEEDED_LIMITS,
    NEEDED_VALUES,
    OPTIONAL_TABLES,
    OUTPUTS,
    SourceSpec,
    ValuesSpec,
    check_spec,
    read_yaml,
)
from rules.errors import BookError
from rules.facts import Limits
from rules.table_reader import OWN_FILE, TableReader
from rules.tables import Row, Table
from rules.words_format import check_words

BOOK_FOLDER = Path(__file__).parent / "book"
TABLE_FILES = ("interval.yaml", "readings.yaml", "verdict.yaml", "cautions.yaml")
OPTIONAL_FILES = (OWN_FILE, "advice.yaml")
"""A book may do without: a shop that has no rows of its own, an edition from before there were any."""
BOOK_FILES = ("sources.yaml", "values.yaml", "words.yaml", *TABLE_FILES)
LAST_YEAR = 2200
"""No limit goes further, so that a date some centuries of months later is still in the calendar."""


TELL = "tell"
"""What an edition does with a forecast that says nothing of it."""


@dataclass(frozen=True)
class Rulebook:
    """All tables, numbers, words and sources of one edition of the rules."""

    tables: Mapping[str, Table]
    values: Mapping[str, float]
    limits: Limits
    words: Mapping[str, Any]
    policies: Mapping[str, bool]
    """Published advice by name, and whether this shop has switched it on."""
    forecast: str
    """What this shop does where a forecast parts from the chart: silent, tell or offer."""
    content: Mapping[str, Any] = field(repr=False, compare=False)
    """The YAML content as read, so that an edition can be stored and loaded again."""
    hash: str = ""

    @cached_property
    def text(self) -> str:
        """The content as the one text in which an edition is stored."""
        return json.dumps(dict(self.content), sort_keys=True, ensure_ascii=False)

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


def list_rows(content: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Yield every row as written, in the order of the book's files; the content must have been read as a book."""
    for file in (*TABLE_FILES, *OPTIONAL_FILES):
        for table in content.get(file, {}).get("tables", ()):
            yield from table["rows"] or ()


@lru_cache(maxsize=4)
def load_book(folder: Path = BOOK_FOLDER) -> Rulebook:
    """Return the rulebook of a folder.

    Raises:
        BookError: names the file, the row or key, and what to do.
    """
    own = [name for name in OPTIONAL_FILES if (folder / name).exists()]
    return build_book({name: read_yaml(folder / name) for name in (*BOOK_FILES, *own)})


def build_book(content: Mapping[str, Any]) -> Rulebook:
    """Return the rulebook made of the content of its files, as kept in `Rulebook.content`.

    Raises:
        BookError: names the file, the row or key, and what to do.
    """
    for name in BOOK_FILES:
        if name not in content:
            raise BookError(name, "file", "is missing from the stored rulebook; put it back")
    sources = _read_sources(content["sources.yaml"])
    numbers = _read_numbers(content["values.yaml"], sources)
    values = {name: float(spec.value) for name, spec in numbers.values.items()}
    policies = {name: spec.enabled for name, spec in numbers.policies.items()}
    return Rulebook(
        tables=_read_tables(TableReader(sources, values, policies), content),
        values=values,
        limits=Limits(
            {name: (float(spec.low), float(spec.high)) for name, spec in numbers.limits.items()},
            {name: spec.day for name, spec in numbers.approximate_days.items()},
        ),
        words=check_words("words.yaml", content["words.yaml"]),
        policies=policies,
        forecast=numbers.forecast["beside_the_chart"].handling if numbers.forecast else TELL,
        content=dict(content),
        hash=_hash(content),
    )


def _read_tables(reader: TableReader, content: Mapping[str, Any]) -> dict[str, Table]:
    tables: dict[str, Table] = {}
    for file in (*TABLE_FILES, *(name for name in OPTIONAL_FILES if name in content)):
        for table in reader.read_file(file, content[file]):
            if table.name in tables:
                raise BookError(file, table.name, "a table of this name stands twice; rename one")
            tables[table.name] = table
    for name in OUTPUTS:
        if name not in OPTIONAL_TABLES and name not in tables:
            message = "this table is missing; the rules need it, so put it back"
            raise BookError(_file_of(name), name, message)
    return tables


def _file_of(table: str) -> str:
    """Return the file of the book that comes along in which a table stands."""
    content = ((file, read_yaml(BOOK_FOLDER / file)) for file in TABLE_FILES)
    return next(file for file, data in content if table in {one["table"] for one in data["tables"]})


def _hash(content: Mapping[str, Any]) -> str:
    text = json.dumps(content, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _require(file: str, where: str, names: Iterable[str], present: Mapping[str, Any]) -> None:
    for name in names:
        if name not in present:
            raise BookError(file, where, f"{name} is missing; the rules need it, so add it")


def _read_sources(data: Any) -> dict[str, str]:
    entries = data.get("sources") if isinstance(data, dict) else None
    if not isinstance(entries, dict):
        raise BookError("sources.yaml", "sources", "must list the sources by id; begin it with sources:")
    for name in entries:
        if not isinstance(name, str):
            raise BookError("sources.yaml", str(name), "a source's id must be a word; put it in quotes")
    return {name: check_spec("sources.yaml", name, SourceSpec, entry).cite for name, entry in entries.items()}


def _read_numbers(data: Any, sources: Mapping[str, str]) -> ValuesSpec:
    file = "values.yaml"
    numbers = check_spec(file, "file", ValuesSpec, data)
    for group in (numbers.values, numbers.limits, numbers.approximate_days, numbers.policies, numbers.forecast):
        for name, spec in group.items():
            if spec.source not in sources:
                raise BookError(file, name, f"source {spec.source!r} is not in sources.yaml; add it there")
    _require(file, "values", NEEDED_VALUES, numbers.values)
    _require(file, "limits", NEEDED_LIMITS, numbers.limits)
    if numbers.values["energy_per_loss"].value == 0:
        raise BookError(file, "energy_per_loss", "is 0, so energy would never fall; give a number above 0")
    if numbers.values["worn_loss_percent"].value > numbers.values["dead_loss_percent"].value:
        raise BookError(
            file, "worn_loss_percent", "is more than dead_loss_percent; strings are worn before dead, so lower it"
        )
    if numbers.limits["year"].high > LAST_YEAR:
        raise BookError(file, "year", f"goes past {LAST_YEAR}; lower its high")
    return numbers
