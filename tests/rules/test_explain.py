"""One decision told at three depths: every sentence out of the trail, every row with its source."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from hypothesis import given, settings

from rules.backing import find_sources
from rules.book_format import COLUMNS
from rules.casebook import Case, load_cases
from rules.chain import decide
from rules.decision import Decision, Verdict
from rules.evaluator import PlainEngine
from rules.explain import Depth, Explanation, explain
from rules.explain_words import load_words
from rules.facts import Facts
from rules.rulebook import BOOK_FOLDER, load_book
from rules.tables import Cell
from tests.rules.editions import edit_book, switch_on
from tests.rules.wording import names_rows, said_in_words
from tests.strategies import facts

CASES = load_cases()
each_case = pytest.mark.parametrize("case", CASES, ids=[f"{case.file}: {case.name}" for case in CASES])
PLAIN = PlainEngine()
HOLE = re.compile(r"[{}]|None|\bTrue\b|\bFalse\b")


def tell(case: Case) -> tuple[Decision, Explanation]:
    """Return the decision of a case and its explanation."""
    book = switch_on(*case.policies)
    decision = decide(case.read_facts(book), book, PLAIN)
    return decision, explain(decision, book)


@each_case
def test_every_case_is_told_at_three_depths(case: Case) -> None:
    """A sentence, the reasons and the whole trail; nothing is left unfilled."""
    decision, told = tell(case)
    book = switch_on(*case.policies)
    for depth in Depth:
        assert told.at(depth)
        for line in told.at(depth):
            assert line.strip()
            assert not HOLE.search(line), line
            assert said_in_words(line, book), line
            assert depth is Depth.TRAINEE or not names_rows(line, book), line
    assert "\n" not in told.customer
    trail = "\n".join(told.trainee)
    for step in decision.trail:
        assert step.says in trail
        assert step.source in trail
        assert f"[{step.row}]" in trail
    reasons = "\n".join(told.stringer)
    for step in decision.trail:
        if step.table in ("interval", "due", "label", "reading", "verdict", "cautions"):
            assert step.says in reasons


@each_case
def test_a_stored_decision_is_told_like_a_fresh_one(case: Case) -> None:
    """The explanation reads the decision alone, so what was stored months ago is told the same."""
    book = switch_on(*case.policies)
    decision, told = tell(case)
    assert explain(Decision.from_dict(decision.to_dict()), book) == told


@each_case
def test_every_row_has_who_says_so(case: Case) -> None:
    """Each row of an answer with its sources by kind; what others say stands apart, with its own source."""
    book = switch_on(*case.policies)
    decision = decide(case.read_facts(book), book, PLAIN)
    found = find_sources(decision, book)
    assert {backing.row for backing in found.backings} == {
        step.row for step in decision.trail if step.table != "others_say"
    }
    for backing in found.backings:
        assert "; ".join(source.cite for source in backing.sources) == book.row(backing.row).source
    for line in (*found.lines, *found.spoken):
        assert said_in_words(line, book), line
        assert not names_rows(line, book), line
    shown = [step for step in decision.trail if step.table == "others_say" and step.says.startswith("Others say")]
    assert list(found.others) == [step.says for step in shown]
    for step in shown:
        assert any(step.says in line and step.source in line for line in found.lines)


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("a broken string and nothing else", "A string is broken: restring now."),
        (
            "for fun, synthetic gut, three times a week",
            "Play on: these strings are good until 10 May 2026 (every four months).",
        ),
    ],
)
def test_a_customer_hears_one_plain_sentence(name: str, sentence: str) -> None:
    """Verdict and day first; a verdict that its row's sentence names already is not said twice."""
    _, told = tell(next(case for case in CASES if case.name == name))
    assert told.customer == sentence


def test_a_number_tells_what_others_say_of_it() -> None:
    """The 10 % line is disputed: the published lines stand beside it."""
    case = next(case for case in CASES if "reading-worn" in case.rows)
    book = load_book()
    lines = find_sources(decide(case.read_facts(book), book, PLAIN), book).lines
    assert "   The loss at which strings are tired: 10 % (common practice, no source)." in lines
    assert any("20-25 % by level of player" in line for line in lines)


def test_every_number_has_words() -> None:
    """Whatever number of the book a row uses, a person hears what it is, with its unit in the right form."""
    words = load_words(load_book())
    for name in load_book().values:
        assert name in words.spec.numbers, name
        assert said_in_words(f"{words.number(name)}: {words.amount_of(name)}", load_book()), name


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (0, 0, "not at all"), (0.2, 0.2, "about once in five weeks"), (0.5, 0.5, "once in two weeks"),
        (1, 1, "once a week"), (1.5, 1.5, "three times in two weeks"), (2, 2, "twice a week"),
        (2.5, 2.5, "five times in two weeks"), (4, 4, "four times a week"), (2, 3, "2 to 3 times a week"),
    ],
)  # fmt: skip
def test_how_often_somebody_plays_is_said_as_people_say_it(low: float, high: float, said: str) -> None:
    """No halves of a play, and no "1 times"."""
    assert load_words(load_book()).plays(low, high) == said


@given(known=facts())
@settings(max_examples=60, deadline=None)
def test_whatever_is_known_can_be_told(known: Facts) -> None:
    """Any facts at all give a decision that can be told at every depth."""
    book = load_book()
    decision = decide(known, book, PLAIN)
    told = explain(decision, book)
    assert told.customer
    assert told.stringer
    assert told.trainee
    assert find_sources(decision, book).lines or not decision.trail


def test_every_condition_a_row_may_have_has_words() -> None:
    """Each value of each column that a shop's own row may name is said in words, met or not."""
    book = load_book()
    words = load_words(book)
    days = {"label_due": "1 May 2026", "chart_due": "2 May 2026", "window": "1 to 2 May 2026"}
    for table, columns in COLUMNS.items():
        for name, values in columns.items():
            options: Any = ["somebody"] if isinstance(values, str) else values
            cells = [Cell(at_least=1, below=2), Cell(more_than=1, at_most=2), Cell(one_of=(3,))]
            for cell in cells if values == "number" else [Cell(one_of=(option,)) for option in options]:
                assert not HOLE.search(words.needs(table, name, cell))
            for value in [1.5] if values == "number" else options:
                assert not HOLE.search(words.met(table, name, value, days))
            assert words.met(table, name, None, days)


def test_the_words_are_no_part_of_an_edition() -> None:
    """Other words for the reasoning leave the hash of the rulebook as it is."""
    text = (BOOK_FOLDER / "explain.yaml").read_text(encoding="utf8")
    assert set(yaml.safe_load(text)["verdicts"]) == set(Verdict)
    assert "explain.yaml" not in load_book().content


def test_an_edition_with_keys_in_another_order_writes_the_same_trail() -> None:
    """Stored content comes back with its keys sorted; the decision is the same to the last byte."""

    def turn_round(content: dict[str, Any]) -> None:
        for file in content.values():
            for table in file.get("tables", []):
                for row in table["rows"] or ():
                    for part in {"when", "gives"} & set(row):
                        row[part] = dict(reversed(row[part].items()))

    book, other = load_book(), edit_book(turn_round)
    assert other.hash == book.hash
    for case in CASES:
        known = case.read_facts(book)
        first, second = (str(decide(known, one, PLAIN).to_dict()) for one in (book, other))
        assert first == second
