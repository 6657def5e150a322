"""Editions of the rulebook made for a test: the book as it is with something changed."""

from __future__ import annotations

import copy
import re
from collections.abc import Callable
from typing import Any

from rules.engine import DurableEngine, Engine
from rules.errors import BookError
from rules.evaluator import PlainEngine
from rules.rulebook import Rulebook, build_book, load_book

ENGINES: tuple[Engine, ...] = (DurableEngine(), PlainEngine())
"""Both engines, each once for all tests."""


def edit_book(*changes: Callable[[dict[str, Any]], None]) -> Rulebook:
    """Return the book with its content changed in place by each function."""
    content = copy.deepcopy(dict(load_book().content))
    for change in changes:
        change(content)
    return build_book(content)


def switch_on(*policies: str) -> Rulebook:
    """Return the book of a shop that follows some published advice; the book itself for none."""
    if not policies:
        return load_book()

    def follow(content: dict[str, Any]) -> None:
        for policy in policies:
            content["values.yaml"]["policies"][policy]["enabled"] = True

    return edit_book(follow)


def find_table(content: dict[str, Any], name: str) -> dict[str, Any]:
    """Return the content of a table, to be changed."""
    for file in content.values():
        for table in file.get("tables", []):
            if table["table"] == name:
                found: dict[str, Any] = table
                return found
    raise KeyError(name)


REMEDY = re.compile(
    r"; (?:\S+ )*(?:add|use|write|put|save|give|close|list|name|lower|take|check|remove|correct|move|begin|rename)\b"
)
"""The clause of an error that says what to do."""


def names_remedy(error: BookError) -> bool:
    """Tell whether an error says what to do about it."""
    return bool(REMEDY.search(error.message))
