"""Head size, pattern and gauge of a bed, of beds compared or a racquet left; knows no material and no pull."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from dialogue.understanding.convert import tidy
from dialogue.understanding.cuebook import CUE_FOLDER, Hit, read_cues
from dialogue.understanding.cues import Scan, make
from dialogue.understanding.found import Found, longest, overlaps

FILE, SLOT = "frames.yaml", "frame"
HEAD, PATTERN, GAUGE = "head_size", "pattern", "gauge"


class Frames:
    """Reads a frame by the limits of its cue file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        self._limits: Mapping[str, Sequence[float]] = read_cues(FILE, folder)["limits"]

    def read(self, scan: Scan) -> list[Found]:
        """Return what is said of a frame and a gauge; a figure of a pattern is no head size."""
        found: list[Found] = []
        for hit in longest(scan.role(SLOT, "pattern")):
            pair = [int(float(hit.groups[name] or 0)) for name in ("n", "m")]
            if self._within("mains", pair[0]) and self._within("crosses", pair[1]):
                found.append(make(PATTERN, pair, hit))
        found += self._numbers(scan, "gauge", GAUGE, found)
        return found + self._numbers(scan, "head", HEAD, found)

    def _numbers(self, scan: Scan, role: str, slot: str, taken: Sequence[Found]) -> list[Found]:
        hits: list[Hit] = [hit for hit in longest(scan.role(SLOT, role)) if self._fits(role, hit)]
        free = [hit for hit in hits if not any(overlaps(hit.span, one.span) for one in taken)]
        return [make(slot, tidy(float(hit.groups["n"] or 0)), hit) for hit in free[:1]]

    def _fits(self, role: str, hit: Hit) -> bool:
        return self._within(role, float(hit.groups["n"] or 0))

    def _within(self, name: str, value: float) -> bool:
        low, high = self._limits[name]
        return low <= value <= high
