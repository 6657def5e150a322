"""What is wrong with a part of the rulebook, in words for somebody who has never seen a program; checks nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic_core import ErrorDetails

MACHINE_NAMES = frozenset({"str", "bool", "int", "float", "number", "[key]"})
"""What the checker adds to a place: the kind it tried there, which nobody wrote."""
WHOLE = "this"
FAULTS: Mapping[str, str] = {
    "missing": "{place} is missing; add it",
    "extra_forbidden": "{place} means nothing here; correct its spelling or remove it",
    "list_type": "{place} must be a list; begin each entry with - or write [one, two]",
    "string_type": "{place} must be text; put it in quotes",
    "bool_type": "{place} must be true or false; write one of them without quotes",
    "finite_number": "{place} must be a plain number; write it in figures",
    "greater_than_equal": "{place} must be {ge:g} or more; correct it",
    "less_than_equal": "{place} must be {le:g} or less; correct it",
    "literal_error": "{place} must be {expected}; use one of them",
    "enum": "{place} must be {expected}; use one of them",
    "string_pattern_mismatch": "{place} must be small letters, figures and hyphens, such as own-junior; correct it",
    "string_too_short": "{place} must not be empty; write it, or remove the line",
    "too_short": "{place} needs at least {min_length} entries; add what is missing",
    "too_long": "{place} may have {max_length} entries at the most; remove some",
    "value_error": "{place}: {error}; correct it",
}
"""A sentence for each kind of fault, by the name the checker gives it."""
NUMBERS = frozenset({"int_type", "float_type", "int_from_float"})
MAPPINGS = frozenset({"dict_type", "model_type", "model_attributes_type"})


def describe_fault(errors: Sequence[ErrorDetails], where: str) -> tuple[str, str]:
    """Return the entry and the sentence for the first fault.

    Args:
        errors: as the checker lists them, at least one.
        where: the row or key that was checked; "file" where a whole file was, and its entry is named instead.
    """
    first = errors[0]
    path = [str(part) for part in first["loc"] if str(part) not in MACHINE_NAMES]
    if where == "file" and len(path) > 1:
        where, path = path[1], path[2:]
    sentence = _sentence(first)
    if not path:
        sentence = sentence.removeprefix("{place}: ")
    return where, sentence.format(place=".".join(path) or WHOLE, **_bounds(first))


def _sentence(fault: ErrorDetails) -> str:
    kind = fault["type"]
    if kind == "too_short" and fault.get("ctx", {}).get("min_length") == 1:
        return "{place} must not be empty; write at least one entry"
    if kind in NUMBERS:
        return "{place} must be a number; write it in figures, without quotes"
    if kind in MAPPINGS:
        return "{place} must be lines of a name, a colon and what belongs to it; check the blanks before them"
    return FAULTS.get(kind, "{place}: {message}; correct or remove it")


def _bounds(fault: ErrorDetails) -> dict[str, Any]:
    return {**(fault.get("ctx") or {}), "message": fault["msg"]}
