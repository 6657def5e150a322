"""Cue templates as things people say: a template becomes sentences, drawn at random; knows no question."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from dialogue.understanding.templates import PART, TemplateWrong

Knows = Callable[[str], bool]
"""Tells whether the ear has a pronunciation for a word."""
COUNTED = "times"
"""The word list after a number that "once" and "twice" stand for, number and all."""
NUMBERS = {"n": "number", "m": "number", "q": "quantity", "ord": "ordinal", "year": "year"}
SAYABLE = r"[^\W\d_]+(?:'[^\W\d_]+)*"
LONE_LETTERS = frozenset("bcdefghjklmnopqrstuvwxyz")
DEEPEST = 12
OPTIONAL_SAID = 0.35
"""How often an optional word is said."""
COUNT_SAID = 0.4
"""How often a number of times is said as "once" or "twice"."""


@dataclass(frozen=True)
class Part:
    """One piece of a template."""

    kind: str
    """word, list, choice, sequence, maybe or gap."""
    text: str = ""
    parts: tuple[Part, ...] = ()


def read_template(template: str) -> Part:
    """Return a template as a tree.

    Raises:
        TemplateWrong: when brackets do not pair.
    """
    pieces = list(_pieces(template))
    part, rest = _choice(pieces, 0)
    if rest != len(pieces):
        raise TemplateWrong("a bracket closes that never opened")
    return part


def _pieces(template: str) -> Iterator[tuple[str, str]]:
    at, text = 0, template.strip()
    while at < len(text):
        match = PART.match(text, at)
        if match is None:
            raise TemplateWrong(f"cannot be read from {text[at : at + 12]!r} on")
        yield match.lastgroup or "", match[match.lastgroup or ""]
        at = match.end()


def _choice(pieces: Sequence[tuple[str, str]], at: int) -> tuple[Part, int]:
    branches: list[list[Part]] = [[]]
    while at < len(pieces) and pieces[at][0] != "close":
        kind, text = pieces[at]
        if kind == "bar":
            branches.append([])
        elif kind == "open":
            inner, at = _choice(pieces, at + 1)
            if at >= len(pieces):
                raise TemplateWrong(f"the bracket {text} is not closed")
            branches[-1].append(Part("maybe", parts=(inner,)) if text == "[" else inner)
        elif kind == "name":
            branches[-1].append(Part("list", text.lstrip("@")))
        else:
            branches[-1].append(Part(kind, text))
        at += 1
    sequences = [Part("sequence", parts=tuple(branch)) for branch in branches]
    return (sequences[0] if len(sequences) == 1 else Part("choice", parts=tuple(sequences))), at


@dataclass
class Speaker:
    """Says templates: what has no pronunciation or no spoken form is left out."""

    lists: Mapping[str, Sequence[str]]
    knows: Knows
    spoken: Mapping[str, Sequence[str]]
    """Figures and short forms in a template, and how they are said: "1.5 hours", "an hour and a half"."""
    counts: Sequence[str]
    """What stands for a number of times altogether: once, twice."""
    chance: random.Random
    _read: dict[str, Part | None] = field(default_factory=dict)
    _lists: dict[str, tuple[Part, ...]] = field(default_factory=dict)

    def sayable(self, template: str) -> Part | None:
        """Return a template without what cannot be said, or None where nothing is left."""
        if template not in self._read:
            self._read[template] = self._pruned(read_template(template), 0)
        return self._read[template]

    def say(self, part: Part) -> str:
        """Return one sentence of a sayable part."""
        return " ".join(self._words(part))

    # Leaving out what cannot be said.

    def _pruned(self, part: Part, depth: int) -> Part | None:
        if depth > DEEPEST:
            raise TemplateWrong("word lists name each other in a circle")
        if part.kind == "word":
            return self._pruned_word(part, depth)
        if part.kind == "list":
            name = NUMBERS.get(part.text, part.text)
            return Part("list", name) if self._entries(name, depth) else None
        if part.kind == "maybe":
            inner = self._pruned(part.parts[0], depth)
            return Part("maybe", parts=(inner,)) if inner else Part("gap")
        if part.kind == "choice":
            kept = tuple(left for branch in part.parts if (left := self._pruned(branch, depth)))
            return Part("choice", parts=kept) if kept else None
        if part.kind == "gap":
            return part
        return self._pruned_sequence(part, depth)

    def _pruned_word(self, part: Part, depth: int) -> Part | None:
        word = part.text
        if word in self.spoken:
            said = tuple(left for way in self.spoken[word] if (left := self._pruned(read_template(way), depth + 1)))
            return Part("choice", parts=said) if said else None
        if not re.search(r"[^\W\d_]", word):
            return None if re.search(r"[\w$€£%/+]", word) else Part("gap")
        return part if re.fullmatch(SAYABLE, word) and word not in LONE_LETTERS and self.knows(word) else None

    def _entries(self, name: str, depth: int) -> tuple[Part, ...]:
        if name not in self._lists:
            read = (self._pruned(read_template(entry), depth + 1) for entry in self.lists.get(name, ()))
            self._lists[name] = tuple(part for part in read if part)
        return self._lists[name]

    def _pruned_sequence(self, part: Part, depth: int) -> Part | None:
        kept: list[Part] = []
        at = 0
        while at < len(part.parts):
            figure, length = self._figure(part.parts, at, depth)
            piece = figure or self._pruned(part.parts[at], depth)
            if piece is None:
                return None
            kept.append(piece)
            at += length if figure else 1
        return Part("sequence", parts=tuple(kept))

    def _figure(self, parts: Sequence[Part], at: int, depth: int) -> tuple[Part | None, int]:
        """Return how a run of words with a figure in it is said, and how many words it takes."""
        run: list[str] = []
        for part in parts[at : at + 3]:
            if part.kind != "word":
                break
            run.append(part.text)
        for length in range(len(run), 1, -1):
            ways = self.spoken.get(" ".join(run[:length]), ())
            said = tuple(left for way in ways if (left := self._pruned(read_template(way), depth + 1)))
            if said:
                return Part("choice", parts=said), length
        return None, 0

    # Saying.

    def _words(self, part: Part) -> Iterator[str]:
        if part.kind == "word":
            yield part.text
        elif part.kind == "list":
            yield from self._words(self.chance.choice(self._lists[part.text]))
        elif part.kind == "choice":
            yield from self._words(self.chance.choice(part.parts))
        elif part.kind == "maybe":
            if self.chance.random() < OPTIONAL_SAID:
                yield from self._words(part.parts[0])
        elif part.kind == "sequence":
            at = 0
            while at < len(part.parts):
                if self._counted(part.parts, at) and self.chance.random() < COUNT_SAID:
                    yield self.chance.choice(self.counts)
                    at += 2
                else:
                    yield from self._words(part.parts[at])
                    at += 1

    def _counted(self, parts: Sequence[Part], at: int) -> bool:
        if parts[at].text not in {"number", "quantity"} or at + 1 >= len(parts):
            return False
        after = parts[at + 1]
        while after.kind in {"maybe", "sequence"} and len(after.parts) == 1:
            after = after.parts[0]
        return after.text == COUNTED


def breadth(part: Part) -> int:
    """Return how many alternatives the widest choice of a part has."""
    own = len(part.parts) if part.kind == "choice" else 1
    return max([own, *(breadth(inner) for inner in part.parts)])
