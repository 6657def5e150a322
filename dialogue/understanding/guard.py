"""Makes any text safe to read and says what kind of text it is; reads no value from it."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from dialogue.understanding.cuebook import CUE_FOLDER, read_cues
from dialogue.understanding.errors import CueBroken

WORD = re.compile(r"[^\W\d_]+(?:'[^\W\d_]+)?")
LATIN_END = 0x24F
FEW_WORDS = 3


@dataclass(frozen=True)
class Guarded:
    """A text that may be read, and what was seen in it."""

    text: str
    flags: tuple[str, ...]
    """markup, code, sql, order, link, foreign, script, noise: why it may be no talk of strings."""
    cut: bool = False
    """True where the text was longer than is read."""


class Guard:
    """Cleans texts by the rules of the guard file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("guard.yaml", folder)
        self._longest = int(table["longest"])
        self._fractions: Mapping[str, str] = table["fractions"]
        self._marks = str.maketrans(
            {**dict.fromkeys(table["dashes"], "-"), **dict.fromkeys(table["quotes"], "'")},
        )
        self._patterns = {flag: _compile(flag, patterns) for flag, patterns in table["patterns"].items()}
        self._noise = _compile("noise", table["noise"])
        self._own = frozenset(table["stop_words"])
        self._foreign = {language: frozenset(words) for language, words in table["foreign"].items()}
        self._share = float(table["foreign_share"])

    def clean(self, text: str) -> Guarded:
        """Return the text in one spelling of marks, without control characters, at most 2,000 characters of it."""
        cut = len(text) > self._longest
        kept = text[: self._longest]
        for sign, figure in self._fractions.items():
            if sign in kept:
                kept = re.sub(rf"(?<=\d)\s?{sign}", figure, kept).replace(sign, f"0{figure}")
        kept = unicodedata.normalize("NFKC", kept)[: self._longest].translate(self._marks)
        kept = "".join(_plain(letter) for letter in kept)
        kept = " ".join(kept.split())
        return Guarded(kept, self._flags(kept), cut)

    def _flags(self, text: str) -> tuple[str, ...]:
        lowered = text.lower()
        flags = [flag for flag, patterns in self._patterns.items() if any(p.search(lowered) for p in patterns)]
        words = WORD.findall(lowered)
        if any(pattern.search(lowered) for pattern in self._noise) and not any(word in self._own for word in words):
            flags.append("noise")
        if self._is_foreign(words):
            flags.append("foreign")
        letters = [letter for letter in lowered if letter.isalpha()]
        if letters and sum(ord(letter) > LATIN_END for letter in letters) * 2 > len(letters):
            flags.append("script")
        return tuple(flags)

    def _is_foreign(self, words: Sequence[str]) -> bool:
        if len(words) < FEW_WORDS:
            return False
        own = sum(word in self._own for word in words)
        for known in self._foreign.values():
            theirs = sum(word in known for word in words)
            if theirs >= FEW_WORDS and theirs > own and theirs >= self._share * len(words):
                return True
        return False


def _plain(letter: str) -> str:
    category = unicodedata.category(letter)
    if category in {"Cc", "Zl", "Zp"}:
        return " "
    return "" if category in {"Cf", "Cs", "Co", "Cn"} else letter


def _compile(flag: str, patterns: Sequence[str]) -> list[re.Pattern[str]]:
    compiled = []
    for pattern in patterns:
        try:
            compiled.append(re.compile(pattern, re.IGNORECASE))
        except re.error as wrong:
            raise CueBroken("guard.yaml", flag, f"{pattern!r} is no regular expression ({wrong})") from wrong
    return compiled
