"""The rulebook as a reader sees it: tables in words, numbers, sources, worked cases; knows no markup."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dialogue.counter.wording import Wording, load_wording
from rules.advice import STRINGS, StringAdvice, advise_strings
from rules.advice_cases import AdviceCase, as_worked_out, load_advice_cases
from rules.book_format import OWN, STRINGBEDS
from rules.casebook import Case, find_differences, load_cases
from rules.chain import decide
from rules.decision import Decision
from rules.errors import FactRefused
from rules.evaluator import PlainEngine, fire_rows
from rules.explain_words import ExplainWords, load_words
from rules.facts import Level
from rules.measurement import exact
from rules.rulebook import Rulebook
from rules.tables import Row, Table
from rules.words_format import find_placeholders

SHOWN_FIRST = (OWN, "interval", "verdict")
PRACTISED = (OWN, "interval", "due", "label", "comparable", "reading", "verdict")
"""The tables whose rows each get a worked case."""


@dataclass(frozen=True)
class RowShown:
    """One row in words."""

    id: str
    when: str
    says: str
    source: str


@dataclass(frozen=True)
class TableShown:
    """One table in words."""

    name: str
    title: str
    counts: str
    """How several rows that fit are dealt with."""
    rows: tuple[RowShown, ...]


@dataclass(frozen=True)
class ChartLine:
    """One stringbed of the chart at a glance."""

    stringbed: str
    intervals: tuple[str, ...]
    """For each level in turn."""


@dataclass(frozen=True)
class CaseShown:
    """One worked case."""

    name: str
    today: str
    """Empty where no day matters."""
    facts: Mapping[str, Any]
    """As facts JSON, to be told by whoever shows it."""
    answer: str
    why: str
    printed: str = ""
    """The range printed on the frame, where it is part of the case."""


@dataclass(frozen=True)
class Page:
    """All that stands on the page."""

    book: Rulebook
    levels: tuple[str, ...]
    """The heads of the chart's columns."""
    chart: tuple[ChartLine, ...]
    tables: tuple[TableShown, ...]
    numbers: tuple[tuple[str, str, str, str], ...]
    """Name, value with unit, source, note."""
    limits: tuple[tuple[str, str, str], ...]
    """Fact, range with unit, source."""
    cases: tuple[CaseShown, ...]
    sources: tuple[tuple[str, str], ...]
    """Kind and citation."""

    def table(self, name: str) -> TableShown | None:
        """Return a table by its name."""
        return next((table for table in self.tables if table.name == name), None)


def read_page(book: Rulebook) -> Page:
    """Return an edition in words, with a worked case for each row that a case can show."""
    reader = _Reader(book, load_words(book), load_wording(book))
    content = book.content
    cites = {name: entry["cite"] for name, entry in content["sources.yaml"]["sources"].items()}
    numbers, limits = content["values.yaml"]["values"], content["values.yaml"]["limits"]
    return Page(
        book=book,
        levels=reader.levels(),
        chart=tuple(reader.chart()),
        tables=tuple(reader.tables()),
        numbers=tuple(
            (name, f"{entry['value']:g} {entry['unit']}", cites[entry["source"]], entry.get("note", ""))
            for name, entry in numbers.items()
        ),
        limits=tuple(
            (name, f"{reader.span(entry['low'], entry['high'])} {entry['unit']}", cites[entry["source"]])
            for name, entry in limits.items()
        ),
        cases=(*reader.cases(), *reader.advice()),
        sources=tuple((entry["kind"], entry["cite"]) for entry in content["sources.yaml"]["sources"].values()),
    )


