"""What may go wrong in the rules, each error carrying what, where and what to do."""

from __future__ import annotations

from typing import Any


class RulesError(Exception):
    """Base of every error of this package; its text may be shown to a person."""


class FactRefused(RulesError):
    """A fact is unknown, of the wrong type, or outside what can be true."""

    def __init__(self, fact: str, value: Any, message: str) -> None:
        super().__init__(message)
        self.fact = fact
        self.value = value
        self.message = message


class BookError(RulesError):
    """The rulebook cannot be used: names the file, the row or key, and the remedy."""

    def __init__(self, file: str, row: str, message: str) -> None:
        super().__init__(f"{file}: {row}: {message}")
        self.file = file
        self.row = row
        self.message = message
