"""What if: decided again with facts changed, and rows that nearly fired."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from hypothesis import given, settings

from rules.chain import decide
from rules.errors import FactRefused
from rules.evaluator import find_near_misses
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import load_book
from rules.whatif import decide_what_if
from tests.strategies import facts

BOOK = load_book()
TODAY = dt.date(2026, 6, 1)
FULL_BED = {"level": "competitive", "mains_material": "polyester", "hybrid": False, "strung_on": "2026-05-20"}


def known(raw: dict[str, Any]) -> Facts:
    """Return the facts on the day of these tests."""
    return parse_facts(raw, today=TODAY, limits=BOOK.limits)


def test_another_string_in_a_full_bed_changes_both_sides() -> None:
    """Natural gut supposed of a full bed means a full bed of it: 9 months from 20 May."""
    for side in ("mains_material", "crosses_material"):
        decision = decide_what_if(known(FULL_BED), {side: "natural_gut"}, BOOK)
        assert decision.interval == {"months": 9}
        assert decision.restring_by == dt.date(2027, 2, 20)


def test_both_sides_named_make_what_was_named() -> None:
    """Polyester mains and natural gut crosses are a hybrid, whatever it was before."""
    decision = decide_what_if(known(FULL_BED), {"mains_material": "polyester", "crosses_material": "natural_gut"}, BOOK)
    assert decision.interval == {"months": [2, 3]}


def test_another_side_of_a_hybrid_changes_that_side_only() -> None:
    """A hybrid keeps its other side."""
    hybrid = known({"level": "competitive", "mains_material": "polyester", "crosses_material": "natural_gut"})
    assert decide_what_if(hybrid, {"mains_material": "natural_gut"}, BOOK).interval == {"months": 9}


def test_a_fact_taken_away_is_not_known_any_more() -> None:
    """None takes a fact away: without the day of stringing there is no date."""
    decision = decide_what_if(known(FULL_BED), {"strung_on": None}, BOOK)
    assert decision.restring_by is None
    assert [need.fact for need in decision.needs] == ["strung_on"]


def test_a_fact_nobody_could_give_may_be_supposed() -> None:
    """What was unknown is known in the supposition."""
    facts = known({**FULL_BED, "strung_on": None, "unknown": ["strung_on"]})
    assert decide_what_if(facts, {"strung_on": "2026-05-20"}, BOOK).restring_by == dt.date(2026, 6, 20)
    assert "strung_on" in facts.unknown


def test_a_supposition_that_cannot_be_is_refused() -> None:
    """Forty times a week is as impossible as ever."""
    with pytest.raises(FactRefused) as caught:
        decide_what_if(known(FULL_BED), {"plays_per_week": 40}, BOOK)
    assert caught.value.fact == "plays_per_week"


@given(some=facts())
@settings(max_examples=60, deadline=None)
def test_supposing_nothing_changes_nothing(some: Facts) -> None:
    """The same facts, the same decision, and the facts themselves stay as they are."""
    before = some.to_dict()
    assert decide_what_if(some, {}, BOOK) == decide(some, BOOK)
    assert some.to_dict() == before


def test_near_misses_name_what_stopped_a_row() -> None:
    """Why not the natural gut row? Because of the strings alone; rows stopped by less come first."""
    values = {"level": "competitive", "stringbed": "polyester", "season_known": False}
    misses = find_near_misses(BOOK.tables["interval"], values)
    stopped = {miss.row.id: miss.stopped_by for miss in misses}
    assert "match-polyester" not in stopped
    assert stopped["match-natural-gut"] == ("stringbed",)
    assert stopped["fun-polyester"] == ("level",)
    assert stopped["fun-natural-gut"] == ("level", "stringbed")
    assert [len(miss.stopped_by) for miss in misses] == sorted(len(miss.stopped_by) for miss in misses)
