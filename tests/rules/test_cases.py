"""Every worked situation, decided by both engines, is decided as a person worked it out."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from rules.casebook import Case, find_differences, load_cases
from rules.chain import decide
from rules.errors import BookError
from rules.rulebook import load_book
from tests.rules.editions import ENGINES, switch_on

CASES = load_cases()
FEWEST_CASES = 100
each_case = pytest.mark.parametrize("case", CASES, ids=[f"{case.file}: {case.name}" for case in CASES])


@each_case
def test_both_engines_decide_as_worked_out(case: Case) -> None:
    """Verdict, interval, dates, figures, needs, cautions and rows are as the case says, the same to the last byte."""
    book = switch_on(*case.policies)
    facts = case.read_facts(book)
    decisions = [decide(facts, book, engine) for engine in ENGINES]
    for decision in decisions:
        assert find_differences(case, decision) == ()
    first, second = (json.dumps(decision.to_dict()) for decision in decisions)
    assert first == second


def test_every_row_of_the_book_is_in_a_case() -> None:
    """A row without a worked situation is a row nobody has thought through."""
    book = load_book()
    advice = {"advise_strings", "advise_tension"}  # their cases are of a kind of their own
    rows = {row.id for name, table in book.tables.items() if name not in advice for row in table.rows}
    worked = {row for case in CASES for row in (*case.rows, *case.against)}
    assert rows - worked == set()


def test_cases_name_rows_that_exist() -> None:
    """A case that waits for a row the book does not have would wait for ever."""
    book = load_book()
    for case in CASES:
        for row in (*case.rows, *case.absent, *case.against, *case.says):
            book.row(row)


def test_there_are_enough_cases() -> None:
    """The casebook is the specification in examples; it does not shrink unseen."""
    assert len(CASES) >= FEWEST_CASES


def test_a_decision_that_differs_is_described_part_by_part() -> None:
    """The differences name the part, what was expected and what was decided, and rows that are missing."""
    book = load_book()
    fresh, broken = (
        next(case for case in CASES if case.name == name)
        for name in ("strung today", "a broken string and nothing else")
    )
    told = find_differences(fresh, decide(broken.read_facts(book), book))
    assert "verdict: expected 'play_on', decided 'restring_now'" in told
    assert "row match-polyester did not fire" in told
    wanted = replace(fresh, absent=("match-polyester",), against=("verdict-broken",), says={"match-polyester": "No."})
    told = find_differences(wanted, decide(fresh.read_facts(book), book))
    assert told[0] == "row match-polyester fired unexpectedly"
    assert told[1].startswith("row match-polyester: expected 'No.', said 'A competitive player")
    assert told[2] == "row verdict-broken does not speak against the verdict"


GOOD = """cases:
  - name: a case
    why: because
    today: "2026-01-01"
    facts: {}
    expect: {verdict: need_more}
    rows: []
"""


@pytest.mark.parametrize(
    ("text", "row", "says"),
    [
        (GOOD + GOOD.partition("\n")[2], "a case", "stands twice"),
        (GOOD.replace("need_more", "maybe"), "a case", "there is no verdict 'maybe'"),
        (GOOD.replace("2026-01-01", "2026-02-30"), "a case", "no day of the calendar"),
        (GOOD.replace("2026-01-01", "tomorrow"), "a case", "today"),
        (GOOD.replace("    why: because\n", ""), "a case", "why"),
        (GOOD.replace("{verdict", "{loss: 3, verdict"), "a case", "loss"),
        (GOOD.replace("rows: []", "rows: reading-fine"), "a case", "rows"),
        ("cases: []", "file", "cases"),
        ("- a list", "file", ""),
    ],
)
def test_a_case_file_that_cannot_be_used_is_refused(tmp_path: Path, text: str, row: str, says: str) -> None:
    """A mistake in a case file is named with its case, so that it is found at once."""
    (tmp_path / "some.yaml").write_text(text, encoding="utf8")
    with pytest.raises(BookError) as caught:
        load_cases(tmp_path)
    assert caught.value.file == "some.yaml"
    assert caught.value.row == row
    assert says in caught.value.message


def test_a_folder_without_cases_is_refused(tmp_path: Path) -> None:
    """An empty folder is a lost folder, not a casebook that holds."""
    with pytest.raises(BookError, match="holds no cases"):
        load_cases(tmp_path)
