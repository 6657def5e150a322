"""Two beds in the words of one breath, and a talk where the model of the stringbed is not installed."""

from __future__ import annotations

import datetime as dt
import sys
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dialogue.feel_words import bed_said, with_feel
from dialogue.messages import Message, Understanding
from dialogue.understanding import understand
from tests.dialogue.scripts import build_conversation, open_test_store

TODAY = dt.date(2026, 11, 25)
SYN_55 = {"mains_material": "synthetic_gut", "mains_tension": {"value": 55, "unit": "lb"}}
POLY = {"mains_material": "polyester"}


def hear(text: str, question: str | None = None) -> Understanding:
    """Return what a text means where two beds are spoken of."""

    def read(asked: str | None, part: str | None = None) -> Understanding:
        return understand(text if part is None else part, asked=asked, channel="typed", today=TODAY)

    return bed_said(question, read) if question else with_feel(read(None), read)


def side(understood: Understanding, bed: str) -> dict[str, Any]:
    """Return what was understood of one bed, without its crosses where they are as the mains."""
    said = understood.slots["same_feel"][bed]
    return {name: value for name, value in said.items() if not name.startswith("crosses")}


@pytest.mark.parametrize(
    ("text", "old", "new"),
    [
        ("what tension for poly if I had syn gut at 55?", SYN_55, POLY),
        ("I had syn gut at 55, what tension for poly to feel the same?", SYN_55, POLY),
        ("going from syn gut at 55 to poly, what tension feels the same?", SYN_55, POLY),
        ("what tension for poly instead of syn gut at 55", SYN_55, POLY),
        ("make it feel like my old one", {}, {}),
        (
            "I'm moving from 16x19 to 18x20 with syn gut at 55, what tension gives the same feel?",
            {**SYN_55, "pattern": [16, 19]},
            {"mains_material": "synthetic_gut", "pattern": [18, 20]},
        ),
        ("same feel in the new frame, it's a 107, the old one was 98", {"head_size": 98}, {"head_size": 107}),
        ("the same feel with 1.25 mm poly as with syn gut at 55", SYN_55, {**POLY, "gauge": 1.25}),
        (
            "make it play like my old racquet, that was 16x19, 98 head, syn gut at 55",
            {**SYN_55, "pattern": [16, 19], "head_size": 98},
            {},
        ),
    ],
)
def test_what_is_said_goes_to_the_bed_it_is_said_of(text: str, old: dict[str, Any], new: dict[str, Any]) -> None:
    """The one that felt right, and the one to be; no string of them is kept as one in the racquet talked of."""
    understood = hear(text)
    assert understood.intent == "ask_same_feel"
    assert (side(understood, "old"), side(understood, "new")) == (old, new)
    assert not {"mains_material", "mains_tension"} & set(understood.slots)


@pytest.mark.parametrize(
    ("question", "text", "bed", "said"),
    [
        ("old_strings", "syn gut at 55", "old", SYN_55),
        ("old_strings", "syn gut at 55, 98 head", "old", {**SYN_55, "head_size": 98}),
        ("old_tension", "25 kilos", "old", {"mains_tension": {"value": 25, "unit": "kg"}}),
        ("new_strings", "the same", "new", {"same": True}),
        ("new_strings", "poly, 1.25 mm", "new", {**POLY, "gauge": 1.25}),
        ("old_frame", "one hundred", "old", {"head_size": 100}),
        ("new_frame", "a 98 with 18x20", "new", {"head_size": 98, "pattern": [18, 20]}),
    ],
)
def test_an_answer_is_of_the_bed_asked_for(question: str, text: str, bed: str, said: dict[str, Any]) -> None:
    """Whatever of it was asked."""
    assert side(hear(text, question), bed) == said


@given(st.text(max_size=60), st.sampled_from([None, "old_strings", "old_tension", "new_strings", "new_frame"]))
def test_any_text_has_an_answer(text: str, question: str | None) -> None:
    """Nothing raises."""
    assert hear(f"same feel {text}" if question is None else text, question).intent


def test_without_the_physics_extra_the_talk_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain word, and the talk goes on."""
    monkeypatch.delitem(sys.modules, "rules.stringbed_net", raising=False)
    monkeypatch.setitem(sys.modules, "numpy", None)
    with open_test_store() as store:
        conversation = build_conversation(store)
        told = conversation.handle(Message("what tension for poly if I had syn gut at 55?", "s", today=TODAY))[-1]
        assert "pip install 'counterpull[physics]'" in " ".join(told.text)
        assert conversation.handle(Message("my arm hurts, what should I string?", "s", today=TODAY))[-1].asked
