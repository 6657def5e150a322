"""The words of an explanation, read strictly from book/explain.yaml; knows no decision and no facts."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from pydantic import Field as Setting
from pydantic import model_validator

from rules.book_format import COLUMNS, NUMBER, OUTPUTS, WORD, Scalar, Strict, check_spec, read_yaml
from rules.decision import Verdict
from rules.errors import BookError
from rules.facts import Fact, Kind
from rules.rulebook import BOOK_FOLDER, Rulebook
from rules.sentences import Words
from rules.tables import Cell

FILE = "explain.yaml"
BOUNDS = ("at_least", "more_than", "at_most", "below")
EQUAL = "equal"
HALF = 1 / 2
NAMED_DAY = re.compile(r", \{(?:chart_due|label_due|window)\},")
"""The day inside a text, left out where it is told without the facts."""


class _ColumnSpec(Strict):
    needs: str | dict[str, str]
    met: str | dict[str, str] = Setting(alias="is")
    unknown: str


class GridSpec(Strict):
    """How finely one kind of fact is searched."""

    step: float | int = Setting(gt=0)
    unit: str
    reach: int = Setting(0, ge=0)


class _AmountSpec(Strict):
    one: str
    other: str


class _ExplainSpec(Strict):
    customer: dict[str, str]
    verdicts: dict[str, str]
    facts: dict[str, str]
    stringer: dict[str, str]
    trail: dict[str, str]
    why_not: dict[str, str]
    why_not_later: dict[str, str]
    turns: dict[str, str]
    changes: dict[str, str | dict[str, str]]
    known: dict[str, str | dict[str, str]]
    given: dict[str, dict[str, str | dict[str, str]]]
    amounts: dict[str, _AmountSpec]
    plays: dict[str, str]
    numbers: dict[str, str]
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
            *(set(self.changes) ^ set(self.known)),
        ]
        for table, results in OUTPUTS.items():
            for name, options in results.items():
                given = self.given.get(table, {}).get(name, {})
                missing += _missing(f"given.{table}.{name}", given, options)
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


class _Amounts(dict[str, str]):
    """What fills a text: its own values, else a number of the book with its unit."""

    def __init__(self, words: ExplainWords, values: Mapping[str, str]) -> None:
        super().__init__(values)
        self._words = words

    def __missing__(self, name: str) -> str:
        return self._words.amount_of(name)


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

    def amount(self, value: float, unit: str) -> str:
        """Return a number with its unit, one or several: "one month", "12 months", "10 %"."""
        figure = self.figure(value)
        forms = self.spec.amounts.get(unit)
        if forms is None:
            return f"{figure} {unit}"
        return (forms.one if value == 1 else forms.other).format(n=figure, number=self.words.number(value))

    def number(self, name: str) -> str:
        """Return what a number or a limit of values.yaml is, in words; as it is written where there are none."""
        return self.spec.numbers.get(name) or self.fact(name)

    def plays(self, low: float, high: float) -> str:
        """Return how often somebody plays: "twice a week", "three times in two weeks", "2 to 3 times a week"."""
        texts, number = self.spec.plays, self.words.number
        if low != high and high <= 1:
            return texts["seldom_range"].format(low=self.plays(low, low), high=self.plays(high, high))
        if low != high:
            return texts["range"].format(low=self.figure(low), high=self.figure(high))
        if f"{low:g}" in texts:
            return texts[f"{low:g}"]
        key, count = ("halves", low * 2) if low * 2 % 2 == 1 else ("other", low)
        if low < HALF:
            key, count = "seldom", round(1 / low)
        return texts[key].format(number=number(count))

    def given(self, table: str, name: str, value: Scalar) -> str:
        """Return what a row gave: "12 months at the most"."""
        texts = self.spec.given.get(table, {}).get(name)
        if texts is None:
            return self.say("trail", "pair", name=name.replace("_", " "), value=self.words.term(name_of(value)))
        text = texts if isinstance(texts, str) else texts.get(name_of(value), name_of(value))
        amounts = {}
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            units = {"months": "month", "days": "day", "hours": "hour"}
            amounts = {many: self.amount(value, unit) for many, unit in units.items()} | {"n": self.figure(value)}
        return self._filled(text, value=self.words.term(name_of(value)), **amounts)

    def change(self, fact: str, new: Any, old: Any, told: Mapping[str, str]) -> str:
        """Return a change of a fact as a condition: "Played twice a week instead of once a week".

        Args:
            fact: the fact, or full_bed.
            new: as facts JSON; so is the old one, None where it is not known.
            old: see there.
            told: both in words, as new and old.
        """
        texts = (self.spec.known if old is None else self.spec.changes)[fact]
        return (texts if isinstance(texts, str) else texts[name_of(new)]).format_map(told)

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
            times = self.amount(float(value), "1")
            return self._filled(str(column.met), n=self.figure(float(value)), times=times)
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
        text = texts[name_of(value)]
        return self._filled(text if days else NAMED_DAY.sub("", text), **days)

    def _of_number(self, texts: str | Mapping[str, str], bound: str, number: float) -> str:
        return self._filled(texts if isinstance(texts, str) else texts[bound], n=self.figure(number))

    def _filled(self, text: str, **values: str) -> str:
        return text.format_map(_Amounts(self, values))

    def amount_of(self, name: str) -> str:
        """Return a number of values.yaml with its unit."""
        return self.amount(self.book.values[name], self.book.content["values.yaml"]["values"][name]["unit"])


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
