"""Whether a question about reasons is about the answer at all, and not about a car; holds no words of its own."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.understanding.errors import CueBroken
from dialogue.understanding.lines import Line

KEYS = ("intents", "words", "anchors")


@dataclass(frozen=True)
class About:
    """The words a question about reasons may have, and those that tie it to the answer whatever else is in it."""

    intents: frozenset[str]
    words: frozenset[str]
    anchors: tuple[str, ...]
    """Words and phrases, each between blanks."""

    @classmethod
    def read(cls, file: str, table: Mapping[str, Any]) -> About:
        """Return the words as the act file lists them.

        Raises:
            CueBroken: when a list is missing.
        """
        found: Mapping[str, Sequence[Any]] = table.get("about") or {}
        for key in KEYS:
            if not isinstance(found.get(key), list):
                raise CueBroken(file, "about", f"needs a list `{key}:`")
        words = frozenset(map(str, found["words"]))
        return cls(frozenset(map(str, found["intents"])), words, tuple(f" {one} " for one in found["anchors"]))

    def suits(self, intent: str, line: Line) -> bool:
        """Tell whether a line may have this intent."""
        if intent not in self.intents:
            return True
        strays = any(token.word.isalpha() and token.word not in self.words for token in line.tokens)
        return not strays or any(anchor in line.padded for anchor in self.anchors)
