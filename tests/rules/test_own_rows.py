"""A shop's own rows stand before the chart: "junior players: every 3 months" in five lines."""

from __future__ import annotations

import datetime as dt
import fnmatch
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from rules.casebook import find_differences, load_cases
from rules.chain import decide
from rules.coverage import Fault, find_dead_rows, find_gaps_and_overlaps
from rules.decision import Decision
from rules.errors import BookError, FactRefused
from rules.intake import parse_facts
from rules.near_misses import explain_why_not_later
from rules.rulebook import BOOK_FOLDER, Rulebook, build_book, load_book
from rules.turning import find_turns
from tests.rules.editions import ENGINES, edit_book, names_remedy

TODAY = dt.date(2026, 3, 1)
BREAKAGES = yaml.safe_load((Path(__file__).parent / "cases" / "broken_own_rows.yaml").read_text(encoding="utf8"))[
    "broken"
]
GUT = {
    "level": "recreational",
    "mains_material": "natural_gut",
    "crosses_material": "natural_gut",
    "strung_on": "2026-01-10",
}
JUNIOR = {
    "id": "own-junior",
    "when": {"group": "junior"},
    "gives": {"every_months": 3},
    "says": "Junior players restring {every}.",
    "source": ["house"],
}


def with_rows(*rows: dict[str, Any]) -> Rulebook:
    """Return the book with rows of the shop's own."""

    def add(content: dict[str, Any]) -> None:
        content["own.yaml"]["tables"][0]["rows"] = list(rows)

    return edit_book(add)


def answer(book: Rulebook, **known: Any) -> Decision:
    """Decide with both engines, which must agree."""
    facts = parse_facts({**GUT, **known}, today=TODAY, limits=book.limits)
    first, second = (decide(facts, book, engine) for engine in ENGINES)
    assert first == second
    return first


def uncomment(text: str) -> str:
    """Do what the comment in the file says: take away the number sign of the five lines."""
    return "\n".join(line.removeprefix("#") if line.startswith("#  ") else line for line in text.splitlines()) + "\n"


def copy_book(folder: Path, change: Callable[[str], str]) -> Path:
    """Copy the book, change its own.yaml and return the folder."""
    shutil.copytree(BOOK_FOLDER, folder)
    path = folder / "own.yaml"
    path.write_text(change(path.read_text(encoding="utf8")), encoding="utf8")
    return folder


def test_the_example_in_the_file_works_as_its_comment_says(tmp_path: Path) -> None:
    """Five number signs taken away: a junior's natural gut is due after 3 months, everybody else's after 12."""
    book = load_book(copy_book(tmp_path / "book", uncomment))
    junior, other = answer(book, group="junior"), answer(book)
    assert junior.restring_by == dt.date(2026, 4, 10)
    assert junior.every == "every three months"
    assert [step.row for step in junior.trail if step.table in ("own", "interval")] == ["own-junior"]
    assert other.restring_by == dt.date(2027, 1, 10)
    assert find_gaps_and_overlaps(book) == find_dead_rows(book) == ()


def test_without_own_rows_nothing_changes() -> None:
    """The empty table, and an edition that never had one, decide every case alike."""
    content = {name: part for name, part in load_book().content.items() if name != "own.yaml"}
    book = build_book(content)
    assert "own" not in book.tables
    for case in load_cases():
        if not case.policies:
            assert find_differences(case, decide(case.read_facts(book), book, ENGINES[1])) == ()


def test_the_chart_is_not_asked_for_what_an_own_row_does_not_read() -> None:
    """A junior is asked for the day of stringing alone: neither for the level nor for the strings."""
    book = with_rows(JUNIOR)
    facts = parse_facts({"group": "junior"}, today=TODAY, limits=book.limits)
    assert [need.fact for need in decide(facts, book).needs] == ["strung_on"]


def test_a_sport_that_an_own_row_reads_is_asked_once() -> None:
    """The sport makes the answer firmer and is asked before it; the answer can do without."""
    book = with_rows({**JUNIOR, "id": "own-squash", "when": {"sport": "squash"}, "gives": {"every_months": 6}})
    asked = [need for need in answer(book).strengthens if need.fact == "sport"]
    assert [(need.ask, need.row) for need in asked] == [(True, "own-squash")]
    assert "own for some sports" in asked[0].because
    assert answer(book, sport="squash").restring_by == dt.date(2026, 7, 10)
    for known in ({"sport": "tennis"}, {"unknown": ["sport"]}):
        assert not [need for need in answer(book, **known).strengthens if need.fact == "sport"]


