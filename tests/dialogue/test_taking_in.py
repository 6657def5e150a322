"""What is kept of a turn: sure values, doubtful ones after a yes, others' values with their racquet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest

from dialogue.conversation import Conversation
from dialogue.intake import by_owner, claims, parse_data
from dialogue.messages import Message, Reply, Understanding
from dialogue.racquets import names_a_racquet, owner_label
from dialogue.services import Services
from rules.rulebook import load_book
from storage.database import open_store
from tests.dialogue.ears import ScriptedEar, heard, piece

TODAY = dt.date(2026, 11, 25)


class Bench:
    """A conversation that hears what a test puts in."""

    def __init__(self, conversation: Conversation, ear: ScriptedEar) -> None:
        self.conversation = conversation
        self.ear = ear

    def say(self, meaning: Understanding, **message: Any) -> Reply:
        """Take a turn with this meaning."""
        self.ear.next = meaning
        return self.conversation.handle(Message("words", "s", today=TODAY, **message))[-1]


@pytest.fixture
def bench() -> Iterator[Bench]:
    """A conversation on an empty database."""
    with open_store("sqlite://") as store:
        ear = ScriptedEar()
        yield Bench(Conversation(Services(store, load_book()), ear, strict=True), ear)


def test_a_sound_alike_is_kept_after_yes_alone(bench: Bench) -> None:
    """A doubtful word fills nothing; yes fills it, and the question is asked with confirm in mind."""
    bench.say(heard("greet"))
    reply = bench.say(heard("inform", piece("level", "competitive", readback="sound_alike")))
    assert reply.asked == "confirm"
    assert "level" not in reply.facts
    reply = bench.say(heard("affirm"))
    assert reply.facts["level"] == "competitive"
    assert bench.ear.asked[-1] == "confirm"


def test_what_the_ears_doubt_is_read_back(bench: Bench) -> None:
    """A channel that heard two things has the value read back, however sure understanding is."""
    reply = bench.say(heard("inform", piece("level", "competitive")), channel="voice", doubted=("level",))
    assert reply.asked == "confirm"


@pytest.mark.parametrize(("confidence", "asked"), [(0.9, "mains_material"), (0.7, "confirm"), (0.3, "level")])
def test_confidence_decides_between_keeping_reading_back_and_asking(
    bench: Bench, confidence: float, asked: str
) -> None:
    """0.9 and more is kept, 0.5 to 0.9 read back, less not even that."""
    bench.say(heard("greet"))
    assert bench.say(heard("inform", piece("level", "competitive", confidence=confidence))).asked == asked


def test_a_value_that_cannot_be_is_refused_before_it_is_read_back(bench: Bench) -> None:
    """Nobody is asked to confirm forty times a week."""
    reply = bench.say(heard("inform", piece("plays_per_week", 40, readback="sound_alike")))
    assert reply.asked == "plays_per_week"
    assert "from 0 to 21" in reply.text[0]


def test_another_value_in_the_answer_to_a_read_back_counts(bench: Bench) -> None:
    """No, the other one: the pending value is dropped, the new one kept."""
    bench.say(heard("inform", piece("level", "competitive", readback="sound_alike")))
    assert bench.say(heard("correct", piece("level", "recreational"))).facts["level"] == "recreational"


def test_a_tension_relative_to_the_mains_is_counted_out(bench: Bench) -> None:
    """One kilo less than 25 kg is 24 kg, and 2.2 lb less in a racquet spoken of in pounds."""
    bench.say(heard("inform", piece("mains_tension", {"value": 25, "unit": "kg"})))
    less = {"value": -1, "unit": "kg", "relative_to": "mains"}
    assert bench.say(heard("inform", piece("crosses_tension", less))).facts["crosses_tension"] == {
        "value": 24,
        "unit": "kg",
    }


def test_a_further_symptom_joins_the_others(bench: Bench) -> None:
    """What was noticed before is not forgotten when something else is noticed."""
    bench.say(heard("inform", piece("symptoms", ["fraying"])))
    assert bench.say(heard("inform", piece("symptoms", "movement"))).facts["symptoms"] == ["fraying", "movement"]


def test_the_words_of_each_fact_are_kept(bench: Bench) -> None:
    """The trail can say: because you said so."""
    reply = bench.say(heard("inform", piece("level", "competitive", words="league on Wednesdays")))
    assert reply.facts["words"] == {"level": "league on Wednesdays"}


def test_an_exact_day_sharpens_a_month_without_a_question(bench: Bench) -> None:
    """March, then the 3rd of March, is no contradiction; the 3rd of May is."""
    bench.say(heard("inform", piece("strung_on", {"value": "2026-03", "approx": True})))
    assert bench.say(heard("inform", piece("strung_on", "2026-03-03"))).facts["strung_on"] == "2026-03-03"
    assert bench.say(heard("inform", piece("strung_on", "2026-05-03"))).asked == "confirm"


@pytest.mark.parametrize(
    ("said", "label", "kind"),
    [
        ("my daughter", "daughter", "person"),
        ("my wifes", "wife", "person"),
        ("my son's", "son", "person"),
        ("the red one", "red", "racquet"),
        ("the other", "other", "racquet"),
        ("my second racquet", "second", "racquet"),
        ("my old racket", "old", "racquet"),
        (None, None, None),
    ],
)
def test_an_owner_is_known_by_a_bare_label(said: str | None, label: str | None, kind: str | None) -> None:
    """Articles, possessives and the word racquet say nothing of whose it is."""
    assert owner_label(said) == label
    assert label is None or names_a_racquet(label) is (kind == "racquet")


def test_what_is_said_without_an_owner_goes_with_the_only_one_named() -> None:
    """Of a daughter's racquet in one breath, unless the same thing is said twice."""
    message = Message("words", "s")

    def groups(*pieces: Any) -> list[tuple[str | None, list[str]]]:
        found = claims(parse_data(heard("inform", *pieces), message, today="2026-11-25"))
        return [(owner, [claim.slot for claim in group]) for owner, group in by_owner(found)]

    daughters = piece("level", "competitive", owner="my daughter")
    assert groups(piece("mains_material", "polyester"), daughters) == [("daughter", ["mains_material", "level"])]
    mine = replace(daughters, value="recreational", owner=None)
    assert groups(mine, daughters) == [("self", ["level"]), ("daughter", ["level"])]
