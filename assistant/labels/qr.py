"""The code on a label: black squares that hold the job's tag and nothing else; draws nothing."""

from __future__ import annotations

from dataclasses import dataclass

import segno

QUIET = 4
"""Empty squares around the code that a reader needs (ISO/IEC 18004)."""


@dataclass(frozen=True)
class Run:
    """A row of black squares side by side."""

    row: int
    """From the top, 0 is the first."""
    start: int
    length: int


@dataclass(frozen=True)
class Code:
    """A square code, counted in squares, without the quiet zone."""

    side: int
    runs: tuple[Run, ...]


def make_code(tag: str) -> Code:
    """Return the code of a tag, with as much error correction as its size has room for."""
    made = segno.make_qr(tag, error="q")
    rows = [list(row) for row in made.matrix]
    return Code(len(rows), tuple(run for at, row in enumerate(rows) for run in _runs(at, row)))


def _runs(at: int, row: list[int]) -> list[Run]:
    found: list[Run] = []
    start = None
    for column, dark in enumerate([*row, 0]):
        if dark and start is None:
            start = column
        elif not dark and start is not None:
            found.append(Run(at, start, column - start))
            start = None
    return found
