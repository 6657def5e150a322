"""Whether a line is fit for a person: no names of facts, no ids of rows, one month and two months."""

from __future__ import annotations

import re

from rules.rulebook import Rulebook

INTERNAL = re.compile(r"[a-z]+_[a-z]+|\b(?:True|False|None)\b|[{}]")
UNITS = "month|day|hour|week|reading|division|unit|time|play"
ONE_OF_MANY = re.compile(rf"\b(?:1|one) (?:{UNITS})s\b")
MANY_AS_ONE = re.compile(rf"\b(?:[2-9]|\d\d+|two|three|four|five|six|nine|twelve) (?:{UNITS})\b")


def said_in_words(line: str, book: Rulebook) -> bool:
    """Tell whether a line names things as people do; ids in brackets stand apart and are taken out first."""
    told = line
    for row in _rows(book):
        told = told.replace(f"[{row}]", "")
    return not any(wrong.search(told) for wrong in (INTERNAL, ONE_OF_MANY, MANY_AS_ONE))


def names_rows(line: str, book: Rulebook) -> bool:
    """Tell whether a line holds the id of a row."""
    return any(re.search(rf"(?<![\w-]){re.escape(row)}(?![\w-])", line, re.IGNORECASE) for row in _rows(book))


def _rows(book: Rulebook) -> list[str]:
    return [row.id for table in book.tables.values() for row in table.rows]
