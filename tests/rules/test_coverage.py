"""No combination of inputs is left without an answer, and none gets two."""

from __future__ import annotations

import datetime as dt
import itertools
from collections.abc import Callable
from typing import Any

import pytest

from rules.chain import decide
from rules.coverage import Fault, find_dead_rows, find_gaps_and_overlaps, list_combinations
from rules.facts import Day, Facts, Level, Material, Span
from rules.rulebook import load_book
from tests.rules.editions import edit_book, find_table

TODAY = dt.date(2026, 6, 1)


def test_the_book_has_no_gap_and_no_overlap() -> None:
    """Every complete table answers every combination, and no two rows disagree."""
    assert find_gaps_and_overlaps(load_book()) == ()


def test_every_row_can_count() -> None:
    """No row is there for nothing."""
    assert find_dead_rows(load_book()) == ()


@pytest.mark.parametrize("season", [None, TODAY + dt.timedelta(days=90)], ids=["no season", "season"])
@pytest.mark.parametrize("level", list(Level))
def test_each_player_and_stringbed_has_exactly_one_row(level: Level, season: dt.date | None) -> None:
    """Level by mains by crosses, with and without a season: one row of the chart, one of the stringbeds, a date."""
    book = load_book()
    for mains, crosses in itertools.product(Material, Material):
        facts = Facts(
            today=TODAY,
            level=level,
            mains_material=mains,
            crosses_material=crosses,
            plays_per_week=Span(2, 2),
            strung_on=Day(TODAY - dt.timedelta(days=40)),
            league_start=Day(season) if season else None,
        )
        decision = decide(facts, book)
        for table in ("stringbed", "interval", "due"):
            assert len([step for step in decision.trail if step.table == table]) == 1, (mains, crosses, table)
        assert decision.interval
        assert decision.restring_by
        assert not decision.needs


def test_numbers_are_tried_on_their_lines_and_on_both_sides() -> None:
    """The reading table turns at 0, 10 and 20 % and, by way of the energy, at 25 %."""
    book = load_book()
    losses = {combination["loss_percent"] for combination in list_combinations(book, book.tables["reading"])}
    assert {-100.0, 0.0, 10.0, 20.0, 25.0, 100.0} <= losses
    assert {-50.0, 5.0, 15.0, 22.5, 62.5} <= losses


def test_energy_follows_from_the_loss() -> None:
    """A deflection meter at 25 % loss has half its energy; a stiffness meter tells no energy."""
    book = load_book()
    for combination in list_combinations(book, book.tables["reading"]):
        if combination["kind"] not in {"deflection", "unnamed"}:
            assert "energy_percent" not in combination
        elif combination["loss_percent"] == 25:
            assert combination["energy_percent"] == 50


def _remove(table: str, row: str) -> Callable[[dict[str, Any]], None]:
    def change(content: dict[str, Any]) -> None:
        rows = find_table(content, table)["rows"]
        rows[:] = [one for one in rows if one["id"] != row]

    return change


def _put(table: str, row: str, key: str, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(content: dict[str, Any]) -> None:
        for one in find_table(content, table)["rows"]:
            if one["id"] == row:
                one["when"][key] = value

    return change


def test_a_missing_row_is_a_gap() -> None:
    """Without the polyester row, a competitive polyester player would get no answer."""
    problems = find_gaps_and_overlaps(edit_book(_remove("interval", "match-polyester")))
    assert {problem.fault for problem in problems} == {Fault.GAP}
    assert [dict(problem.combination) for problem in problems] == [
        {"level": "competitive", "stringbed": "polyester", "season_known": season} for season in (True, False)
    ]
    assert "no row answers level competitive" in problems[0].describe()


def test_two_lines_apart_leave_a_gap() -> None:
    """Fine up to 10 %, worn from 12 %: 11 % has no answer."""
    book = edit_book(_put("reading", "reading-worn", "loss_percent", {"at_least": 12, "below": 20}))
    gaps = [dict(problem.combination) for problem in find_gaps_and_overlaps(book)]
    assert gaps
    assert {10.0, 11.0} == {gap["loss_percent"] for gap in gaps}
    assert {gap["kind"] for gap in gaps} == {"stiffness", "pounds", "frequency"}


def test_rows_that_fire_together_are_an_overlap() -> None:
    """Dead from 15 % and worn up to 20 %: both rows would fire at 15 to 20 %."""
    book = edit_book(_put("reading", "reading-dead", "loss_percent", {"at_least": 15}))
    (problem,) = find_gaps_and_overlaps(book)
    assert problem.fault is Fault.OVERLAP
    assert problem.table == "reading"
    assert set(problem.rows) == {"reading-worn", "reading-dead"}
    assert 15 <= dict(problem.combination)["loss_percent"] < 20  # type: ignore[operator] # a number by its column
    assert "reading-worn and reading-dead fire together" in problem.describe()


def test_rows_that_agree_may_fire_together() -> None:
    """Aramid on both sides fires two rows that say the same; a third that says another thing is an overlap."""
    book = edit_book(_put("stringbed", "bed-polyester", "crosses_material", ["polyester", "aramid"]))
    assert find_gaps_and_overlaps(book) == ()  # polyester with aramid is a hybrid, so the row still does not fire
    assert find_gaps_and_overlaps(edit_book(_put("stringbed", "bed-polyester", "hybrid", [True, False]))) == ()
    both = edit_book(
        _put("stringbed", "bed-polyester", "hybrid", [True, False]),
        _put("stringbed", "bed-polyester", "crosses_material", ["polyester", "aramid"]),
    )
    (problem,) = find_gaps_and_overlaps(both)
    assert problem.rows == ("bed-polyester", "bed-aramid-crosses")


def test_a_row_that_cannot_fire_is_named() -> None:
    """The same string on both sides is no hybrid, so a row that wants both is dead."""
    book = edit_book(_put("stringbed", "bed-polyester", "hybrid", True))
    (problem,) = find_dead_rows(book)
    assert (problem.fault, problem.rows) == (Fault.NEVER_FIRES, ("bed-polyester",))
    assert "nothing makes bed-polyester fire" in problem.describe()


def test_bounds_that_exclude_each_other_are_named() -> None:
    """At least 20 and below 10 is nothing at all."""
    book = edit_book(_put("reading", "reading-worn", "loss_percent", {"at_least": 20, "below": 10}))
    assert ("reading-worn",) in [problem.rows for problem in find_dead_rows(book)]


def test_a_row_that_always_stands_behind_another_is_named() -> None:
    """In a table whose first row counts, a row behind a wider one never does."""
    book = edit_book(_put("latest", "latest-by-row", "ceiling_known", [True, False]))
    (problem,) = find_dead_rows(book)
    assert (problem.fault, problem.rows) == (Fault.NEVER_COUNTS, ("latest-by-chart",))
    assert "an earlier row always stands before latest-by-chart" in problem.describe()
