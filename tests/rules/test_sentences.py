"""Numbers, days and spans as the rulebook's sentences speak them."""

from __future__ import annotations

import datetime as dt
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.casebook import load_cases
from rules.chain import decide
from rules.evaluator import PlainEngine
from rules.facts import Day, Reading, Span
from rules.intake import parse_facts
from rules.rulebook import load_book
from rules.sentences import Words
from tests.rules.editions import edit_book, find_table

BOOK = load_book()
WORDS = Words(BOOK.words)
DAY = dt.date(2026, 12, 3)


@pytest.mark.parametrize(
    ("number", "said"), [(0, "zero"), (4, "four"), (12, "twelve"), (13, "13"), (2.5, "2.5"), (-1, "-1")]
)
def test_numbers(number: float, said: str) -> None:
    """Words up to twelve, figures beyond."""
    assert WORDS.number(number) == said


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (Fraction(1), Fraction(1), "every month"),
        (Fraction(4), Fraction(4), "every four months"),
        (Fraction(12), Fraction(12), "once a year"),
        (Fraction(2), Fraction(3), "every two to three months"),
        (Fraction(12, 7), Fraction(12, 5), "every 1.7 to 2.4 months"),
        (Fraction(12, 5), Fraction(12, 5), "about every ten weeks"),  # 2.4 x 30.44 / 7 = 10.4
        (Fraction(12, 21), Fraction(12, 21), "about every two weeks"),  # 0.571 x 30.44 / 7 = 2.5
    ],
)
def test_intervals(low: Fraction, high: Fraction, said: str) -> None:
    """Months where they are whole, weeks where they are broken."""
    assert WORDS.every(low, high) == said


@pytest.mark.parametrize(
    ("days", "said"), [(1, "one day"), (2, "2 days"), (45, "45 days"), (61, "two months"), (152, "five months")]
)
def test_how_long_a_date_has_passed(days: int, said: str) -> None:
    """Days up to six weeks, months beyond."""
    assert WORDS.overdue(DAY, DAY + dt.timedelta(days=days)) == said


@pytest.mark.parametrize(
    ("day", "said", "when"),
    [
        (Day(DAY), "3 December 2026", "on 3 December 2026"),
        (Day(DAY, approx=True, said="2026-12"), "December 2026", "in December 2026"),
        (Day(DAY, approx=True, said="2026"), "2026", "in 2026"),
        (Day(DAY, approx=True, said="-P6M"), "about 3 December 2026", "about 3 December 2026"),
        (Day(DAY, approx=True), "about 3 December 2026", "about 3 December 2026"),
    ],
)
def test_days(day: Day, said: str, when: str) -> None:
    """Exact, as the month or year that was named, or with "about"."""
    assert (WORDS.day(day), WORDS.when(day)) == (said, when)


@pytest.mark.parametrize(
    ("span", "said"),
    [
        (Span(1, 1), "once"),
        (Span(2, 2), "twice"),
        (Span(3.5, 3.5), "3.5 times"),
        (Span(2, 3), "2 to 3 times"),
        (Span(0, 0), "not at all"),
    ],
)
def test_how_often(span: Span, said: str) -> None:
    """Once, twice, three times."""
    assert WORDS.plays(span) == said


def test_readings() -> None:
    """As it was read, or the mean of its repeats."""
    assert WORDS.reading(Reading((90.001,))) == "90.001"
    assert WORDS.reading(Reading((569.21,))) == "569.21"
    assert WORDS.reading(Reading((30, 31, 31))) == "30.67"


@pytest.mark.parametrize(
    ("value", "lines", "said"),
    [
        (28.947, (10, 20), "28.9"),
        (9.999, (10, 20), "9.999"),  # 10.0 would name the line it has not reached
        (19.99996, (10, 20), "19.99996"),
        (20, (10, 20), "20"),
        (20.04, (10, 20), "20.04"),
        (-0.04, (0, 10), "-0.04"),  # and 0 would deny that it rose
        (49.96, (50,), "49.96"),
        (12.96, (10, 20), "13"),
    ],
)
def test_a_figure_stays_on_its_side_of_a_line(value: float, lines: tuple[float, ...], said: str) -> None:
    """As few places as keep the sentence true."""
    assert WORDS.figure(Fraction(str(value)), lines) == said


@given(value=st.decimals(-200, 200, places=6), line=st.integers(-50, 50))
def test_no_figure_crosses_a_line_by_rounding(value: Decimal, line: int) -> None:
    """What is told compares with the line as the figure itself does."""
    exactly = Fraction(value)
    told = Fraction(WORDS.figure(exactly, (line,)))
    assert (told > line, told < line) == (exactly > line, exactly < line)


def test_a_shop_that_moves_a_line_is_quoted_with_its_own() -> None:
    """The sentences take the lines from the numbers, so they cannot say 20 % where 25 % counts."""
    book = edit_book(lambda content: content["values.yaml"]["values"]["dead_loss_percent"].update(value=25))
    raw = {"baseline": {"value": 40, "kind": "stiffness"}, "reading": {"value": 30, "kind": "stiffness"}}
    decision = decide(parse_facts(raw, today=DAY, limits=book.limits), book, PlainEngine())
    (step,) = (step for step in decision.trail if step.row == "reading-dead")
    assert step.says == "A loss of 25 % has reached the 25 % line: the strings count as dead."


def test_a_value_that_is_not_known_is_told_as_such() -> None:
    """A shop's sentence that names a date nobody knows says so, and nothing breaks."""

    def name_a_date(content: dict[str, object]) -> None:
        find_table(content, "verdict")["rows"][0]["says"] = "Broken, and due by {chart_due} anyway."

    book = edit_book(name_a_date)
    decision = decide(parse_facts({"symptoms": ["broken"]}, today=DAY, limits=book.limits), book, PlainEngine())
    (step,) = (step for step in decision.trail if step.row == "verdict-broken")
    assert step.says == "Broken, and due by (not known) anyway."


def test_no_sentence_has_a_hole_or_a_lower_case_start() -> None:
    """Every sentence of every worked situation is whole: no brace, no unknown value, no double blank."""
    for case in load_cases():
        if case.policies:
            continue
        for step in decide(case.read_facts(BOOK), BOOK, PlainEngine()).trail:
            assert "{" not in step.says
            assert BOOK.words["not_known"] not in step.says
            assert "  " not in step.says
            assert not step.says[0].islower()
            assert step.says.endswith((".", "?", '"'))
