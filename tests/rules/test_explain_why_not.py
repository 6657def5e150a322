"""Why it is not another verdict, and not later: near misses that are true, each told in words."""

from __future__ import annotations

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.casebook import Case, load_cases
from rules.chain import decide
from rules.decision import Verdict
from rules.evaluator import PlainEngine, cell_holds
from rules.facts import Facts
from rules.near_misses import (
    ForcingEngine,
    Replayed,
    WhyNot,
    explain_why_not,
    explain_why_not_later,
    find_needed,
)
from rules.rulebook import Rulebook, load_book
from tests.rules.editions import switch_on
from tests.rules.wording import names_rows, said_in_words
from tests.strategies import facts

CASES = load_cases()
each_case = pytest.mark.parametrize("case", CASES, ids=[f"{case.file}: {case.name}" for case in CASES])
PLAIN = PlainEngine()
HOLE = re.compile(r"[{}]|None|\bTrue\b|\bFalse\b|, ,|  is")


def check(known: Facts, book: Rulebook, verdict: Verdict) -> WhyNot:
    """Check one "why not" against the tables themselves and return it."""
    why = explain_why_not(known, book, verdict)
    replayed = Replayed.of(known, book)
    inputs = replayed.inputs("verdict")
    rows = {row.id: row for row in book.tables["verdict"].rows if row.gives["verdict"] == verdict}
    if replayed.decision.verdict is verdict or verdict is Verdict.NEED_MORE:
        assert why.misses == ()
        assert why.holds == (replayed.decision.verdict is verdict)
    else:
        # Every row that says so is either beaten by an earlier one or missed.
        assert {miss.row for miss in why.misses} | set(why.beaten) == set(rows)
        assert not why.holds
    for miss in why.misses:
        stopped = {stop.input for stop in miss.stops}
        for name, cell in rows[miss.row].when.items():
            assert (cell_holds(cell, inputs.get(name)) is not True) == (name in stopped)
        # Had it been the one to fire, this is what would have been said.
        assert decide(known, book, ForcingEngine(rows[miss.row])).verdict is verdict
    for row in why.beaten:
        assert any(step.row == row for step in replayed.decision.trail)
    assert why.lines
    assert len(why.lines) == len(why.rows)
    for line in why.lines:
        assert not HOLE.search(line), line
        assert said_in_words(line, book), line
        assert not names_rows(line, book), line
    return why


@each_case
def test_every_other_verdict_is_answered(case: Case) -> None:
    """For each worked situation and each verdict: which rows would have said so, and what stopped them."""
    book = switch_on(*case.policies)
    known = case.read_facts(book)
    for verdict in Verdict:
        check(known, book, verdict)


@each_case
def test_why_not_later_is_answered(case: Case) -> None:
    """What sets the day, and rows that would truly give a later one."""
    book = switch_on(*case.policies)
    known = case.read_facts(book)
    day = decide(known, book, PLAIN).restring_by
    why = explain_why_not_later(known, book)
    assert why.lines
    for line in why.lines:
        assert not HOLE.search(line), line
        assert said_in_words(line, book), line
        assert not names_rows(line, book), line
    for miss in why.misses:
        assert day
        assert miss.day
        assert miss.day > day
        assert decide(known, book, ForcingEngine(book.row(miss.row))).restring_by == miss.day
        assert miss.stops


@given(known=facts(), verdict=st.sampled_from(list(Verdict)))
@settings(max_examples=60, deadline=None)
def test_whatever_is_known_has_its_near_misses(known: Facts, verdict: Verdict) -> None:
    """Any facts at all: the near misses are true and told."""
    check(known, load_book(), verdict)


def named(name: str) -> Facts:
    """Return the facts of a case."""
    return next(case for case in CASES if case.name == name).read_facts(load_book())


def test_the_missing_loss_is_named_with_its_line() -> None:
    """A loss of 5.263 % has not reached the 10 % line: the row below says so."""
    known = next(case for case in CASES if "verdict-measured-fine" in case.rows).read_facts(load_book())
    lines = explain_why_not(known, load_book(), Verdict.RESTRING_SOON).lines
    assert any(
        line.startswith("For that it would take a loss of 10 % or more and a loss under 20 %; but the loss is")
        for line in lines
    )


def test_evidence_that_exists_comes_before_evidence_that_does_not() -> None:
    """The day by the chart is a nearer miss than a broken string nobody spoke of."""
    lines = explain_why_not(
        named("for fun, synthetic gut, three times a week"), load_book(), Verdict.RESTRING_NOW
    ).lines
    assert lines[0] == (
        "It would be restring now with a date by the chart that has passed;"
        " but the date by the chart, 10 May 2026, is still ahead."
    )


def test_an_upper_limit_that_cuts_the_count_is_named() -> None:
    """Half a play a week would be 24 months; the row of polyester allows three."""
    book = load_book()
    case = next(
        case
        for case in CASES
        if "fun-polyester" in case.rows
        and case.facts.get("plays_per_week", 9) in (0.5, 1, 2, 3)
        and case.expected["restring_by"]
    )
    lines = explain_why_not_later(case.read_facts(book), book).lines
    assert any("for these strings it is three months at the most" in line for line in lines)


def test_a_limit_the_shop_follows_is_named() -> None:
    """A shop that restrings at least twice a year is told what the day would be without that."""
    case = next(case for case in CASES if case.policies and case.expected["restring_by"])
    book = switch_on(*case.policies)
    lines = explain_why_not_later(case.read_facts(book), book).lines
    assert any("This shop follows published advice" in line for line in lines) or len(lines) > 1


def test_what_a_row_would_have_needed() -> None:
    """A row that fired needed nothing more; another names each condition that did not hold."""
    book = load_book()
    known = named("for fun, synthetic gut, three times a week")
    assert find_needed(known, book, "fun-synthetic-gut") is None
    needed = find_needed(known, book, "match-polyester")
    assert needed
    assert {stop.input for stop in needed.stops} == {"level", "stringbed"}
    with pytest.raises(KeyError):
        find_needed(known, book, "no-such-row")
