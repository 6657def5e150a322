"""A turn: kept at once or not at all, takes any words, and goes on in any process."""

from __future__ import annotations

import asyncio
import datetime as dt
import json
import logging
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from dialogue.actions import build_executor
from dialogue.catalogue import load_domain
from dialogue.conversation import Conversation, run_now
from dialogue.errors import ActionWaited
from dialogue.messages import Message, Reply, Understanding
from dialogue.services import Services
from dialogue.tracker import Talk
from rules.rulebook import load_book
from storage.database import Store, open_store
from tests.dialogue.ears import ScriptedEar, heard, piece, utterances

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def store() -> Iterator[Store]:
    """An empty database in memory."""
    with open_store("sqlite://") as opened:
        yield opened


def say(conversation: Conversation, ear: ScriptedEar, meaning: Understanding, sender: str = "s") -> Reply:
    """Take a turn with this meaning."""
    ear.next = meaning
    return conversation.handle(Message("words", sender, today=TODAY))[-1]


def build(store: Store, ear: ScriptedEar, *, strict: bool = True) -> Conversation:
    """Return a conversation that hears with this ear."""
    return Conversation(Services(store, load_book()), ear, strict=strict)


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(utterances(), min_size=1, max_size=12))
def test_any_sequence_of_utterances_is_answered_and_can_be_continued(turns: list[Understanding]) -> None:
    """Nothing anybody says raises; the state stays JSON, and replaying its events gives the same state."""
    ear = ScriptedEar()
    with open_store("sqlite://") as store:
        for meaning in turns:
            reply = say(build(store, ear), ear, meaning)
            assert any(reply.text)
            assert reply.speech
            events = [dict(event) for event in build(store, ear).services.load("s").events]
            assert json.loads(json.dumps(events)) == events
            initial = load_domain().initial
            talk = Talk("s", initial, events)
            again = Talk("s", initial, talk.to_store())
            assert again.slots == talk.slots
            assert set(talk.slots) == set(initial), "no action invents a slot"


def test_another_process_takes_the_next_turn(tmp_path: Path) -> None:
    """Each turn may be taken by a worker that has just started."""
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    meanings = [
        heard("inform", piece("level", "competitive")),
        heard("inform", piece("mains_material", "polyester"), piece("crosses_material", "same_as_mains")),
        heard("inform", piece("strung_on", "2026-11-01")),
    ]
    for meaning in meanings:
        ear = ScriptedEar()
        with open_store(url) as store:
            reply = say(build(store, ear), ear, meaning)
    assert reply.decision is not None
    assert reply.decision["restring_by"] == "2026-12-01"


def test_a_turn_of_somebody_else_in_between_is_not_lost(store: Store) -> None:
    """The turn is taken once more on top of the other one, and keeps both values."""
    other_ear = ScriptedEar()
    other = build(store, other_ear)

    class Interrupted(ScriptedEar):
        times = 1

        def __call__(self, *args: object, **more: object) -> Understanding:
            if self.times:
                self.times -= 1
                say(other, other_ear, heard("inform", piece("level", "competitive")))
            return super().__call__(*args, **more)  # type: ignore[arg-type]

    ear = Interrupted()
    reply = say(build(store, ear), ear, heard("inform", piece("plays_per_week", 2)))
    assert reply.facts["level"] == "competitive"
    assert reply.facts["plays_per_week"] == 2


def test_a_conversation_that_is_always_taken_gets_a_plain_apology(store: Store) -> None:
    """After one more try somebody is asked to say it again; nothing is kept of the turn."""
    other_ear = ScriptedEar()
    other = build(store, other_ear)

    class AlwaysInterrupted(ScriptedEar):
        def __call__(self, *args: object, **more: object) -> Understanding:
            say(other, other_ear, heard("thanks"))
            return super().__call__(*args, **more)  # type: ignore[arg-type]

    ear = AlwaysInterrupted()
    reply = say(build(store, ear), ear, heard("inform", piece("strung_on", "2026-11-01")))
    assert "once more" in reply.text[0]
    assert "strung_on" not in build(store, other_ear).services.load("s").events


def test_a_fault_becomes_a_sentence_and_the_log_holds_no_words(store: Store, caplog: pytest.LogCaptureFixture) -> None:
    """Whatever breaks, the person gets an apology and the log gets the kind of fault alone."""

    def deaf(*_: object, **__: object) -> Understanding:
        message = "Maya Okoro said something odd"
        raise RuntimeError(message)

    conversation = Conversation(Services(store, load_book()), deaf)
    with caplog.at_level(logging.DEBUG):
        reply = conversation.handle(Message("Maya Okoro here", "s", today=TODAY))[-1]
    assert "sorry" in reply.text[0].lower()
    assert "RuntimeError" in caplog.text
    assert "Maya" not in caplog.text


def test_a_fault_in_the_middle_keeps_nothing(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """A decision is stored together with the turn that told it, or not at all."""
    ear = ScriptedEar()
    conversation = build(store, ear, strict=False)
    say(conversation, ear, heard("inform", piece("level", "competitive")))

    def broken(*_: object) -> bool:
        message = "disk gone"
        raise OSError(message)

    monkeypatch.setattr(conversation.services, "save", broken)
    whole = heard(
        "inform",
        piece("mains_material", "polyester"),
        piece("crosses_material", "polyester"),
        piece("strung_on", "2026-11-01"),
    )
    assert "sorry" in say(conversation, ear, whole).text[0].lower()
    with store.view() as unit:
        assert unit.consultations.all() == ()


def test_a_turn_can_be_taken_inside_a_running_event_loop(store: Store) -> None:
    """A web server calls from its loop; nothing here starts or needs one."""
    ear = ScriptedEar()
    conversation = build(store, ear)

    async def serve() -> Reply:
        return say(conversation, ear, heard("greet"))

    assert asyncio.run(serve()).asked == "level"


def test_many_threads_talk_at_once(tmp_path: Path) -> None:
    """Each thread's conversation ends in its own verdict."""
    with open_store(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as store:
        ends: dict[int, Reply] = {}

        def talk(number: int) -> None:
            ear = ScriptedEar()
            conversation = build(store, ear)
            say(conversation, ear, heard("inform", piece("level", "competitive")), f"s{number}")
            say(conversation, ear, heard("inform", piece("mains_material", "aramid")), f"s{number}")
            day = f"2026-10-{number + 1:02}"
            ends[number] = say(conversation, ear, heard("inform", piece("strung_on", day)), f"s{number}")

        threads = [threading.Thread(target=talk, args=(number,)) for number in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert {number: end.facts["strung_on"] for number, end in ends.items()} == {
        number: f"2026-10-{number + 1:02}" for number in range(8)
    }


def test_an_action_that_waits_is_refused() -> None:
    """A turn is over when it returns; nothing may be left running."""

    async def waits() -> None:
        await asyncio.sleep(0)

    with pytest.raises(ActionWaited):
        run_now(waits(), "action_waits")


def test_the_executor_runs_in_an_event_loop_as_rasa_runs_it(store: Store) -> None:
    """The same actions answer the open action-server protocol's request."""
    executor = build_executor(Services(store, load_book()))
    talk = Talk("s", load_domain().initial)
    talk.latest_message = {"metadata": {"today": TODAY.isoformat()}}
    result = asyncio.run(executor.run(talk.call("action_decide", load_domain().raw)))
    assert result is not None
    assert {"event": "slot", "timestamp": None, "name": "requested_slot", "value": "level"} in result.events
