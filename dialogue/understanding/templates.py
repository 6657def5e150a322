"""The small language of the cue files, compiled to bounded patterns; holds no wording and knows no slot.

A template is words with `(one|other)`, `[optional]`, `<name>` for a word list or a number (`<@name>` where the words
found are wanted), and `...` for up to four words of no importance. Every word of a line of talk is followed by one
space, and so is every compiled word.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

NUMBER = r"-?\d{1,9}(?:\.\d{1,6})?"
NUMBER_WORD = "#"
"""Stands for any number where a pattern names the words it cannot do without."""
QUANTITY = "q"
"""The name of a number or range; what may join a range are the lists joined_by and joined_unit."""
GAP = r"(?:[^ ,.;?!]+ ){0,4}?"
BUILT_IN = {
    "n": (rf"(?P<n>{NUMBER}) ", "3"),
    "m": (rf"(?P<m>{NUMBER}) ", "4"),
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
    source: str
    """The regular expression, compiled when it is first needed."""
    needs: frozenset[str]
    """A line without any of these words cannot match; empty: no such words are known."""
    sample: str
    """A shortest sentence that the template says, in compiled words."""
    phrases: tuple[tuple[str, ...], ...] | None = None
    """Everything the template says, word by word; None where it has numbers, gaps or too many forms."""

    @cached_property
    def pattern(self) -> re.Pattern[str]:
        """The compiled regular expression."""
        return re.compile(self.source)


@dataclass(frozen=True)
class _Piece:
    pattern: str
    needs: tuple[frozenset[str], ...]
    sample: str
    phrases: tuple[str, ...] | None = None


MOST_PHRASES = 400


class Compiler:
    """Turns templates into patterns with the help of word lists."""

    def __init__(self, lists: Mapping[str, Sequence[str]], forms: Mapping[str, tuple[str, ...]] | None = None) -> None:
        """Keep the word lists, and the forms in which a word reaches the cues ("two" as "2")."""
        self._lists = lists
        self._forms = forms or {}
        self._known: dict[str, _Piece] = {}
        self._words: dict[str, _Piece] = {}

    def compile(self, template: str) -> Compiled:
        """Return the compiled template.

        Raises:
            TemplateWrong: when brackets do not pair, a list is unknown or nothing is left to match.
        """
        piece = self._piece(template, 0)
        if not piece.sample.strip():
            raise TemplateWrong("every word is optional, so it would match anything; name at least one word")
        source = r"(?<!\S)" + _once_named(piece.pattern)
        if source.endswith(GAP):
            source = source.removesuffix("?")  # a gap at the end takes what it can get
        needs = min(piece.needs, key=lambda words: (NUMBER_WORD in words, len(words)), default=frozenset[str]())
        phrases = None
        if piece.phrases is not None:
            phrases = tuple(tuple(phrase.split()) for phrase in dict.fromkeys(piece.phrases) if phrase)
        return Compiled(template, source, needs, piece.sample.strip(), phrases)

    def _piece(self, template: str, depth: int) -> _Piece:
        if depth > DEEPEST:
            raise TemplateWrong("word lists name each other in a circle")
        if plain := PLAIN.fullmatch(template):
            branches = [branch.split() for branch in (plain[1] or plain[2]).split("|")]
            return _plain_choice([phrase for words in branches for phrase in self._said(words)])
        parts = list(_parts(template))
        piece, rest = self._choice(parts, 0, depth)
        if rest != len(parts):
            raise TemplateWrong("a bracket closes that never opened")
        return piece

    def _choice(self, parts: list[tuple[str, str]], at: int, depth: int) -> tuple[_Piece, int]:
        branches: list[list[_Piece]] = [[]]
        while at < len(parts) and parts[at][0] != "close":
            kind, text = parts[at]
            if kind == "bar":
                branches.append([])
                at += 1
            elif kind == "open":
                inner, at = self._choice(parts, at + 1, depth)
                if at >= len(parts) or parts[at][1] != {"(": ")", "[": "]"}[text]:
                    raise TemplateWrong(f"the bracket {text} is not closed")
                branches[-1].append(_optional(inner) if text == "[" else inner)
                at += 1
            else:
                branches[-1].append(self._leaf(kind, text, depth))
                at += 1
        return _any_of([_in_order(branch) for branch in branches]), at

    def _said(self, words: Sequence[str]) -> list[str]:
        """Return a phrase in every form in which its words reach the cues."""
        if self._forms.keys().isdisjoint(words):
            return [" ".join(words)]
        forms = [self._forms.get(word, (word,)) for word in words]
        return [" ".join(form) for form in product(*forms)]

    def _leaf(self, kind: str, text: str, depth: int) -> _Piece:
        if kind == "gap":
            return _Piece(GAP, (), "")
        if kind == "word":
            if text not in self._words:
                self._words[text] = _plain_choice(self._said([text]))
            return self._words[text]
        if text == QUANTITY:
            # A number, or a range of two with a few joining words between them.
            unit, join = self._leaf(kind, "joined_unit", depth), self._leaf(kind, "joined_by", depth)
            pattern = rf"(?P<n>{NUMBER}) (?:(?:{unit.pattern})?(?:{join.pattern}){{1,3}}(?P<m>{NUMBER}) )?"
            return _Piece(pattern, (frozenset({NUMBER_WORD}),), "3 ")
        if text in BUILT_IN:
            pattern, sample = BUILT_IN[text]
            needs = () if text == "word" else (frozenset({NUMBER_WORD}),)
            return _Piece(pattern, needs, sample + " ")
        if text.startswith("@"):
            inner = self._leaf(kind, text[1:], depth)
            return _Piece(f"(?P<{text[1:]}>{inner.pattern})", inner.needs, inner.sample)
        if text not in self._lists:
            raise TemplateWrong(f"<{text}> is not a word list; add it to words.yaml")
        if text not in self._known:
            inner = _any_of([self._piece(entry, depth + 1) for entry in self._lists[text]])
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


def _parts(template: str) -> Iterator[tuple[str, str]]:
    at = 0
    text = template.strip()
    while at < len(text):
        match = PART.match(text, at)
        if match is None:
            raise TemplateWrong(f"cannot be read from {text[at : at + 12]!r} on")
        kind = match.lastgroup or ""
        yield kind, match[kind]
        at = match.end()


def _plain_choice(phrases: Sequence[str]) -> _Piece:
    """Return the piece of a choice between plain phrases, which most templates are."""
    said = tuple(f"{phrase} " for phrase in phrases if phrase)
    patterns = sorted((re.escape(phrase).replace("\\ ", " ") for phrase in said), key=len, reverse=True)
    needs = (frozenset(max(phrase.split(), key=len) for phrase in said),)
    pattern = patterns[0] if len(patterns) == 1 else f"(?:{'|'.join(patterns)})"
    return _Piece(pattern, needs, said[0] if said else "", said)


def _optional(piece: _Piece) -> _Piece:
    phrases = None if piece.phrases is None else ("", *piece.phrases)
    return _Piece(f"(?:{piece.pattern})?", (), "", phrases)


def _in_order(pieces: Sequence[_Piece]) -> _Piece:
    return _Piece(
        "".join(piece.pattern for piece in pieces),
        tuple(words for piece in pieces for words in piece.needs),
        "".join(piece.sample for piece in pieces),
        _products([piece.phrases for piece in pieces]),
    )


def _products(parts: Sequence[tuple[str, ...] | None]) -> tuple[str, ...] | None:
    products: tuple[str, ...] = ("",)
    for part in parts:
        if part is None or len(products) * len(part) > MOST_PHRASES:
            return None
        products = tuple(left + right for left in products for right in part)
    return products


def _any_of(pieces: Sequence[_Piece]) -> _Piece:
    if len(pieces) == 1:
        return pieces[0]
    needs: tuple[frozenset[str], ...] = ()
    if all(piece.needs for piece in pieces):
        needs = (frozenset().union(*(min(piece.needs, key=len) for piece in pieces)),)
    # Longer alternatives first, so that "kg" never stops short before "kg per cm".
    ranked = sorted(dict.fromkeys(piece.pattern for piece in pieces), key=len, reverse=True)
    full = [pattern for pattern in ranked if pattern]
    phrases: tuple[str, ...] | None = ()
    for piece in pieces:
        phrases = None if phrases is None or piece.phrases is None else phrases + piece.phrases
    return _Piece(
        f"(?:{'|'.join(full)})" + ("?" if len(full) < len(ranked) else ""),
        needs,
        pieces[0].sample,
        phrases if phrases is None or len(phrases) <= MOST_PHRASES else None,
    )
