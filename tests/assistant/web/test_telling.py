"""Facts in words: every fact the rules know can be shown, whatever its value."""

from __future__ import annotations

import pytest

from assistant.bootstrap import open_book, suppose_facts
from assistant.channels.web.telling import tell_facts
from assistant.settings import Settings
from dialogue.racquets import FACTS
from rules.facts import Kind, Level, Material, Season, Sport, Symptom
from rules.intake import parse_facts
from tests.assistant.web.running_shop import TODAY

EXAMPLES = {
    "level": [level.value for level in Level],
    "plays_per_week": [0, 0.19, 0.5, 1, 2.5, 7, {"min": 2, "max": 3}],
    "hours_per_play": [1, 1.5, {"min": 1, "max": 2}],
    "hours_per_week": [1, 4, {"min": 2, "max": 6}],
    "season": [season.value for season in Season],
    "mains_material": [material.value for material in Material],
    "crosses_material": [material.value for material in Material],
    "hybrid": [True, False],
    "mains_tension": [{"value": 54, "unit": "lb"}, {"value": 24.5, "unit": "kg"}],
    "crosses_tension": [{"value": 54, "unit": "lb"}],
    "strung_on": ["2026-08-31", {"value": "2026-03", "approx": True}, {"value": "-P6M", "approx": True}],
    "label_due": ["2027-01-31", {"value": "2027-01", "approx": True}],
    "league_start": ["2027-01-10"],
    "baseline": [{"value": 600 if kind is Kind.FREQUENCY else 38, "kind": kind.value} for kind in Kind]
    + [{"values": [38, 39], "kind": None}],
    "reading": [[{"value": 27, "kind": "stiffness"}, {"value": 41, "kind": "deflection"}]],
    "breaks_strings": [True, False],
    "symptoms": [[], ["arm_pain"], [symptom.value for symptom in Symptom]],
    "sport": [sport.value for sport in Sport],
    "group": ["junior", "team"],
}


@pytest.mark.parametrize("fact", FACTS)
def test_every_fact_of_a_conversation_is_told(fact: str) -> None:
    """In words, without the internal name; a group is the shop's own word and stays on the card."""
    book = open_book(Settings(None, TODAY))
    for value in EXAMPLES[fact]:
        facts = parse_facts({fact: value}, today=TODAY, limits=book.limits).to_dict()
        told = tell_facts(facts)
        assert len(told) == 1, value
        assert told[0]
        assert "_" not in told[0]
        assert "error" not in suppose_facts(facts, {}, TODAY, book)


def test_all_facts_at_once_are_told() -> None:
    """As many as somebody may say in one breath."""
    book = open_book(Settings(None, TODAY))
    raw = {fact: values[-1] for fact, values in EXAMPLES.items()}
    facts = parse_facts(raw, today=TODAY, limits=book.limits).to_dict()
    assert len(tell_facts(facts)) > len(EXAMPLES) // 2
    assert tell_facts({}) == ()
