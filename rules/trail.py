"""The trail of one decision while it grows: rows that fired, what they read, what they offer to ask."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from rules.decision import Need, Step
from rules.engine import Engine
from rules.errors import BookError
from rules.evaluator import Values
from rules.facts import Facts
from rules.hitpolicy import apply_hit_policy
from rules.measurement import exact
from rules.rulebook import Rulebook
from rules.sentences import Words
from rules.tables import Row

REASONS = (
    "own",
    "interval",
    "interval_unsure",
    "due",
    "latest",
    "label",
    "comparable",
    "reading",
    "reading_quality",
    "verdict",
    "notes",
)
"""The tables whose sentences are reasons; which stringbed it is, a stringer sees."""


class _Fillings(dict[str, str]):
    """What fills a sentence's braces: its own words, else a number of the book, else that it is not known."""

    def __init__(self, book: Rulebook, words: Mapping[str, str]) -> None:
        super().__init__(words)
        self._book = book

    def __missing__(self, name: str) -> str:
        value = self._book.values.get(name)
        return str(self._book.words["not_known"]) if value is None else f"{value:g}"


@dataclass
class Trail:
    """Fires tables and writes down what happened; one for each decision."""

    facts: Facts
    book: Rulebook
    engine: Engine
    steps: list[Step] = field(default_factory=list)
    offered: list[Need] = field(default_factory=list)

    @property
    def words(self) -> Words:
        """The words of the rulebook."""
        return Words(self.book.words)

    def value(self, name: str) -> float:
        """Return a number of values.yaml."""
        return self.book.values[name]

    def number(self, row: Row, key: str) -> Fraction:
        """Return a number that a row gives by its name, exactly.

        Raises:
            BookError: when the row does not give it.
        """
        if key not in row.gives:
            raise BookError(row.table, row.id, f"gives.{key} is missing, though these facts need it; add it")
        return exact(self.value(str(row.gives[key])))

    def fire(self, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that count under its hit policy."""
        return apply_hit_policy(self.book.tables[table], self.engine.fire(self.book, table, values))

    def fire_one(self, table: str, values: Values) -> Row:
        """Return the first row that counts of a table that must have one for every case.

        Raises:
            BookError: when no row fires.
        """
        rows = self.fire(table, values)
        if not rows:
            case = ", ".join(f"{name} {value}" for name, value in values.items())
            raise BookError(table, "rows", f"no row fires for {case}; add one")
        return rows[0]

    def fire_all(self, table: str, values: Values) -> tuple[Row, ...]:
        """Return every row that fires, whatever the hit policy says of it."""
        return self.engine.fire(self.book, table, values)

    def write(self, row: Row, values: Values, *, words: Mapping[str, str], against: bool = False) -> None:
        """Add a fired row with its sentence filled in, and remember what it offers."""
        self.write_with(row, values, {}, words, against=against)

    def write_with(
        self, row: Row, values: Values, read: Mapping[str, Any], words: Mapping[str, str], *, against: bool = False
    ) -> None:
        """Add a fired row that read more than its conditions, such as the days it counted from."""
        seen: dict[str, Any] = {name: values[name] for name in row.when if name in values}
        if row.asks:
            known = self.facts.to_dict()
            seen |= {fact: known.get(fact) for fact in row.asks}
        gives = {
            key: self.book.values.get(value, value) if isinstance(value, str) else value
            for key, value in row.gives.items()
        }
        text = row.says.format_map(_Fillings(self.book, words))
        says = text[:1].upper() + text[1:]
        self.steps.append(Step(row.id, row.table, {**seen, **read}, gives, says, row.source, against))
        for fact in row.offers:
            self.offer(fact, row, ask=fact in ASKED_OFFERS)

    def because(self, fact: str, row: Row) -> str:
        """Return why a row reads a fact, in words for a customer."""
        table = self.book.tables[row.table]
        column = table.inputs.get(fact)
        return (column.because if column else "") or table.facts.get(fact, "")

    def need(self, fact: str, row: Row) -> Need:
        """Return the need for a fact that a row reads."""
        return Need(fact, self.because(fact, row), row.id)

    def offer(self, fact: str, row: Row, *, ask: bool) -> None:
        """Remember that a fact would make the answer firmer."""
        if fact not in self.facts.unknown and fact not in {need.fact for need in self.offered}:
            self.offered.append(Need(fact, self.because(fact, row), row.id, ask))


ASKED_OFFERS = frozenset({"league_start", "baseline", "strung_on"})
"""Facts a row reads when they are there: asked for before the answer, but the answer can do without."""
