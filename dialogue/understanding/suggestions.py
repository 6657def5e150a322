"""Phrasings to offer when a turn was not understood; they are offered, never taken for what was said."""

from __future__ import annotations

from pathlib import Path

from rapidfuzz import fuzz, process, utils

from dialogue.understanding.cuebook import CUE_FOLDER, read_cues


class Suggestions:
    """The phrasings of the suggestion file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("suggestions.yaml", folder)
        self._open = tuple(table["open"])
        self._asked = {slot: tuple(phrasings) for slot, phrasings in table["asked"].items()}
        self._count = int(table["nearest"])
        self._least = float(table["least_like"])

    @property
    def slots(self) -> frozenset[str]:
        """Every slot that may be asked about, and confirm."""
        return frozenset(self._asked)

    def phrasings(self) -> list[tuple[str | None, str]]:
        """Return every phrasing with the slot it answers."""
        asked = [(slot, said) for slot, phrasings in self._asked.items() for said in phrasings]
        return [(None, said) for said in self._open] + list(asked)

    def offer(self, text: str, asked: str | None) -> tuple[str, ...]:
        """Return the phrasings nearest to a text, filled up with the first ones for what was asked."""
        usual = self._asked.get(asked or "", self._open)
        known = dict.fromkeys((*usual, *self._open))
        near = process.extract(
            text,
            known,
            scorer=fuzz.WRatio,
            processor=utils.default_process,
            limit=self._count,
            score_cutoff=self._least,
        )
        return tuple(dict.fromkeys([*(said for said, _, _ in near), *usual]))[: self._count]
