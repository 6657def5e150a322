"""Advice on strings and tension: every worked case with both engines, and always inside the printed range."""

from __future__ import annotations

import copy
import datetime as dt
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rules.advice import STRINGS, TENSION, advise_strings
from rules.advice_cases import AdviceCase, as_worked_out, load_advice_cases
from rules.advice_why import explain_not_advised
from rules.errors import BookError
from rules.facts import Facts, Level, Material, Span, Symptom
from rules.intake import parse_facts
from rules.rulebook import load_book
from rules.trial import run_trial
from tests.rules.editions import ENGINES

CASES = load_advice_cases()
TODAY = dt.date(2026, 11, 25)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_advice_is_as_worked_out_by_both_engines(case: AdviceCase) -> None:
    """Strings, pull, needs and rows are as a person worked them out, each row with its source."""
    book = load_book()
    for engine in ENGINES:
        advice = advise_strings(case.read_facts(book), book, case.printed_lb, engine)
        assert advice is not None
        assert as_worked_out(case, advice), case.why
        assert all(step.source for step in advice.trail)


def test_every_row_of_advice_is_in_a_case() -> None:
    """A row without a worked case is a row nobody has thought through."""
    book = load_book()
    rows = {row.id for name in (STRINGS, TENSION) for row in book.tables[name].rows}
    assert rows <= {row for case in CASES for row in case.expected["rows"]}


def test_a_trial_counts_the_advice_that_an_edition_changes() -> None:
    """Somebody who changes a number sees how many worked cases come out otherwise; without advice none is tried."""
    content = copy.deepcopy(dict(load_book().content))
    assert run_trial(content).advised_as_worked_out == len(CASES)
    content["values.yaml"]["values"]["advise_arm_lb"]["value"] = 3
    tried = run_trial(content)
    assert (tried.problem, tried.advised) == ("", len(CASES))
    assert 0 < len(CASES) - tried.advised_as_worked_out < len(CASES)
    del content["advice.yaml"]
    assert run_trial(content).advised == 0


def test_a_case_that_is_spoilt_is_named(tmp_path: Path) -> None:
    """By its file and name."""
    path = tmp_path / "advice.yaml"
    path.write_text("cases: [{name: a case, why: none}]", encoding="utf-8")
    with pytest.raises(BookError, match="a case"):
        load_advice_cases(path)


@given(
    low=st.floats(15, 80),
    width=st.floats(0, 15),
    level=st.sampled_from([None, *Level]),
    mains=st.sampled_from([None, *Material]),
    symptoms=st.sets(st.sampled_from(list(Symptom))),
)
def test_the_pull_never_leaves_the_printed_range(
    low: float, width: float, level: Level | None, mains: Material | None, symptoms: set[Symptom]
) -> None:
    """Whatever is known, the advice stays inside what the maker printed, and a sore arm gets its caution."""
    facts = Facts(today=TODAY, level=level, mains_material=mains, symptoms=tuple(symptoms))
    advice = advise_strings(facts, load_book(), Span(low, low + width))
    assert advice is not None
    assert advice.tension_lb is not None
    assert advice.range_lb is not None
    assert low <= advice.range_lb[0] <= advice.tension_lb <= advice.range_lb[1] <= low + width
    assert ("caution-arm-pain" in {step.row for step in advice.trail}) == (Symptom.ARM_PAIN in symptoms)


def test_what_is_not_known_is_named_with_its_reason() -> None:
    """The arm first, then broken strings, then the level, each with why it is asked."""
    book = load_book()
    nothing = advise_strings(Facts(today=TODAY), book)
    assert nothing is not None
    assert [need.fact for need in nothing.needs] == ["symptoms", "breaks_strings", "level"]
    assert all(need.because for need in nothing.needs)
    assert {need.row for need in nothing.needs} <= {row.id for row in book.tables[STRINGS].rows}


@pytest.mark.parametrize(
    ("facts", "material", "lines"),
    [
        (
            {"level": "recreational", "breaks_strings": False, "symptoms": []},
            "polyester",
            ["Polyester would be advised with strings that break often; but strings seldom break here."],
        ),
        (
            {"symptoms": ["arm_pain"]},
            "polyester",
            [
                "This comes first: with a sore arm start from a soft string",
                "But for that, polyester would be advised with strings that break often and matches that count; but",
            ],
        ),
        (
            {"symptoms": ["arm_pain"], "breaks_strings": True, "level": "competitive"},
            "polyester",
            ["There is a reason for it too: who plays matches and breaks strings"],
        ),
        ({"level": "recreational"}, "synthetic_gut", ["But that is what is advised"]),
        ({"level": "recreational"}, "natural_gut", ["No row of the advice starts from natural gut."]),
    ],
)
def test_why_other_strings_were_not_advised(facts: dict[str, Any], material: str, lines: list[str]) -> None:
    """What came first, and what the nearest row would have needed; nothing unknown is told as known."""
    book = load_book()
    told = explain_not_advised(parse_facts(facts, today=TODAY, limits=book.limits), book, Material(material))
    assert len(told) == len(lines)
    assert all(part in line[0].upper() + line[1:] for line, part in zip(told, lines, strict=True))


def test_an_edition_from_before_there_was_advice_gives_none() -> None:
    """Then the customer is asked as ever."""
    book = load_book()
    tables = {name: table for name, table in book.tables.items() if name not in {STRINGS, TENSION}}
    older = replace(book, tables=tables)
    assert advise_strings(Facts(today=TODAY), older) is None
    assert explain_not_advised(Facts(today=TODAY), older, Material.POLYESTER) == ()
