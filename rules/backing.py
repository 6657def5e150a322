"""Who says so: the sources of the rows and numbers an answer rests on, and published advice that differs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.decision import Decision
from rules.explain import begin_large, begin_small
from rules.explain_words import ExplainWords, load_words
from rules.rulebook import Rulebook, list_rows
from rules.words_format import find_placeholders

OTHERS = "others_say"


@dataclass(frozen=True)
class Source:
    """Where something comes from."""

    id: str
    kind: str
    """practice, house, published, quoted or memory."""
    cite: str

    def to_dict(self) -> dict[str, Any]:
        """Return the source as JSON."""
        return {"id": self.id, "kind": self.kind, "cite": self.cite}


@dataclass(frozen=True)
class Figure:
    """A number of values.yaml that a row uses."""

    name: str
    value: float
    unit: str
    source: Source
    note: str
    """What others say of it, where something is known."""

    def to_dict(self) -> dict[str, Any]:
        """Return the number as JSON."""
        shown = {"name": self.name, "value": self.value, "unit": self.unit, "source": self.source.to_dict()}
        return {**shown, "note": self.note} if self.note else shown


@dataclass(frozen=True)
class Backing:
    """What one row of an answer rests on."""

    row: str
    table: str
    sources: tuple[Source, ...]
    figures: tuple[Figure, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the backing as JSON."""
        return {
            "row": self.row,
            "table": self.table,
            "sources": [source.to_dict() for source in self.sources],
            "figures": [figure.to_dict() for figure in self.figures],
        }


@dataclass(frozen=True)
class WhoSays:
    """Who says so, and who says otherwise."""

    backings: tuple[Backing, ...]
    others: tuple[str, ...]
    """The sentences of published advice that differs."""
    lines: tuple[str, ...]
    spoken: tuple[str, ...]
    """The lines without the numbers, which nobody keeps in the ear."""

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        backings = [backing.to_dict() for backing in self.backings]
        return {"rows": backings, "others": list(self.others), "lines": list(self.lines), "spoken": list(self.spoken)}


def find_sources(decision: Decision, book: Rulebook) -> WhoSays:
    """Return the sources of every row a decision rests on, with its numbers, and what other advice says.

    Args:
        decision: the decision as it was taken, or as it was stored.
        book: the edition that took it.
    """
    words = load_words(book)
    shelf = _Shelf.of(book)
    rows = dict.fromkeys(step.row for step in decision.trail if step.table != OTHERS)
    backings = tuple(shelf.back(row) for row in rows)
    others = tuple(step.says for step in decision.trail if step.table == OTHERS and not _is_followed(step.row, book))
    said = tuple(_tell_sources(backings, words))
    others_said = tuple(_tell_others(decision, book, words))
    numbers = tuple(_tell_numbers(backings, words))
    return WhoSays(backings, others, (*said, *numbers, *others_said), (*said, *others_said))


@dataclass(frozen=True)
class _Shelf:
    """Sources, numbers and rows as written, by id."""

    book: Rulebook
    sources: Mapping[str, Source]
    numbers: Mapping[str, Figure]
    rows: Mapping[str, Mapping[str, Any]]

    @classmethod
    def of(cls, book: Rulebook) -> _Shelf:
        content = book.content
        sources = {
            name: Source(name, entry["kind"], entry["cite"])
            for name, entry in content["sources.yaml"]["sources"].items()
        }
        numbers = {
            name: Figure(name, entry["value"], entry["unit"], sources[entry["source"]], entry.get("note", ""))
            for name, entry in content["values.yaml"]["values"].items()
        }
        rows = {row["id"]: row for row in list_rows(content)}
        return cls(book, sources, numbers, rows)

    def back(self, row_id: str) -> Backing:
        """Return what a row rests on."""
        row, entry = self.book.row(row_id), self.rows[row_id]
        named = [value for value in entry["gives"].values() if isinstance(value, str)]
        for cell in entry.get("when", {}).values():
            named += [bound for bound in cell.values() if isinstance(bound, str)] if isinstance(cell, dict) else []
        named += sorted(find_placeholders(entry["says"]))
        figures = tuple(self.numbers[name] for name in dict.fromkeys(named) if name in self.numbers)
        return Backing(row_id, row.table, tuple(self.sources[name] for name in entry["source"]), figures)


def _is_followed(row_id: str, book: Rulebook) -> bool:
    policy = book.row(row_id).policy
    return policy is not None and book.policies[policy]


def _cited(source: Source, words: ExplainWords) -> str:
    kind = words.spec.sources["kinds"][source.kind]
    return source.cite if kind in source.cite else f"{source.cite} ({kind})"


def _tell_sources(backings: Sequence[Backing], words: ExplainWords) -> Iterator[str]:
    """Yield each source once, with what rests on it."""
    resting: dict[str, list[str]] = {}
    for backing in backings:
        title = begin_small(words.book.tables[backing.table].title)
        for source in backing.sources:
            resting.setdefault(_cited(source, words), []).append(title)
    for cite, titles in resting.items():
        yield words.say("sources", "source", cite=begin_large(cite), what=", ".join(dict.fromkeys(titles)))


def _tell_numbers(backings: Sequence[Backing], words: ExplainWords) -> Iterator[str]:
    """Yield each number the rows use, with its source and what others say of it."""
    figures = {figure.name: figure for backing in backings for figure in backing.figures}
    for figure in figures.values():
        amount, cite = words.amount(figure.value, figure.unit), _cited(figure.source, words)
        yield words.say("sources", "number", name=begin_large(words.number(figure.name)), amount=amount, cite=cite)
        if figure.note:
            yield words.say("sources", "note", note=figure.note.rstrip("."))


def _tell_others(decision: Decision, book: Rulebook, words: ExplainWords) -> Iterator[str]:
    for step in decision.trail:
        if step.table == OTHERS:
            key = "followed" if _is_followed(step.row, book) else "others"
            yield words.say("sources", key, says=step.says, cite=step.source)
