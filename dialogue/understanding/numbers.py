"""Spoken numbers turned into figures in a line: cardinals by text2num, halves and dozens by rows; knows no slot."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from text_to_num import alpha2digit, find_numbers  # type: ignore[attr-defined]

from dialogue.understanding.cuebook import CUE_FOLDER, read_cues
from dialogue.understanding.errors import CueBroken
from dialogue.understanding.lines import IS_NUMBER, Line, Token
from dialogue.understanding.templates import Compiled, Compiler, TemplateWrong

LANGUAGE = "en"


@dataclass(frozen=True)
class Rewrite:
    """One row that says a number otherwise: "<n> and a half" is n plus 0.5, "minus <n>" is n below zero."""

    says: Compiled
    gives: str
    adds: float
    below_zero: bool = False


@dataclass(frozen=True)
class _Spoken:
    """A word as the number parser wants to see it."""

    word: str

    def text(self) -> str:
        return self.word

    def nt_separated(self, previous: _Spoken) -> bool:  # noqa: ARG002 - the parser's protocol
        return False

    def not_a_number_part(self) -> bool:
        return False


class Numbers:
    """Reads figures out of words."""

    def __init__(self, compiler: Compiler, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("numbers.yaml", folder)
        self._cardinals = frozenset(table["cardinals"])
        self._ordinals = frozenset(table["ordinals"])
        self._inside = frozenset(table["inside"])
        """Words that may stand between the parts of one number."""
        self._scales = frozenset(table["scales"])
        self._article = frozenset(table["article"])
        self._date_words = frozenset(table["date_words"])
        self._pronoun = str(table["pronoun"])
        self._pronoun_after = frozenset(table["pronoun_after"])
        self._pronoun_before = frozenset(table["pronoun_before"])
        self._early = [_rewrite(raw, compiler) for raw in table["early"]]
        self._late = [_rewrite(raw, compiler) for raw in table["late"]]
        needed = (rewrite.says.needs for rewrite in (*self._early, *self._late))
        self._turning = (self._cardinals | self._ordinals).union(*needed)

    def may_read(self, word: str) -> bool:
        """Tell whether a line with this word may be rewritten; a line of other words alone never is."""
        return word in self._turning

    def read(self, line: Line) -> Line:
        """Return the line with its spoken numbers as figures."""
        if self._early:
            line = _apply(line, self._early)
        if not line.words.isdisjoint(self._cardinals | self._ordinals):
            line = self._cardinal(line)
        return _apply(line, self._late)

    def _cardinal(self, line: Line) -> Line:
        tokens = line.tokens
        at = len(tokens) - 1
        # From the end, so that places before the change stay valid.
        while at >= 0:
            if not self._spoken(tokens[at].word):
                at -= 1
                continue
            last = at + 1
            while at > 0 and (
                self._spoken(tokens[at - 1].word)
                or (tokens[at - 1].word in self._inside and at > 1 and self._spoken(tokens[at - 2].word))
            ):
                at -= 1
            first = at
            if first > 0 and tokens[first].word in self._scales and tokens[first - 1].word in self._article:
                first -= 1
            line = self._rewrite_run(line, first, last)
            at = first - 1
        return line

    def _spoken(self, word: str) -> bool:
        return word in self._cardinals or word in self._ordinals

    def _rewrite_run(self, line: Line, first: int, last: int) -> Line:
        tokens = line.tokens
        words = [token.word for token in tokens[first:last]]
        if words[0] in self._article:
            words[0] = self._pronoun
        if words == [self._pronoun] and self._is_pronoun(tokens, first):
            return line
        for found in reversed(find_numbers([_Spoken(word) for word in words], LANGUAGE, threshold=0)):
            start, end = first + found.start, first + found.end
            if found.is_ordinal and not self._in_date(tokens, start, end):
                continue
            if start == end - 1 and tokens[start].word == self._pronoun and self._is_pronoun(tokens, start):
                continue
            span = (line.starts[start], line.starts[end - 1] + len(tokens[end - 1].word) + 1)
            line = line.replace(span, [found.text.replace(",", ".")])
        return line

    def _is_pronoun(self, tokens: tuple[Token, ...], at: int) -> bool:
        before = tokens[at - 1].word if at else ""
        after = tokens[at + 1].word if at + 1 < len(tokens) else ""
        return before in self._pronoun_after or after in self._pronoun_before

    def _in_date(self, tokens: tuple[Token, ...], start: int, end: int) -> bool:
        near = {tokens[at].word for at in (start - 2, start - 1, end, end + 1) if 0 <= at < len(tokens)}
        alone = start > 0 and tokens[start - 1].word in self._article and end == len(tokens)
        return alone or not near.isdisjoint(self._date_words)


def number_forms(folder: Path = CUE_FOLDER) -> dict[str, tuple[str, ...]]:
    """Return how each number word reaches the cues; a word that may also be no number keeps its own form too."""
    table = read_cues("numbers.yaml", folder)
    forms = {str(word): tuple(map(str, said)) for word, said in table["forms"].items()}
    for word in table["cardinals"]:
        if word not in table["scales"]:
            forms.setdefault(word, (alpha2digit(word, LANGUAGE, 0),))
    for word in table["ordinals"]:
        forms[word] = (word, alpha2digit(word, LANGUAGE, 0))
    return forms


def _rewrite(raw: Mapping[str, Any], compiler: Compiler) -> Rewrite:
    try:
        says, gives = compiler.compile(raw["says"]), str(raw["gives"])
        return Rewrite(says, gives, float(raw.get("adds", 0)), bool(raw.get("below_zero")))
    except (TemplateWrong, KeyError) as wrong:
        raise CueBroken("numbers.yaml", str(raw.get("says", raw)), f"{wrong}; needs `says:` and `gives:`") from wrong


def _apply(line: Line, rewrites: list[Rewrite]) -> Line:
    for rewrite in rewrites:
        if not rewrite.says.needs or line.words.isdisjoint(rewrite.says.needs):
            continue
        for match in reversed(list(rewrite.says.pattern.finditer(line.text))):
            groups = {name: text for name, text in match.groupdict().items() if text is not None}
            if "n" in groups and IS_NUMBER.match(groups["n"]):
                number = float(groups["n"]) + rewrite.adds
                groups["n"] = plain(-abs(number) if rewrite.below_zero else number)
            line = line.replace(match.span(), rewrite.gives.format(**groups).split())
    return line


def plain(number: float) -> str:
    """Return a figure without a trailing ".0"."""
    return re.sub(r"\.?0+$", "", f"{number:.4f}") if number % 1 else str(int(number))
