"""Filling responses: the closest wording, every value, nothing left open."""

from __future__ import annotations

import pytest

from dialogue.catalogue import load_domain
from dialogue.errors import PhraseMissing
from dialogue.phrases import Phrases, sentence_case

JOINS = {
    "utter_join_more": [{"text": "{first}, {rest}"}],
    "utter_join_last": [{"text": "{first} and {rest}"}],
}
PHRASES = Phrases(
    {
        **JOINS,
        "utter_ask": [
            {"text": "How often do you play?", "buttons": [{"title": "Twice"}]},
            {"channel": "voice", "text": "How often?"},
            {
                "condition": [{"type": "slot", "name": "whose", "value": "person"}],
                "text": "How often does {owner} play?",
            },
        ],
        "utter_turns": [{"text": "one"}, {"text": "two"}],
        "utter_lead": [{"text": "{values}:", "metadata": {"lead": True}}],
        "utter_owner": [{"text": "your {label}"}],
        "utter_only_voice": [{"channel": "voice", "text": "hm"}],
    }
)


def test_the_closest_wording_is_taken() -> None:
    """A wording for this state comes before the common one, the spoken one before the shown one in speech."""
    plain = PHRASES.fill("utter_ask", {}, {"whose": "self"})
    assert (plain.text, plain.speech) == ("How often do you play?", "How often?")
    assert [choice.text for choice in plain.choices] == ["Twice"]
    of_somebody = PHRASES.fill("utter_ask", {"owner": "Maya"}, {"whose": "person"})
    assert of_somebody.text == of_somebody.speech == "How often does Maya play?"
    assert of_somebody.choices == plain.choices


def test_wordings_of_equal_right_take_turns() -> None:
    """The same sentence does not come twice running."""
    assert [PHRASES.fill("utter_turns", {}, {}, turn).text for turn in range(3)] == ["one", "two", "one"]


def test_values_may_be_phrases_and_lists() -> None:
    """A phrase is filled inside another, a list is joined."""
    owner = {"key": "utter_owner", "label": "son"}
    filled = PHRASES.fill("utter_lead", {"values": [owner, "b", "c"]}, {})
    assert (filled.text, filled.lead) == ("your son, b and c:", True)
    assert sentence_case(filled.text) == "Your son, b and c:"


@pytest.mark.parametrize(
    ("key", "values", "problem"),
    [
        ("utter_nothing", {}, "no such response"),
        ("utter_lead", {}, "nothing is given for {values}"),
        ("utter_lead", {"values": {"key": "utter_nothing"}}, "no such response"),
        ("utter_only_voice", {}, "no wording suits"),
    ],
)
def test_what_cannot_be_said_is_named(key: str, values: dict[str, object], problem: str) -> None:
    """The error names the key and what to do."""
    with pytest.raises(PhraseMissing, match=problem.replace("{", r"\{")):
        PHRASES.fill(key, values, {})


def test_no_question_is_spoken_with_a_symbol() -> None:
    """What is asked aloud is made of words: no slash, bracket or unit sign."""
    domain = load_domain()
    for slot in {slot for slots in domain.forms.values() for slot in slots}:
        for whose in ("self", "person", "racquet"):
            values = {"owner": "Maya", "racquet": "the racquet", "groups": ["junior", "coach"]}
            spoken = domain.phrases.fill(f"utter_ask_{slot}", values, {"whose": whose}).speech
            assert not set('/()[]{}%<>=*"') & set(spoken), spoken
