"""Exit codes of every command, and the one error that a command ends with."""

from __future__ import annotations

from enum import IntEnum


class Exit(IntEnum):
    """How a command ended; stable for scripts."""

    DONE = 0
    REFUSED = 2
    """The input was refused."""
    NOT_FOUND = 3
    STORAGE = 4
    """The database cannot be used."""


class CommandError(Exception):
    """Ends a command with a sentence for a person and a code for a script."""

    def __init__(self, message: str, code: Exit = Exit.REFUSED) -> None:
        super().__init__(message)
        self.code = code
