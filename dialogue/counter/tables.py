"""Tables of other programs: encoding, delimiter and heads found out, line by line; knows no customer and no product."""

from __future__ import annotations

import codecs
import csv
import hashlib
import io
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from dialogue.counter.outcomes import Outcome, Remark, refuse
from dialogue.yaml_files import read_yaml

COLUMNS = Path(__file__).with_name("import_columns.yaml")
LARGEST_BYTES = 200_000_000
LONGEST_CELL = 10_000
DELIMITERS = ",;\t|"
MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
FALLBACK = "cp1252"
"""What an older spreadsheet writes where a file is no UTF-8."""


@dataclass(frozen=True)
class Line:
    """One line of a table."""

    number: int
    """Of its first physical line in the file, the head being line 1."""
    cells: Mapping[str, str]
    """By our own name of the column; empty cells are left out."""
    problem: Remark | None = None
    """Why the line as a whole cannot be read."""


@dataclass(frozen=True)
class Table:
    """A file as read."""

    lines: tuple[Line, ...] = field(repr=False)
    fingerprint: str
    """Of the content, so that the same file is known again."""
    encoding: str
    ignored: tuple[str, ...]
    """Heads that name none of our columns."""


@dataclass(frozen=True, kw_only=True)
class LineReport(Outcome):
    """What happened to one line that did not go in as it stands."""

    line: int
    remark: Remark


def read_table(content: bytes, kind: str, needed: tuple[tuple[str, ...], ...], encoding: str | None = None) -> Table:
    """Return a table by our own names of its columns.

    Args:
        content: the file.
        kind: customers or catalogue: whose heads are looked for.
        needed: groups of columns; the file is refused unless it has all of one group.
        encoding: how its letters are stored; None finds out.
    """
    if len(content) > LARGEST_BYTES:
        raise refuse("file_too_large", "file", most=LARGEST_BYTES // 1_000_000)
    text, used = _decode(content, encoding)
    if "\0" in text:
        raise refuse("file_binary", "file")
    rows = _rows(text)
    head = next(rows, None)
    if head is None:
        raise refuse("file_empty", "file")
    names, ignored = _name_columns(head[1], kind, needed)
    lines = tuple(_line(number, cells, names) for number, cells in rows if any(cell.strip() for cell in cells))
    return Table(lines, hashlib.sha256(content).hexdigest()[:24], used, ignored)


def read_word(group: str, column: str, cell: str) -> str:
    """Return our own word for what a cell says. Refuses what is none."""
    words = _columns()["words"][group]
    for word, said in words.items():
        if _plain(cell) in {_plain(one) for one in (word, *said)}:
            return str(word)
    raise refuse("word_unknown", column, value=cell[:40], choices=[str(word) for word in words])


def read_number(column: str, cell: str) -> float:
    """Return a number with a point or a comma in it. Refuses what is none."""
    try:
        return float(cell.strip().replace(",", "."))
    except ValueError as error:
        raise refuse("number_unreadable", column, value=cell[:40]) from error


@lru_cache(maxsize=1)
def _columns() -> dict[str, Any]:
    content: dict[str, Any] = read_yaml(COLUMNS)
    return content


def _decode(content: bytes, encoding: str | None) -> tuple[str, str]:
    if encoding is None:
        encoding = next((name for mark, name in MARKS if content.startswith(mark)), None)
    try:
        return content.decode(encoding or "utf-8"), encoding or "utf-8"
    except LookupError as error:
        raise refuse("encoding_unknown", "encoding", value=str(encoding)) from error
    except UnicodeDecodeError as error:
        if encoding is not None:
            raise refuse("encoding_wrong", "encoding", value=encoding, byte=error.start) from error
    try:
        return content.decode(FALLBACK), FALLBACK
    except UnicodeDecodeError as error:
        raise refuse("encoding_wrong", "encoding", value=FALLBACK, byte=error.start) from error


def _rows(text: str) -> Iterator[tuple[int, list[str]]]:
    """Yield each row with the number of its first line."""
    first = text.split("\n", 1)[0]
    delimiter = max(DELIMITERS, key=first.count)
    csv.field_size_limit(LARGEST_BYTES)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    number = 1
    try:
        for cells in reader:
            yield number, cells
            number = reader.line_num + 1
    except csv.Error as error:
        raise refuse("file_unreadable", "file", line=number, value=str(error)) from error


def _name_columns(
    head: list[str], kind: str, needed: tuple[tuple[str, ...], ...]
) -> tuple[list[str | None], tuple[str, ...]]:
    accepted = {_plain(word): name for name, words in _columns()[kind].items() for word in (name, *words)}
    names = [accepted.get(_plain(cell)) for cell in head]
    twice = sorted({name for name in names if name and names.count(name) > 1})
    if twice:
        raise refuse("column_twice", "file", value=", ".join(twice))
    if not any(all(name in names for name in group) for group in needed):
        wanted = [" + ".join(group) for group in needed]
        raise refuse("columns_missing", "file", needed=", or ".join(wanted), found=[cell.strip()[:40] for cell in head])
    return names, tuple(cell.strip()[:40] for cell, name in zip(head, names, strict=True) if name is None)


def _line(number: int, cells: list[str], names: list[str | None]) -> Line:
    if len(cells) != len(names):
        extra = [cell for cell in cells[len(names) :] if cell.strip()]
        if len(cells) < len(names) or extra:
            values = {"found": len(cells), "expected": len(names)}
            return Line(number, {}, Remark(reason="cells_wrong", fact="line", values=values))
    if any(len(cell) > LONGEST_CELL for cell in cells):
        return Line(number, {}, Remark(reason="cell_too_long", fact="line", values={"most": LONGEST_CELL}))
    found = {name: cell.strip() for name, cell in zip(names, cells, strict=False) if name and cell.strip()}
    return Line(number, found)


def _plain(text: str) -> str:
    return re.sub(r"[\s_\-]+", " ", text.strip().casefold()).strip()
