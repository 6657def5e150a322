"""One value read in a line, before it is decided whether it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from dialogue.understanding.cuebook import Hit


@dataclass(frozen=True)
class Found:
    """A candidate: a value for a slot from one place in the line."""

    slot: str
    value: Any
    span: tuple[int, int]
    """In `Line.text`."""
    rule: str
    confidence: float
    readback: str | None = None
    owner: str | None = None
    negated: bool = False


def overlaps(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Tell whether two spans share a place."""
    return one[0] < other[1] and other[0] < one[1]


def covers(outer: tuple[int, int], inner: tuple[int, int]) -> bool:
    """Tell whether one span lies wholly in another."""
    return outer[0] <= inner[0] and inner[1] <= outer[1]


def longest(hits: list[Hit]) -> list[Hit]:
    """Return hits that do not overlap: weak rows last, the surer and longer ones first, in reading order."""
    kept: list[Hit] = []
    ranked = sorted(
        hits,
        key=lambda hit: (hit.row.weak, -(hit.span[1] - hit.span[0]), -hit.row.confidence, hit.span[0], hit.row.order),
    )
    for hit in ranked:
        if not any(overlaps(hit.span, other.span) for other in kept):
            kept.append(hit)
    return sorted(kept, key=lambda hit: hit.span[0])
