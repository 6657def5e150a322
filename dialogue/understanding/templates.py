"""The small language of the cue files, compiled to bounded patterns; holds no wording and knows no slot.

A template is words with `(one|other)`, `[optional]`, `<name>` for a word list or a number (`<below>` for one below
zero, `<@name>` where the words found are wanted), and `...` for up to four words of no importance. Every word of a
line of talk is followed by one space, and so is every compiled word.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from dialogue.understanding.pieces import Omissible, Piece, Plain, Written, any_of, in_order

NUMBER = r"-?\d{1,9}(?:\.\d{1,6})?"
NUMBER_WORD = "#"
"""Stands for any number where a pattern names the words it cannot do without."""
QUANTITY = "q"
"""The name of a number or range; what may join a range are the lists joined_by and joined_unit."""
GAP = r"(?:[^ ,.;?!]+ ){0,4}?"
BUILT_IN = {
    "n": (rf"(?P<n>{NUMBER}) ", "3"),
    "m": (rf"(?P<m>{NUMBER}) ", "4"),
    "below": (r"(?P<n>-\d{1,9}(?:\.\d{1,6})?) ", "-3"),
    "day": (r"(?P<n>\d{1,2}) ", "3"),
    "ord": (r"(?P<ord>\d{1,2})(?:st|nd|rd|th) ", "3rd"),
    "year": (r"(?P<year>(?:19|20)\d\d) ", "2025"),
    "numeric": (r"(?P<numeric>\d{1,4}[./-]\d{1,2}[./-]\d{2,4}) ", "3/9/2026"),
    "word": (r"(?P<word>[a-z]+) ", "something"),
}
PART = re.compile(
    r"\s*(?:(?P<open>[(\[])|(?P<close>[)\]])|(?P<bar>\|)|<(?P<name>@?[a-z_]+)>|(?P<gap>\.\.\.)|(?P<word>[^\s()\[\]|<>]+))"
)
PLAIN = re.compile(r"\(([^()\[\]<>.]+)\)|([^()\[\]<>.|]+)")
DEEPEST = 12


class TemplateWrong(ValueError):
    """A template cannot be read; the text says why."""


@dataclass(frozen=True)
class Compiled:
    """One template, as all its phrases where they are few, else as a pattern."""

    template: str
    piece: Piece
    phrases: tuple[str, ...] | None = None
    """Everything the template says, its words one space apart; None where it has numbers, gaps or too many forms."""

    @property
    def sample(self) -> str:
        """A shortest sentence that the template says, in compiled words."""
        return self.piece.sample.strip()

    @cached_property
    def needs(self) -> frozenset[str]:
        """A line without any of these words cannot match; empty: no such words are known."""
        return min(self.piece.needs, key=lambda words: (NUMBER_WORD in words, len(words)), default=frozenset())

    @cached_property
    def source(self) -> str:
        """The regular expression."""
        source = r"(?<!\S)" + _once_named(self.piece.pattern)
        # A gap at the end takes what it can get.
        return source.removesuffix("?") if source.endswith(GAP) else source

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """The compiled regular expression."""
        return re.compile(self.source)


class Compiler:
    """Turns templates into patterns with the help of word lists."""

    def __init__(self, lists: Mapping[str, Sequence[str]], forms: Mapping[str, tuple[str, ...]] | None = None) -> None:
        """Keep the word lists, and the forms in which a word reaches the cues ("two" as "2")."""
        self._lists = lists
        self._forms = forms or {}
        self._known: dict[str, Piece] = {}
        self._words: dict[str, Piece] = {}
        self.words: set[str] = set()
        """Every word that a compiled template says: none of them is a slip of another."""

    def compile(self, template: str) -> Compiled:
        """Return the compiled template.

        Raises:
            TemplateWrong: when brackets do not pair, a list is unknown or nothing is left to match.
        """
        piece = self._piece(template, 0)
        if not piece.sample.strip():
            raise TemplateWrong("every word is optional, so it would match anything; name at least one word")
        phrases = None
        if piece.phrases is not None:
            phrases = tuple(phrase.rstrip() for phrase in dict.fromkeys(piece.phrases) if phrase)
        return Compiled(template, piece, phrases)

    def _piece(self, template: str, depth: int) -> Piece:
        if depth > DEEPEST:
            raise TemplateWrong("word lists name each other in a circle")
        if plain := PLAIN.fullmatch(template):
            branches = [branch.split() for branch in (plain[1] or plain[2]).split("|")]
            return Plain([phrase for words in branches for phrase in self._said(words)])
        parts = _parts(template)
        piece, rest = self._choice(parts, 0, depth)
        if rest != len(parts):
            raise TemplateWrong("a bracket closes that never opened")
        return piece

    def _choice(self, parts: list[tuple[str, str]], at: int, depth: int) -> tuple[Piece, int]:
        branches: list[list[Piece]] = [[]]
        while at < len(parts) and parts[at][0] != "close":
            kind, text = parts[at]
            if kind == "bar":
                branches.append([])
                at += 1
            elif kind == "open":
                inner, at = self._choice(parts, at + 1, depth)
                if at >= len(parts) or parts[at][1] != {"(": ")", "[": "]"}[text]:
                    raise TemplateWrong(f"the bracket {text} is not closed")
                branches[-1].append(Omissible(inner) if text == "[" else inner)
                at += 1
            else:
                branches[-1].append(self._leaf(kind, text, depth))
                at += 1
        return any_of([in_order(branch) for branch in branches]), at

    def _said(self, words: Sequence[str]) -> list[str]:
        """Return a phrase in every form in which its words reach the cues."""
        self.words.update(words)
        if self._forms.keys().isdisjoint(words):
            return [" ".join(words)]
        forms = [self._forms.get(word, (word,)) for word in words]
        return [" ".join(form) for form in product(*forms)]

    def _leaf(self, kind: str, text: str, depth: int) -> Piece:
        if kind == "gap":
            return Written(GAP, (), "")
        if kind == "word":
            if text not in self._words:
                self._words[text] = Plain(self._said([text]))
            return self._words[text]
        if text == QUANTITY:
            # A number, or a range of two with a few joining words between them.
            unit, join = self._leaf(kind, "joined_unit", depth), self._leaf(kind, "joined_by", depth)
            pattern = rf"(?P<n>{NUMBER}) (?:(?:{unit.pattern})?(?:{join.pattern}){{1,3}}(?P<m>{NUMBER}) )?"
            return Written(pattern, (frozenset({NUMBER_WORD}),), "3 ")
        if text in BUILT_IN:
            pattern, sample = BUILT_IN[text]
            needs = () if text == "word" else (frozenset({NUMBER_WORD}),)
            return Written(pattern, needs, sample + " ")
        if text.startswith("@"):
            inner = self._leaf(kind, text[1:], depth)
            return Written(f"(?P<{text[1:]}>{inner.pattern})", inner.needs, inner.sample)
        if text not in self._lists:
            raise TemplateWrong(f"<{text}> is not a word list; add it to words.yaml")
        if text not in self._known:
            inner = any_of([self._piece(entry, depth + 1) for entry in self._lists[text]])
            self._known[text] = inner
        return self._known[text]


def _once_named(pattern: str) -> str:
    """Return the pattern with each name on its first group only, as a name may stand once."""
    seen: set[str] = set()

    def name_or_not(match: re.Match[str]) -> str:
        if match[1] in seen:
            return "(?:"
        seen.add(match[1])
        return match[0]

    return re.sub(r"\(\?P<(\w+)>", name_or_not, pattern)


def _parts(template: str) -> list[tuple[str, str]]:
    text = template.strip()
    matches = list(PART.finditer(text))
    read = 0
    for match in matches:
        if match.start() != read:
            break
        read = match.end()
    if read < len(text):
        raise TemplateWrong(f"cannot be read from {text[read : read + 12]!r} on")
    return [(str(match.lastgroup), match[str(match.lastgroup)]) for match in matches]
