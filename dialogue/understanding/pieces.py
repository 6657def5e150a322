"""The pieces a template is made of: what each says where that is little, and its pattern; knows no word list."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cached_property

MOST_PHRASES = 400
"""What says more than this is matched by its pattern."""


class Piece:
    """A part of a template; most are never matched, so pattern and needed words are worked out when first asked for."""

    def __init__(self, sample: str, phrases: tuple[str, ...] | None) -> None:
        self.sample = sample
        """A shortest thing it says."""
        self.phrases = phrases
        """Everything it says, each word followed by a space; None where that is too much, or holds numbers or gaps."""

    @cached_property
    def pattern(self) -> str:
        """The regular expression."""
        raise NotImplementedError

    @cached_property
    def needs(self) -> tuple[frozenset[str], ...]:
        """Sets of words; what lacks all the words of one cannot match."""
        raise NotImplementedError


class Written(Piece):
    """A pattern written out: a number, a gap, or another piece with a name or a frame around it."""

    def __init__(self, pattern: str, needs: tuple[frozenset[str], ...], sample: str) -> None:
        super().__init__(sample, None)
        self.pattern = pattern
        self.needs = needs


class Plain(Piece):
    """A choice between plain phrases, which most templates are."""

    def __init__(self, phrases: Sequence[str]) -> None:
        said = tuple(f"{phrase} " for phrase in phrases if phrase)
        super().__init__(said[0] if said else "", said)
        self._said = said

    @cached_property
    def pattern(self) -> str:
        """The phrases, the longer ones first."""
        patterns = sorted((re.escape(phrase).replace("\\ ", " ") for phrase in self._said), key=len, reverse=True)
        return patterns[0] if len(patterns) == 1 else f"(?:{'|'.join(patterns)})"

    @cached_property
    def needs(self) -> tuple[frozenset[str], ...]:
        """The longest word of each phrase."""
        return (frozenset(max(phrase.split(), key=len) for phrase in self._said),)


class Omissible(Piece):
    """What may be left out."""

    def __init__(self, piece: Piece) -> None:
        super().__init__("", None if piece.phrases is None else ("", *piece.phrases))
        self._piece = piece

    @cached_property
    def pattern(self) -> str:
        """The piece or nothing."""
        return f"(?:{self._piece.pattern})?"

    @cached_property
    def needs(self) -> tuple[frozenset[str], ...]:
        """No word."""
        return ()


class InOrder(Piece):
    """Pieces one after the other."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        super().__init__("".join([piece.sample for piece in pieces]), _products([piece.phrases for piece in pieces]))
        self._pieces = pieces

    @cached_property
    def pattern(self) -> str:
        """Their patterns in a row."""
        return "".join(piece.pattern for piece in self._pieces)

    @cached_property
    def needs(self) -> tuple[frozenset[str], ...]:
        """What each of them needs."""
        return tuple(words for piece in self._pieces for words in piece.needs)


class AnyOf(Piece):
    """A choice between pieces."""

    def __init__(self, pieces: Sequence[Piece]) -> None:
        super().__init__(pieces[0].sample, _together([piece.phrases for piece in pieces]))
        self._pieces = pieces

    @cached_property
    def pattern(self) -> str:
        """Their patterns, the longer ones first, so that "kg" never stops short before "kg per cm"."""
        ranked = sorted(dict.fromkeys(piece.pattern for piece in self._pieces), key=len, reverse=True)
        full = [pattern for pattern in ranked if pattern]
        return f"(?:{'|'.join(full)})" + ("?" if len(full) < len(ranked) else "")

    @cached_property
    def needs(self) -> tuple[frozenset[str], ...]:
        """One of the words that one of them needs."""
        if not all(piece.needs for piece in self._pieces):
            return ()
        return (frozenset().union(*(min(piece.needs, key=len) for piece in self._pieces)),)


def in_order(pieces: Sequence[Piece]) -> Piece:
    """Return one piece that says the pieces one after the other."""
    alone = pieces[0] if len(pieces) == 1 else None
    return alone if alone and len(alone.phrases or ()) <= MOST_PHRASES else InOrder(pieces)


def any_of(pieces: Sequence[Piece]) -> Piece:
    """Return one piece that says what one of the pieces says."""
    return pieces[0] if len(pieces) == 1 else AnyOf(pieces)


def _products(parts: Sequence[tuple[str, ...] | None]) -> tuple[str, ...] | None:
    number = 1
    for part in parts:
        if part is None or (number := number * len(part)) > MOST_PHRASES:
            return None
    products: Sequence[str] = ("",)
    for part in parts:
        products = [left + right for left in products for right in part or ()]
    return tuple(products)


def _together(parts: Sequence[tuple[str, ...] | None]) -> tuple[str, ...] | None:
    phrases: list[str] = []
    for part in parts:
        if part is None:
            return None
        phrases += part
    return tuple(phrases) if len(phrases) <= MOST_PHRASES else None