@dataclass(frozen=True)
class _Reader:
    """Puts one edition in words."""

    book: Rulebook
    words: ExplainWords
    wording: Wording

    def tables(self) -> Iterator[TableShown]:
        names = [name for name in SHOWN_FIRST if name in self.book.tables]
        names += [name for name in self.book.tables if name not in names]
        for name in names:
            table = self.book.tables[name]
            rows = tuple(self.row(table, row) for row in table.rows)
            counts = self.wording.say(f"page.hit.{table.hit_policy}")
            yield TableShown(name, table.title, counts, rows)

    def row(self, table: Table, row: Row) -> RowShown:
        conditions = [self.words.needs(table.name, name, cell) for name, cell in row.when.items()]
        when = self.words.both(conditions) if conditions else self.wording.say("page.always")
        return RowShown(row.id, when, blank_sentence(row, self.book), row.source)

    def levels(self) -> tuple[str, ...]:
        """Return the levels of the chart in words."""
        return tuple(self.words.words.term(level) for level in Level)

    def chart(self) -> Iterator[ChartLine]:
        for bed in STRINGBEDS:
            yield ChartLine(self.words.words.term(bed), tuple(self.cell(level, bed) for level in Level))

    def cell(self, level: str, bed: str) -> str:
        """Return what the chart gives a level and a stringbed, with a league season and without."""
        table = self.book.tables["interval"]
        told = []
        for season in (True, False):
            rows = fire_rows(table, {"level": level, "stringbed": bed, "season_known": season})
            told.append(self.interval(rows[0]) if rows else self.wording.say("page.blank"))
        return told[0] if told[0] == told[1] else self.wording.say("page.season", known=told[0], unknown=told[1])

    def interval(self, row: Row) -> str:
        """Return how long a row of the chart gives."""
        say, rule = self.wording.say, row.gives["rule"]
        if rule == "league":
            return say("page.league")
        if rule == "per_year":
            return say("page.per_year", ceiling=self.value(row, "ceiling"))
        low, high = self.value(row, "first"), self.value(row, "last")
        return say("page.months", n=int(low) if low == int(low) else low) if low == high else self.range(low, high)

    def span(self, low: float, high: float) -> str:
        return str(self.book.words["span"].format(low=f"{low:g}", high=f"{high:g}"))

    def range(self, low: float, high: float) -> str:
        return self.wording.say("page.range", low=low, high=high)

    def value(self, row: Row, key: str) -> float:
        return self.book.values[str(row.gives[key])]

    def cases(self) -> Iterator[CaseShown]:
        for case, decision in self.pick_cases():
            as_worked_out = not find_differences(case, decision)
            why = case.why if as_worked_out else self.wording.say("page.otherwise")
            yield CaseShown(case.name, self.words.date(case.today), case.facts, self.answer(decision), why)

    def advice(self) -> Iterator[CaseShown]:
        """Yield the worked advice, where this edition gives any."""
        for case in load_advice_cases() if STRINGS in self.book.tables else ():
            try:
                advice = advise_strings(case.read_facts(self.book), self.book, case.printed_lb, PlainEngine())
            except FactRefused:
                continue
            if advice is not None:
                why = case.why if as_worked_out(case, advice) else self.wording.say("page.otherwise")
                yield CaseShown(case.name, "", case.facts, self.strings(advice), why, self.printed(case))

    def printed(self, case: AdviceCase) -> str:
        """Return the range printed on the frame, in words."""
        span = case.printed_lb
        return self.wording.say("page.printed", low=span.low, high=span.high) if span else ""

    def strings(self, advice: StringAdvice) -> str:
        """Return what is advised, in words."""
        mains, crosses = (self.words.words.term(string) for string in (advice.mains, advice.crosses))
        strings = self.wording.say("page.full" if mains == crosses else "page.hybrid", mains=mains, crosses=crosses)
        if advice.tension_lb is None:
            return strings
        return self.wording.say("page.at", strings=strings, tension=advice.tension_lb)

    def pick_cases(self) -> list[tuple[Case, Decision]]:
        """Return few cases that together show every row a case can show, those that show most rows first."""
        decided = []
        for case in load_cases():
            try:
                decided.append((case, decide(case.read_facts(self.book), self.book, PlainEngine())))
            except FactRefused:
                continue
        left = {row.id for name in PRACTISED if name in self.book.tables for row in self.book.tables[name].rows}
        chosen = []
        while decided:
            case, decision = max(decided, key=lambda pair: len(left & _rows(pair[1])))
            if not left & _rows(decision):
                break
            left -= _rows(decision)
            chosen.append((case, decision))
        return sorted(chosen, key=lambda pair: (pair[0].file, pair[0].name))

    def answer(self, decision: Decision) -> str:
        verdict = self.words.verdict(decision.verdict)
        if decision.window:
            first, date = decision.window
            return self.wording.say("page.between", verdict=verdict, first=first, date=date)
        if decision.restring_by:
            return self.wording.say("page.by", verdict=verdict, date=decision.restring_by)
        return verdict


def blank_sentence(row: Row, book: Rulebook) -> str:
    """Return a row's sentence with the book's numbers in it and a blank for what each case fills in."""
    wording = load_wording(book)
    says, blank = row.says, wording.say("page.blank")
    numbers = {name: f"{value:g}" for name, value in book.values.items()}
    if row.table == OWN:
        months = exact(float(row.gives["every_months"]))
        numbers["every"] = wording.words.every(months, months)
    text = says.format_map({name: numbers.get(name, blank) for name in find_placeholders(says)})
    return text[:1].upper() + text[1:]


def _rows(decision: Decision) -> set[str]:
    return {step.row for step in decision.trail}


__all__ = ["CaseShown", "ChartLine", "Page", "RowShown", "TableShown", "blank_sentence", "read_page"]
