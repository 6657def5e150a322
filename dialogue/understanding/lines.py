"""A line of talk as words with their places in the text; knows no slot and no cue."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from functools import cached_property

from rapidfuzz import process
from rapidfuzz.distance import OSA

from dialogue.understanding.templates import NUMBER, NUMBER_WORD

PIECE = re.compile(
    r"""(?P<date>(?<![\w./-])(?:\d{4}|\d{1,2})(?P<mark>[./-])\d{1,2}(?P=mark)(?:\d{4}|\d{2})(?![\w/-]|\.\d))
      |(?P<ordinal>\d{1,2}(?:st|nd|rd|th)(?!\w)|\d0'?s(?!\w))
      |(?P<short_year>(?<!\w)'\d\d(?!\w))
      |(?P<number>\d+(?:\.\d+|,(?:5|25|75)(?![\d,]))?|(?<![\d.])\.\d+)
      |(?P<word>[^\W\d_]+(?:'[^\W\d_]+)*'?(?:(?<!x)(?<!\d[^\W\d_])\d+(?![^\W_]))?)
      |(?P<dash>-)
      |(?P<other>\S)""",
    re.VERBOSE,
)
DROPPED = frozenset("~_`^\"'")
MINUS, RANGE, PAUSE = "-", "to", ","
STOPS = frozenset(",.;:?!()")
MARKS = STOPS | frozenset("<>-=*#|/\\")
IS_NUMBER = re.compile(NUMBER + "$")


@dataclass(frozen=True)
class Token:
    """One word, number or mark in lower case."""

    word: str
    start: int
    """First place in the text it was read from."""
    end: int


@dataclass(frozen=True)
class Line:
    """The words of one turn, each followed by one space, and the way back to the text."""

    source: str
    """The text as said, after guard and repair."""
    tokens: tuple[Token, ...]
    rewritten: tuple[str, ...] = field(default=())
    """What became numbers: "fifty four -> 54"."""
    fillers: frozenset[str] = frozenset()
    """Words of no weight at the ends of a line."""
    breaks: frozenset[str] = frozenset()
    """Words and marks that part one clause from the next."""

    @cached_property
    def text(self) -> str:
        """The words in one string that cues are matched on."""
        return "".join(f"{token.word} " for token in self.tokens)

    @cached_property
    def starts(self) -> list[int]:
        """The place of each word in `text`."""
        starts, at = [], 0
        for token in self.tokens:
            starts.append(at)
            at += len(token.word) + 1
        return starts

    @cached_property
    def words(self) -> frozenset[str]:
        """The different words of the line, with one stand-in for any number."""
        words = {token.word for token in self.tokens}
        if any(word[:1].isdigit() or word[1:2].isdigit() for word in words):
            words.add(NUMBER_WORD)
        return frozenset(words)

    @cached_property
    def core(self) -> tuple[int, int]:
        """The span of `text` without fillers at its ends; where all are fillers any of them may count alone."""
        first, last = 0, len(self.tokens)
        while first < last and self._weightless(self.tokens[first].word):
            first += 1
        while last > first and self._weightless(self.tokens[last - 1].word):
            last -= 1
        if first == last:
            return len(self.text), 0
        return self.starts[first], self.starts[last - 1] + len(self.tokens[last - 1].word) + 1

    @cached_property
    def bare_words(self) -> frozenset[str]:
        """The different words of the line without marks."""
        return frozenset(token.word for token in self.tokens if token.word not in MARKS)

    @cached_property
    def padded(self) -> str:
        """The words with a space before the first, so that whole phrases can be looked for."""
        return f" {self.text}"

    def _weightless(self, word: str) -> bool:
        return word in self.fillers or word in MARKS

    @cached_property
    def numbers(self) -> list[tuple[int, int]]:
        """The spans of the figures in `text`."""
        return [
            (start, start + len(token.word) + 1)
            for token, start in zip(self.tokens, self.starts, strict=True)
            if IS_NUMBER.match(token.word)
        ]

    def tokens_of(self, span: tuple[int, int]) -> tuple[int, int]:
        """Return the first and the past-the-last token of a span of `text`."""
        first = bisect_right(self.starts, span[0]) - 1
        return max(first, 0), bisect_right(self.starts, max(span[0], span[1] - 1))

    def place(self, span: tuple[int, int]) -> tuple[int, int]:
        """Return a span of `text` as a span of the source."""
        if not self.tokens:
            return 0, 0
        first, last = self.tokens_of(span)
        return self.tokens[first].start, self.tokens[max(first, last - 1)].end

    def said(self, span: tuple[int, int]) -> str:
        """Return the words of a span of `text` as they were said."""
        start, end = self.place(span)
        return self.source[start:end]

    def replace(self, span: tuple[int, int], words: Sequence[str]) -> Line:
        """Return the line with the words of a span of `text` replaced."""
        first, last = self.tokens_of(span)
        start, end = self.place(span)
        middle = tuple(Token(word, start, end) for word in words)
        note = f"{self.source[start:end]} -> {' '.join(words)}"
        return Line(
            self.source,
            self.tokens[:first] + middle + self.tokens[last:],
            (*self.rewritten, note),
            self.fillers,
            self.breaks,
        )


SHORTEST_GUESSED = 5
OWNING = "'s"
LONG_DRAWN = re.compile(r"([^\W\d_])\1{2,}")
"""A letter drawn out, as in "yesss": no word has it three times."""


@dataclass(frozen=True)
class Spelling:
    """How single words are read."""

    fillers: frozenset[str] = frozenset()
    meant: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """What a word written in a hurry stands for."""
    marks: Mapping[str, str] = field(default_factory=dict)
    """Marks that are read as words."""
    clause_words: frozenset[str] = frozenset()
    """Words that part one clause from the next, as a stop does."""

    figures: AbstractSet[str] = frozenset()
    """Number words, which keep nothing of a contraction: "fifty five'll do"."""
    guessed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    """By first letter, words that an unknown word one slip away is read as; the likeliest first."""
    known: AbstractSet[str] = frozenset()
    """Words that are no slips."""

    def read(self, word: str, *, typed: bool = False) -> tuple[str, ...]:
        """Return the words that a written word stands for; only who types makes slips of the hand."""
        plain = LONG_DRAWN.sub(r"\1", word.replace("'", ""))
        if plain in self.meant:
            return self.meant[plain]
        if "'" in word and (stem := word.split("'", 1)[0]) in self.figures:
            return (stem,)
        if typed and len(plain) >= SHORTEST_GUESSED and plain not in self.known:
            near = process.extractOne(plain, self.guessed.get(plain[0], ()), scorer=OSA.distance, score_cutoff=1)
            # An unknown word that something belongs to is a name: "Wren's" is no slip of "when's", "waht's" is one.
            if near is not None and (not word.endswith(OWNING) or sorted(near[0]) == sorted(plain)):
                return (near[0],)
        return (plain,)


def read_line(source: str, spelling: Spelling = Spelling(), *, typed: bool = False) -> Line:
    """Return the words of a text; dashes inside words vanish, a dash between numbers means a range."""
    # A letter that becomes two in lower case would move every place after it.
    lowered = "".join(low if len(low := letter.lower()) == 1 else letter for letter in source)
    tokens: list[Token] = []
    minus: int | None = None
    for match in PIECE.finditer(lowered):
        start, end = match.span()
        word = match[0]
        kind = match.lastgroup
        if kind == "dash":
            meaning = _dash(lowered, start)
            minus = start if meaning == MINUS else None
            if meaning and meaning != MINUS:
                tokens.append(Token(meaning, start, end))
            continue
        if kind == "number":
            whole = word.replace(",", ".") if word[0] != "." else f"0{word}"
            tokens.append(Token(whole if minus is None else f"-{whole}", start if minus is None else minus, end))
        elif kind == "short_year":
            tokens.append(Token(f"20{word[1:]}", start, end))
        elif kind == "date":
            tokens.append(Token(word.replace("-", "/") if word[4:5] != "-" else word, start, end))
        elif word not in DROPPED:
            tokens += [Token(spelling.marks.get(part, part), start, end) for part in spelling.read(word, typed=typed)]
        minus = None
    return Line(source, tuple(tokens), fillers=spelling.fillers, breaks=STOPS | spelling.clause_words)


def _dash(text: str, at: int) -> str:
    """Return what a dash stands for: a range, a minus, a pause, or nothing inside a word."""
    left, right = text[:at].rstrip(" ")[-1:], text[at + 1 :].lstrip(" ")[:1]
    if left.isdigit() and right.isdigit():
        return RANGE
    tight_left, tight_right = text[at - 1 : at].isalnum(), text[at + 1 : at + 2].isalnum()
    if tight_left and tight_right:
        return ""
    if text[at + 1 : at + 2].isdigit() and not tight_left:
        return MINUS
    return PAUSE
