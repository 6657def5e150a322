"""The cross-check of domain, actions and phrases finds nothing in ours and every fault put into a copy."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from dialogue.catalogue import FOLDER, check_catalogue


def test_everything_fits_together() -> None:
    """Every slot has its question, every action its class, every response is used, every placeholder filled."""
    assert check_catalogue() == []


@pytest.mark.parametrize(
    ("file", "old", "new", "problem"),
    [
        ("responses/questions.yml", "  utter_ask_level:", "  utter_ask_levels:", "utter_ask_level is missing"),
        ("responses/help.yml", "  utter_why_level:", "  utter_why_levels:", "utter_why_level is missing"),
        ("responses/talk.yml", "  utter_thanks:", "  utter_thank:", "utter_thanks: is said but is no response"),
        ("responses/talk.yml", "  utter_thanks:", "  utter_thank:", "utter_thank: is never said"),
        ("responses/talk.yml", "{values}: noted", "{value}: noted", "{value} is not given"),
        ("responses/talk.yml", "{values}: noted", "{values: noted", "a brace is not closed"),
        ("responses/questions.yml", "name: whose, value: person", "name: who, value: person", "which is no slot"),
        ("responses/questions.yml", '  - channel: voice\n    text: "Which sport?"', "", "has no spoken form"),
        ("domain.yml", "- action_decide", "- action_deside", "action_deside: no class bears this name"),
        ("domain.yml", "- action_decide", "- action_deside", "action_decide: is missing in the domain"),
        ("domain.yml", "entity: level}", "entity: plays_per_week}", "slots: level: must be filled"),
        ("responses/values.yml", "  utter_value_aramid:", "  utter_value_iron:", "utter_value_aramid: the rulebook"),
    ],
)
def test_a_fault_is_named(tmp_path: Path, file: str, old: str, new: str, problem: str) -> None:
    """The sentence says what is wrong, and where."""
    copy = tmp_path / "domain"
    shutil.copytree(FOLDER, copy)
    text = (copy / file).read_text(encoding="utf-8")
    assert old in text
    (copy / file).write_text(text.replace(old, new), encoding="utf-8")
    assert any(problem in found for found in check_catalogue(copy)), check_catalogue(copy)
