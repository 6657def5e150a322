"""Acts told by the words a line has, in any order; the rows of closer phrasings are not its work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dialogue.understanding.cuebook import CUE_FOLDER, Hit, Row, read_cues
from dialogue.understanding.errors import CueBroken
from dialogue.understanding.lines import Line

FILE = "acts_soft.yaml"
KEYS = frozenset(
    {"id", "intent", "operation", "rank", "has", "unless", "question", "asked", "not_asked", "asked_slot", "yields"}
    | {"only", "needs_value", "needs_no_value", "needs_number", "starts_with"}
)
CONFIRM = "confirm"
NUMBER = "<n>"


@dataclass(frozen=True)
class Group:
    """Words and phrases of which one must be there."""

    words: frozenset[str]
    phrases: tuple[str, ...]

    def within(self, line: Line) -> bool:
        """Tell whether one of them is in the line."""
        if not self.words.isdisjoint(line.words):
            return True
        padded = line.padded
        for phrase in self.phrases:  # noqa: SIM110 - asked some thousand times a line; a generator takes twice as long
            if phrase in padded:
                return True
        return False


@dataclass(frozen=True)
class SoftRow:
    """One act and the words that tell it."""

    row: Row
    has: tuple[Group, ...]
    only: frozenset[str] | None
    """Where given, no word but these, small words and those of `has` may be there."""
    unless: Group
    starts_with: Group | None
    question: bool
    asked_slot: bool
    needs_number: bool


class SoftActs:
    """The rows of the soft act file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues(FILE, folder)
        small = frozenset(map(str, table["small"]))
        self.rows = tuple(_row(order, raw, small) for order, raw in enumerate(table["rows"]))
        self._question_words = frozenset(table["question_words"])
        self._leads = frozenset(table["question_leads"])
        self._marks = _group(table["question_marks"])

    def problems(self, intents: AbstractSet[str]) -> list[str]:
        """Return the rows whose own exceptions rule them out, and those with an unknown intent."""
        unknown = [
            f"cues/{FILE}: {soft.row.id}: has the unknown intent {soft.row.act['intent']!r}"
            for soft in self.rows
            if soft.row.act["intent"] not in intents
        ]
        return unknown + [
            f"cues/{FILE}: {soft.row.id}: can never fire, its `unless:` holds a whole group of `has:`"
            for soft in self.rows
            for group in soft.has
            if not group.phrases and group.words <= soft.unless.words
        ]

    def find(self, line: Line, asked: str | None) -> list[Hit]:
        """Return the acts whose words are all there, as hits over the whole line."""
        question = self._is_question(line)
        whole = (0, len(line.text))
        hits = []
        for soft in self.rows:
            row = soft.row
            if (row.asked and asked not in row.asked) or asked in row.not_asked:
                continue
            if (soft.question and not question) or (soft.asked_slot and asked in (None, CONFIRM)):
                continue
            if soft.needs_number and not line.numbers:
                continue
            if soft.only is not None and not line.bare_words <= soft.only:
                continue
            if (
                all(group.within(line) for group in soft.has)
                and not soft.unless.within(line)
                and self._begins(soft, line)
            ):
                hits.append(Hit(row, whole, {}, ""))
        return hits

    def _begins(self, soft: SoftRow, line: Line) -> bool:
        if soft.starts_with is None:
            return True
        for start in (0, line.core[0]):
            begun = line.text[start:]
            first = begun.split(" ", 1)[0]
            if first in soft.starts_with.words or begun.startswith(tuple(p.lstrip() for p in soft.starts_with.phrases)):
                return True
        return False

    def _is_question(self, line: Line) -> bool:
        for token in line.tokens:
            if token.word not in self._leads:
                if token.word in self._question_words:
                    return True
                break
        return self._marks.within(line)


def soft_words(folder: Path = CUE_FOLDER) -> list[str]:
    """Return every word and phrase of the soft act file."""
    table = read_cues(FILE, folder)
    groups = [table["small"], table["question_words"], table["question_leads"], table["question_marks"]]
    for row in table["rows"]:
        groups += [*row.get("has", ()), row.get("unless", ()), row.get("only", ())]
    return [str(word) for group in groups for word in group]


def _group(words: Sequence[Any]) -> Group:
    said = [NUMBER_STAND_IN if word == NUMBER else str(word) for word in words]
    return Group(
        frozenset(word for word in said if " " not in word), tuple(f" {word} " for word in said if " " in word)
    )


NUMBER_STAND_IN = "#"


def _row(order: int, raw: Mapping[str, Any], small: frozenset[str]) -> SoftRow:
    name = str(raw.get("id", f"row {order + 1}"))
    if unknown := set(raw) - KEYS:
        raise CueBroken(FILE, name, f"has unknown keys {sorted(unknown)}; use {sorted(KEYS)}")
    if not raw.get("has") or not all(isinstance(group, list) for group in raw["has"]):
        raise CueBroken(FILE, name, "needs `has:` with a list of word groups")
    act = {
        key: raw[key]
        for key in ("intent", "operation", "rank", "yields", "needs_value", "needs_no_value")
        if key in raw
    }
    row = Row(
        f"act.{name}", FILE, "act", (), role="value", confidence=0.8, order=order, act=act,
        asked=frozenset(raw.get("asked", ())), not_asked=frozenset(raw.get("not_asked", ())),
    )  # fmt: skip
    has = tuple(_group(group) for group in raw["has"])
    only = None
    if "only" in raw:
        named = [str(word) for group in (raw["only"], *raw["has"]) for word in group]
        only = small | frozenset(word for phrase in named for word in phrase.split())
    return SoftRow(
        row,
        has,
        only,
        _group(raw.get("unless", ())),
        _group(raw["starts_with"]) if "starts_with" in raw else None,
        bool(raw.get("question")),
        bool(raw.get("asked_slot")),
        bool(raw.get("needs_number")),
    )
