"""Practice by talk: marked as the rulebook decides, on every channel the same, kept over a restart."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest

from dialogue.conversation import Conversation
from dialogue.messages import Message, Reply
from dialogue.tracker import Talk
from rules.chain import decide
from rules.evaluator import PlainEngine
from rules.intake import parse_facts
from rules.rulebook import load_book
from storage.database import Store
from storage.rows import StaffRow
from tests.dialogue.scripts import build_conversation, open_test_store

TODAY = dt.date(2026, 11, 24)
MONTHS = [
    "january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november",
    "december",
]  # fmt: skip
SPOKEN = {"restring_now": "restring now", "restring_soon": "restring soon", "play_on": "play on"}


def say(conversation: Conversation, text: str, channel: str = "typed") -> Reply:
    """Take one turn of one trainee."""
    return conversation.handle(Message(text, "ida", channel=channel, today=TODAY))[-1]


def open_exercise(conversation: Conversation) -> dict[str, Any]:
    """Return the exercise that is open, as the conversation keeps it."""
    row = conversation.services.load("ida")
    slots = Talk("ida", conversation.domain.initial, (dict(event) for event in row.events)).slots
    exercise: dict[str, Any] = slots["practice"]["exercise"]
    return exercise


def solve(exercise: dict[str, Any]) -> tuple[str, str, str]:
    """Return verdict, day and reason in words, as the rulebook decides without the marking."""
    book = load_book()
    today = dt.date.fromisoformat(exercise["today"])
    decision = decide(parse_facts(exercise["facts"], today=today, limits=book.limits), book, PlainEngine())
    fired = [step.row for step in decision.trail if step.table == exercise["table"]]
    reason = next(row for row in fired if row in exercise["choices"])
    by = decision.restring_by
    day = f"{by.day} {MONTHS[by.month - 1]} {by.year}" if by else "no day"
    number = exercise["choices"].index(reason) + 1
    return SPOKEN.get(decision.verdict.value, "no answer yet"), day, f"number {number}"


@pytest.mark.parametrize("channel", ["typed", "voice"])
def test_a_trainee_practises_by_talk(channel: str) -> None:
    """Right answers are marked right, whatever the situation; a wrong verdict is explained from the trail."""
    with open_test_store() as store:
        conversation = build_conversation(store)
        begun = say(conversation, "practise with me", channel)
        assert "What is the verdict?" in begun.text[-1]
        assert "no answer yet" in begun.speech
        for _ in range(8):
            verdict, day, reason = solve(open_exercise(conversation))
            asked_day = say(conversation, verdict, channel)
            assert "By which day" in asked_day.text[-1]
            assert "1. " in say(conversation, day, channel).text[-1]
            assert say(conversation, reason, channel).text[0] == "Right, all three."
        verdict, day, reason = solve(open_exercise(conversation))
        say(conversation, "play on" if verdict != "play on" else "restring now", channel)
        say(conversation, day, channel)
        marked = say(conversation, reason, channel)
        assert marked.text[0].startswith("Verdict wrong, day right, reason right. It is")
        assert "_" not in marked.speech
        assert say(conversation, "that's enough", channel).text == ("Well done. Every part right: 8 of 9.",)
        with store.view() as unit:
            kept = unit.practice.answers("trainee")
        assert [answer.marks["right"] for answer in kept] == [True] * 8 + [False]


def test_practice_survives_a_restart_and_gives_way_to_a_consultation(store: Store) -> None:
    """Another worker takes the next turn; words that are no answer are asked again; after it all is as before."""
    say(build_conversation(store), "quiz me")
    second = build_conversation(store)
    exercise = open_exercise(second)
    again = say(second, "what a lovely morning")
    assert again.text[0] == "Say one of the four verdicts."
    assert open_exercise(second) == exercise
    assert say(second, "enough").text == ("Well done. Every part right: 0 of 0.",)
    assert say(second, "when should I restring?").asked == "level"


FACTS = "for fun twice a week, synthetic gut mains and crosses, strung on 31 august 2026"


def test_a_trainee_answers_first_in_a_real_consultation(store: Store) -> None:
    """Asked before the verdict is told; marked and logged; the stored consultation is the one of any other talk."""
    conversation = build_conversation(store)
    assert "I ask you for verdict and day" in say(conversation, "let me answer first").text[0]
    asked = say(conversation, FACTS)
    assert "What is the verdict?" in asked.text[-1]
    assert asked.decision is None
    assert "28 February 2027" not in " ".join(asked.text)
    assert "By which day" in say(conversation, "restring soon").text[-1]
    told = say(conversation, "28 february 2027")
    assert told.text[0] == "Your verdict is wrong, your day is right. The answer:"
    assert told.text[1] == "Play on until 28 February 2027."
    assert told.decision
    with open_test_store() as other:
        plain = build_conversation(other)
        assert say(plain, FACTS).decision == told.decision
        with store.view() as unit, other.view() as beside:
            (ridden,), (alone,) = unit.consultations.all(), beside.consultations.all()
            (kept,) = unit.practice.answers("trainee")
            assert unit.practice.cards("trainee") == ()
    assert (ridden.facts, ridden.decision, ridden.rulebook) == (alone.facts, alone.decision, alone.rulebook)
    assert (kept.marks["verdict"], kept.marks["date"], kept.marks["right"]) == (False, True, False)
    assert "words" not in kept.exercise["facts"]
    assert say(conversation, "start over").asked != "verdict"


@pytest.fixture
def store() -> Any:
    """A database in memory."""
    with open_test_store() as opened:
        yield opened


@pytest.mark.parametrize(
    ("said", "whose"),
    [
        ("practise with me, I'm Nils", "Nils"),
        ("hello, this is ida marlow, practise with me", "Ida Marlow"),
        ("Quiz me, my name is Ida Marlow", "Ida Marlow"),
        ("let's practise, wren here", "Wren"),
        ("I'm ready, test me", "trainee"),
        ("I am new here, train me", "trainee"),
    ],
)
def test_a_trainee_says_whose_course_it_is(said: str, whose: str) -> None:
    """A name after "I am", or one that works here; also where the greeting has just asked something."""
    with open_test_store() as store:
        with store.unit() as unit:
            unit.staff.add(StaffRow(name="Wren", pin_hash="none", role="stringer"))
            unit.commit()
        conversation = build_conversation(store)
        say(conversation, "hello")
        begun = say(conversation, said)
        assert begun.text[0].startswith("Let us practise:" if whose == "trainee" else f"Let us practise, {whose}:")
        for answer in ("play on", "no day", "number 1"):
            say(conversation, answer)
        with store.view() as unit:
            assert [answer.trainee for answer in unit.practice.answers()] == [whose]


def test_who_rides_along_is_in_the_log_and_a_month_is_over_on_its_last_day() -> None:
    """A restring by "end of December" is one by its last day."""
    with open_test_store() as store:
        conversation = build_conversation(store)
        assert say(conversation, "let me answer first, this is Nils").text[0].startswith("Good, Nils.")
        say(conversation, "just for fun, three times a week, full bed of synthetic gut, strung on 31 august 2026")
        say(conversation, "play on")
        assert say(conversation, "end of december").text[0].startswith("Your verdict is right, your day is right.")
        with store.view() as unit:
            (kept,) = unit.practice.answers("Nils")
        assert (kept.marks["right"], kept.answer["date"]) == (True, "2026-12-31")
