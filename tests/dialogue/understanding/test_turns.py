"""What a turn means beyond intent and slots: operations, questions, read-backs, owners, repairs, explanations."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY

TABLES = ("turns.yaml", "figures.yaml")
TURNS = [turn for name in TABLES for turn in yaml.safe_load((Path(__file__).parent / name).read_text(encoding="utf8"))]


@pytest.mark.parametrize("turn", TURNS, ids=lambda turn: turn["said"])
def test_a_turn_means_what_the_table_says(turn: dict[str, Any]) -> None:
    """Every key a row has is checked."""
    meant = understand(turn["said"], asked=turn.get("asked"), channel=turn.get("channel", "typed"), today=REFERENCE_DAY)
    seen = {
        "intent": meant.intent,
        "slots": dict(meant.slots),
        "operations": list(meant.operations),
        "questions": list(meant.questions),
        "readback": {evidence.slot: evidence.readback for evidence in meant.evidence if evidence.readback},
        "repairs": {evidence.slot: evidence.repair for evidence in meant.evidence if evidence.repair},
        "owners": {
            slot: [evidence.owner for evidence in meant.evidence if evidence.slot == slot]
            for slot in turn.get("owners", {})
        },
    }
    expected = {key: value for key, value in turn.items() if key in seen}
    assert {key: seen[key] for key in expected} == expected


def test_evidence_carries_the_words_and_the_rule() -> None:
    """A stored value can say which words it came from and which cue read them."""
    meant = understand("I play twice a week, full poly at 52 lbs", today=REFERENCE_DAY)
    by_slot = {evidence.slot: evidence for evidence in meant.evidence}
    plays = by_slot["plays_per_week"]
    assert plays.words == "twice a week"
    assert meant.text[slice(*plays.span)] == plays.words
    assert plays.rule.startswith("plays_per_week.")
    assert by_slot["mains_tension"].words == "52 lbs"
    assert plays.confidence >= 0.9


def test_a_name_is_told_by_its_sound_from_the_customers_on_record() -> None:
    """A name near one on record is that one, to be read back."""
    meant = understand(
        "collecting for olufemi adeyemy", channel="voice", today=REFERENCE_DAY, names=("Olufemi Adeyemi", "Sam Okoro")
    )
    assert meant.slots["customer_name"] == "Olufemi Adeyemi"
    assert [evidence.readback for evidence in meant.evidence] == ["sound_alike"]


def test_what_is_not_understood_gets_choices_and_is_kept() -> None:
    """Two or three phrasings are offered, nearest first, and the words nobody read are named."""
    meant = understand("polyestrogen blimf", asked="mains_material", today=REFERENCE_DAY)
    assert not meant.slots
    assert 2 <= len(meant.suggestions) <= 3
    assert meant.suggestions[0] == "Polyester"
    assert meant.unmatched == ("polyestrogen blimf",)
    assert understand("twice a week", asked="plays_per_week", today=REFERENCE_DAY).suggestions == ()


def test_every_stage_can_be_explained() -> None:
    """With explain each stage says what it saw, in order; without it nothing is said."""
    meant = understand("fifty for pounds", asked="mains_tension", channel="voice", today=REFERENCE_DAY, explain=True)
    stages = dict(meant.stages)
    assert list(stages) == ["guard", "repair", "numbers", "cues", "candidates", "act", "commit"]
    assert stages["repair"]["repairs"] == ["fifty for -> fifty four"]
    assert stages["numbers"]["line"] == "54 pounds"
    assert any(cue["rule"] == "tension.pounds" for cue in stages["cues"])
    assert stages["commit"]["slots"] == {"mains_tension": {"value": 54, "unit": "lb"}}
    assert understand("fifty", asked="mains_tension", today=REFERENCE_DAY).stages == ()


def test_typed_text_is_never_repaired() -> None:
    """Homophones are a recogniser's slip; who types "won" means it."""
    assert understand("won's a week", asked="plays_per_week", channel="voice", today=REFERENCE_DAY).slots
    assert understand("i won the final", asked="plays_per_week", channel="typed", today=REFERENCE_DAY).slots == {}
