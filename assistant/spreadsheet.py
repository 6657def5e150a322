"""CSV that a spreadsheet may open without running anything in it; knows no list."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")
"""A cell that begins so is a formula to a spreadsheet."""


def write_csv(columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """Return rows as CSV with a head; text that a spreadsheet would run gets a quote before it."""
    target = io.StringIO(newline="")
    writer = csv.writer(target)
    writer.writerow(columns)
    for row in rows:
        writer.writerow([_cell(row.get(name)) for name in columns])
    return target.getvalue()


def _cell(value: Any) -> Any:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value.lstrip(" ").startswith(FORMULA_STARTS):
        return f"'{value}"
    return value