def test_a_group_that_an_own_row_reads_is_asked_and_in_older_editions_is_not() -> None:
    """Whoever wrote an edition before groups were asked for gets the same answers as ever."""
    asked = [need for need in answer(with_rows(JUNIOR)).strengthens if need.fact == "group"]
    assert [(need.ask, need.row) for need in asked] == [(True, "own-junior")]
    assert "own for some groups of players" in asked[0].because
    for known in ({"group": "coach"}, {"unknown": ["group"]}):
        assert not [need for need in answer(with_rows(JUNIOR), **known).strengthens if need.fact == "group"]

    def forget_why(content: dict[str, Any]) -> None:
        content["own.yaml"]["tables"][0]["rows"] = [JUNIOR]
        del content["own.yaml"]["tables"][0]["inputs"]["group"]["because"]

    assert not [need for need in answer(edit_book(forget_why)).strengthens if need.fact == "group"]


def test_the_first_own_row_that_fits_counts() -> None:
    """A junior who breaks strings is on the row that stands first."""
    breaks = {**JUNIOR, "id": "own-breaker", "when": {"breaks_strings": True}, "gives": {"every_months": 1}}
    assert answer(with_rows(JUNIOR, breaks), group="junior", breaks_strings=True).every == "every three months"
    assert answer(with_rows(breaks, JUNIOR), group="junior", breaks_strings=True).every == "every month"


def test_a_limit_the_shop_follows_cuts_an_own_row_too() -> None:
    """At least twice a year holds for a row of 9 months as well."""

    def follow(content: dict[str, Any]) -> None:
        content["own.yaml"]["tables"][0]["rows"] = [{**JUNIOR, "gives": {"every_months": 9}}]
        content["values.yaml"]["policies"]["twice_a_year"]["enabled"] = True

    assert answer(edit_book(follow), group="junior").restring_by == dt.date(2026, 7, 10)


def test_a_row_behind_a_wider_one_is_named() -> None:
    """Juniors on polyester after all juniors would never count."""
    narrow = {**JUNIOR, "id": "own-junior-polyester", "when": {"group": "junior", "stringbed": "polyester"}}
    (problem,) = find_dead_rows(with_rows(JUNIOR, narrow))
    assert (problem.fault, problem.rows) == (Fault.NEVER_COUNTS, ("own-junior-polyester",))


def test_why_not_later_names_the_own_row() -> None:
    """The chart would give 12 months."""
    book = with_rows(JUNIOR)
    facts = parse_facts({**GUT, "group": "junior"}, today=TODAY, limits=book.limits)
    lines = "\n".join(explain_why_not_later(facts, book).lines)
    assert "This shop has a row of its own for that, which stands before the chart" in lines
    assert "by the chart it would be 10 January 2027." in lines


def test_another_group_may_turn_the_answer() -> None:
    """On 28 March a junior's strings are due soon, anybody else's are not."""
    book = with_rows(JUNIOR)
    facts = parse_facts({**GUT, "group": "team"}, today=dt.date(2026, 3, 28), limits=book.limits)
    turns = {turn.fact: turn for turn in find_turns(facts, book)}
    assert turns["group"].new == "junior"


@pytest.mark.parametrize("value", ["Junior", "", 3, True, ["junior"], "x" * 41, "a b"])
def test_a_group_is_a_word(value: Any) -> None:
    """Anything but a word in small letters is refused with an example."""
    with pytest.raises(FactRefused, match="such as junior"):
        parse_facts({"group": value}, today=TODAY, limits=load_book().limits)


@pytest.mark.parametrize("breakage", BREAKAGES, ids=[one["name"] for one in BREAKAGES])
def test_an_own_row_written_wrongly_is_refused(tmp_path: Path, breakage: dict[str, Any]) -> None:
    """The error names the file, the row and what to write instead."""

    def break_it(text: str) -> str:
        if "text" in breakage:
            return str(breakage["text"])
        text = uncomment(text)
        for pair in (breakage["change"], breakage.get("second", ["", ""])):
            assert pair[0] in text
            text = text.replace(*pair, 1) if pair[0] else text
        return text

    folder = copy_book(tmp_path / "book", break_it)
    with pytest.raises(BookError) as caught:
        load_book(folder)
    assert caught.value.file == "own.yaml"
    assert fnmatch.fnmatch(caught.value.row, breakage["row"])
    assert names_remedy(caught.value), caught.value.message
    for piece in breakage["says"]:
        assert piece in caught.value.message
