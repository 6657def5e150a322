"""The words of an explanation, read strictly from book/explain.yaml; knows no decision and no facts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from pydantic import Field as Setting
from pydantic import model_validator

from rules.book_format import COLUMNS, NUMBER, WORD, Scalar, Strict, check_spec, read_yaml
from rules.decision import Verdict
from rules.errors import BookError
from rules.facts import Fact, Kind
from rules.rulebook import BOOK_FOLDER, Rulebook
from rules.sentences import Words
from rules.tables import Cell

FILE = "explain.yaml"
BOUNDS = ("at_least", "more_than", "at_most", "below")
EQUAL = "equal"


class _ColumnSpec(Strict):
    needs: str | dict[str, str]
    met: str | dict[str, str] = Setting(alias="is")
    unknown: str


class GridSpec(Strict):
    """How finely one kind of fact is searched."""

    step: float | int = Setting(gt=0)
    unit: str
    reach: int = Setting(0, ge=0)


class _ExplainSpec(Strict):
    customer: dict[str, str]
    verdicts: dict[str, str]
    facts: dict[str, str]
    stringer: dict[str, str]
    trail: dict[str, str]
    why_not: dict[str, str]
    why_not_later: dict[str, str]
    turns: dict[str, str]
    changes: dict[str, str]
    units: dict[str, str]
    sources: dict[str, Any]
    comparing: dict[str, Any]
    grid: dict[str, GridSpec]
    inputs: dict[str, dict[str, _ColumnSpec]]

    @model_validator(mode="after")
    def _has_words_for_all(self) -> _ExplainSpec:
        missing: list[str] = [
            *(set(Verdict) - set(self.verdicts)),
            *(set(Fact) - set(self.facts)),
            *(set(Kind) - set(self.units)),
        ]
        for table, columns in COLUMNS.items():
            for name, values in columns.items():
                spec = self.inputs.get(table, {}).get(name)
                if spec is None:
                    missing.append(f"inputs.{table}.{name}")
                elif values == NUMBER:
                    missing += _missing(f"{table}.{name}", spec.needs, (*BOUNDS, EQUAL))
                elif values != WORD:
                    missing += _missing(f"{table}.{name}", spec.needs, values)
                    missing += _missing(f"{table}.{name}", spec.met, values)
        if missing:
            raise ValueError(f"no words for {', '.join(sorted(missing))}")
        return self


def _missing(where: str, texts: str | Mapping[str, str], values: Iterable[Scalar] | str) -> list[str]:
    """Return the values a mapping of texts leaves out; one text serves every value."""
    if isinstance(texts, str) or isinstance(values, str):
        return []
    return [f"{where}: {name_of(value)}" for value in values if name_of(value) not in texts]


def name_of(value: Scalar) -> str:
    """Return a value as YAML writes it: true and false in small letters."""
    return str(value).lower() if isinstance(value, bool) else str(value)


@dataclass(frozen=True)
class ExplainWords:
    """Fills the sentences of an explanation in the words of one rulebook."""

    spec: _ExplainSpec
    book: Rulebook

    @property
    def words(self) -> Words:
        """The words of the rulebook's own sentences."""
        return Words(self.book.words)

    def say(self, part: str, key: str, /, **values: Any) -> str:
        """Return a sentence of one part of the file with its values."""
        texts: Mapping[str, Any] = getattr(self.spec, part)
        return str(texts[key]).format_map(values)

    def verdict(self, verdict: str) -> str:
        """Return a verdict in plain words."""
        return self.spec.verdicts[verdict]

    def fact(self, fact: str) -> str:
        """Return a fact as it is named inside a sentence."""
        return self.spec.facts.get(fact, fact.replace("_", " "))

    def needs(self, table: str, name: str, cell: Cell) -> str:
        """Return what a condition needs: "a loss of 10 % or more and a loss under 20 %"."""
        texts = self.spec.inputs[table][name].needs
        if cell.one_of and COLUMNS[table][name] == NUMBER:
            return self._either([self._of_number(texts, EQUAL, float(value)) for value in cell.one_of])
        if cell.one_of:
            return self._either([self._of_value(texts, value) for value in cell.one_of])
        bounds = {key: getattr(cell, key) for key in BOUNDS if getattr(cell, key) is not None}
        return self.both([self._of_number(texts, key, bound) for key, bound in bounds.items()])

    def met(self, table: str, name: str, value: Scalar | None, days: Mapping[str, str]) -> str:
        """Return what a condition met instead: "the loss is 6 %"; the days of label and chart may be named."""
        column = self.spec.inputs[table][name]
        if value is None:
            return column.unknown
        if COLUMNS[table][name] == NUMBER:
            return self._filled(str(column.met), n=self.figure(float(value)))
        return self._of_value(column.met, value, days)

    def unit(self, kind: str) -> str:
        """Return the unit in which a kind of instrument reads."""
        return self.spec.units.get(kind, "")

    def figure(self, number: float) -> str:
        """Return a number with three places at most."""
        return self.words.decimal(number, 3)

    def date(self, day: dt.date) -> str:
        """Return a day in words."""
        return self.words.date(day)

    def both(self, texts: Iterable[str]) -> str:
        """Return texts joined by "and"."""
        return self._join("and", list(texts))

    def also(self, texts: Iterable[str]) -> str:
        """Return clauses joined by a semicolon."""
        return self._join("also", list(texts))

    def _either(self, texts: list[str]) -> str:
        return self._join("or", texts)

    def _join(self, key: str, texts: list[str]) -> str:
        joined = texts[-1]
        for text in reversed(texts[:-1]):
            joined = self.say("why_not", key, first=text, rest=joined)
        return joined

    def _of_value(
        self, texts: str | Mapping[str, str], value: Scalar, days: Mapping[str, str] = MappingProxyType({})
    ) -> str:
        if isinstance(texts, str):
            return self._filled(texts, value=self.words.term(name_of(value)))
        return self._filled(texts[name_of(value)], **days)

    def _of_number(self, texts: str | Mapping[str, str], bound: str, number: float) -> str:
        return self._filled(texts if isinstance(texts, str) else texts[bound], n=self.figure(number))

    def _filled(self, text: str, **values: str) -> str:
        numbers = {name: f"{value:g}" for name, value in self.book.values.items()}
        return text.format_map({**numbers, **values})


@lru_cache(maxsize=1)
def _load_spec() -> _ExplainSpec:
    return check_spec(FILE, "file", _ExplainSpec, read_yaml(BOOK_FOLDER / FILE, aliases=True))


def load_words(book: Rulebook) -> ExplainWords:
    """Return the words of an explanation, filled with the numbers and terms of a rulebook.

    Raises:
        BookError: when book/explain.yaml lacks words for something a rulebook may name.
    """
    return ExplainWords(_load_spec(), book)


def load_grid() -> Mapping[str, GridSpec]:
    """Return how finely each kind of fact is searched.

    Raises:
        BookError: when book/explain.yaml cannot be used.
    """
    return _load_spec().grid


__all__ = ["BookError", "ExplainWords", "GridSpec", "load_grid", "load_words", "name_of"]
