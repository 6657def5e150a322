"""A stored decision never changes; a conversation is never overwritten by a worker that did not see the last turn."""

from __future__ import annotations

import datetime as dt
import threading

import pytest
from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from storage import models
from storage.database import Store, open_store
from storage.errors import Conflict, NotFound
from storage.rows import ConsultationRow, ConversationRow
from tests.storage.conftest import TODAY, Clock, Counter

FACTS = {
    "level": "recreational",
    "plays_per_week": {"min": 2, "max": 3},
    "symptoms": [],
    "words": {"level": "just for fun", "plays_per_week": "two or three times a week"},
}
DECISION = {"verdict": "restring_soon", "restring_by": "2026-06-01", "trail": [{"row": "r1", "read": {"level": "x"}}]}


def consult(store: Store, **links: int) -> ConsultationRow:
    """Store a consultation and return it."""
    with store.unit() as unit:
        unit.rulebooks.keep("abc123", "rows: []")
        stored = unit.consultations.add(
            ConsultationRow(today=TODAY, facts=FACTS, decision=DECISION, rulebook="abc123", **links)
        )
        unit.commit()
    return stored


def test_a_decision_comes_back_whole_with_the_rulebook_that_made_it(store: Store) -> None:
    """A decision comes back whole with the rulebook that made it."""
    stored = consult(store)
    with store.view() as unit:
        found = unit.consultations.get(stored.id)
        book = unit.rulebooks.get(found.rulebook)
    assert found == stored
    assert (found.facts, found.decision, found.today) == (FACTS, DECISION, TODAY)
    assert list(found.decision) == list(DECISION)
    assert book.content == "rows: []"


def test_changing_what_was_handed_in_or_out_changes_nothing_stored(store: Store) -> None:
    """Changing what was handed in or out changes nothing stored."""
    facts = {"level": "competitive", "symptoms": ["arm_pain"]}
    with store.unit() as unit:
        unit.rulebooks.keep("abc123", "rows: []")
        stored = unit.consultations.add(ConsultationRow(today=TODAY, facts=facts, decision=DECISION, rulebook="abc123"))
        facts["symptoms"].append("broken")
        stored.facts["symptoms"].append("notched")
        unit.commit()
    with store.view() as unit:
        assert unit.consultations.get(stored.id).facts["symptoms"] == ["arm_pain"]


def test_a_rulebook_must_be_kept_before_its_decision(store: Store) -> None:
    """A rulebook must be kept before its decision."""
    with store.unit() as unit, pytest.raises(Conflict):
        unit.consultations.add(ConsultationRow(today=TODAY, facts={}, decision={}, rulebook="unknown"))
    with store.view() as unit, pytest.raises(NotFound):
        unit.rulebooks.get("unknown")


def test_a_rulebook_is_stored_once_and_another_under_its_hash_is_refused(store: Store) -> None:
    """A rulebook is stored once and another under its hash is refused."""
    with store.unit() as unit:
        unit.rulebooks.keep("abc123", "rows: []")
        unit.rulebooks.keep("abc123", "rows: []")
        assert len(unit.rulebooks.all()) == 1
        with pytest.raises(Conflict, match="hash must cover all"):
            unit.rulebooks.keep("abc123", "rows: [changed]")


def test_an_anonymous_consultation_is_linked_afterwards_and_found_by_each_link(store: Store, counter: Counter) -> None:
    """An anonymous consultation is linked afterwards and found by each link."""
    first, second = consult(store), consult(store)
    with store.unit() as unit:
        for stored in (first, second):
            unit.consultations.link(
                stored.id,
                customer_id=counter.customer.id,
                racquet_id=counter.racquet.id,
                job_id=counter.job.id,
            )
        unit.commit()
    with store.view() as unit:
        assert unit.consultations.latest_of_customer(counter.customer.id).id == second.id
        assert unit.consultations.latest_of_racquet(counter.racquet.id).id == second.id
        assert unit.consultations.latest_of_job(counter.job.id).id == second.id
        assert [row.id for row in unit.consultations.of_racquet(counter.racquet.id)] == [second.id, first.id]
        assert unit.consultations.latest_of_customer(999) is None


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("facts", {"level": "competitive"}),
        ("decision", {"verdict": "play_on"}),
        ("rulebook", "other"),
        ("today", dt.date(2020, 1, 1)),
        ("created_at", dt.datetime(2020, 1, 1, tzinfo=dt.UTC)),
        ("words", {"level": "something else"}),
    ],
)
def test_no_part_of_a_stored_decision_can_be_changed_through_its_object(
    store: Store, field: str, value: object
) -> None:
    """No part of a stored decision can be changed through its object."""
    stored = consult(store)
    with store.unit() as unit:
        live = unit.session.get(models.Consultation, stored.id)
        setattr(live, field, value)
        with pytest.raises(Conflict, match=field):
            unit.session.flush()
    with store.view() as unit:
        assert unit.consultations.get(stored.id) == stored


@pytest.mark.parametrize(
    "statement",
    [
        """UPDATE consultation SET facts = '{"level": "competitive"}'""",
        "UPDATE consultation SET decision = '{}'",
        "UPDATE consultation SET today = '2020-01-01'",
        "UPDATE consultation SET created_at = '2020-01-01 00:00:00'",
        "UPDATE consultation SET words = '{}'",
        "UPDATE consultation SET id = 9",
        "UPDATE consultation SET rulebook = 'other'",
        "DELETE FROM consultation",
    ],
)
def test_the_database_itself_refuses_to_rewrite_a_decision(store: Store, statement: str) -> None:
    """The database itself refuses to rewrite a decision."""
    stored = consult(store)
    with pytest.raises(SQLAlchemyError, match="never changes"), store.engine.begin() as connection:
        connection.execute(text(statement))
    with store.view() as unit:
        assert unit.consultations.get(stored.id) == stored


def test_a_stored_decision_is_never_removed_through_its_object(store: Store) -> None:
    """A stored decision is never removed through its object."""
    stored = consult(store)
    with store.unit() as unit:
        unit.session.delete(unit.session.get(models.Consultation, stored.id))
        with pytest.raises(Conflict, match="never removed"):
            unit.session.flush()


def test_words_may_only_be_erased(store: Store) -> None:
    """Words may only be erased."""
    stored = consult(store)
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE consultation SET words = NULL"))
    with store.view() as unit:
        kept = unit.consultations.get(stored.id).facts
    assert kept == {name: value for name, value in FACTS.items() if name != "words"}


def test_a_conversation_grows_turn_by_turn(store: Store) -> None:
    """A conversation grows turn by turn."""
    with store.unit() as unit:
        new = unit.conversations.load("kiosk-1")
        assert (new.version, new.events) == (0, ())
        first = unit.conversations.save(ConversationRow(sender_id="kiosk-1", events=({"event": "user"},)))
        unit.commit()
    with store.unit() as unit:
        loaded = unit.conversations.load("kiosk-1")
        assert loaded == first
        events = (*loaded.events, {"event": "bot", "text": "How often?"})
        second = unit.conversations.save(ConversationRow(sender_id="kiosk-1", events=events, version=loaded.version))
        unit.commit()
    assert (first.version, second.version) == (1, 2)
    assert second.events == events
    assert second.updated_at > first.updated_at


def test_the_second_worker_that_saves_the_same_turn_is_told(store: Store) -> None:
    """The second worker that saves the same turn is told."""
    with store.unit() as unit:
        unit.conversations.save(ConversationRow(sender_id="kiosk-1"))
        unit.commit()
    with store.view() as unit:
        one = other = unit.conversations.load("kiosk-1")
    with store.unit() as unit:
        unit.conversations.save(ConversationRow(**{**vars(one), "events": ({"event": "one"},)}))
        unit.commit()
    with store.unit() as unit, pytest.raises(Conflict, match="stored meanwhile"):
        unit.conversations.save(ConversationRow(**{**vars(other), "events": ({"event": "other"},)}))
    with store.unit() as unit, pytest.raises(Conflict):
        unit.conversations.save(ConversationRow(sender_id="kiosk-1"))
    with store.view() as unit:
        assert unit.conversations.load("kiosk-1").events == ({"event": "one"},)


def test_of_many_workers_on_one_turn_exactly_one_wins(store: Store) -> None:
    """Of many workers on one turn exactly one wins."""
    with store.unit() as unit:
        start = unit.conversations.save(ConversationRow(sender_id="kiosk-1"))
        unit.commit()
    won: list[int] = []
    lost: list[int] = []

    def answer(worker: int) -> None:
        try:
            with store.unit() as unit:
                unit.conversations.save(ConversationRow(**{**vars(start), "events": ({"worker": worker},)}))
                unit.commit()
                won.append(worker)
        except Conflict:
            lost.append(worker)

    workers = [threading.Thread(target=answer, args=(number,)) for number in range(6)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()
    assert (len(won), len(lost)) == (1, 5)
    with store.view() as unit:
        assert unit.conversations.load("kiosk-1").events == ({"worker": won[0]},)


def test_conversations_nobody_continued_are_forgotten_but_their_decisions_stay(store: Store, clock: Clock) -> None:
    """Conversations nobody continued are forgotten but their decisions stay."""
    with store.unit() as unit:
        old = unit.conversations.save(ConversationRow(sender_id="old"))
        unit.commit()
    stored = consult(store, conversation_id=old.id)
    clock.now += dt.timedelta(days=40)
    with store.unit() as unit:
        unit.conversations.save(ConversationRow(sender_id="new"))
        assert unit.conversations.forget_before(clock.now - dt.timedelta(days=30)) == 1
        unit.commit()
    with store.view() as unit:
        assert [row.sender_id for row in unit.conversations.all()] == ["new"]
        assert unit.consultations.get(stored.id).conversation_id is None


def test_an_old_decision_survives_closing_and_opening(path: object) -> None:
    """An old decision survives closing and opening."""
    url = f"sqlite:///{path}"
    with open_store(url) as store:
        stored = consult(store)
    with open_store(url) as store, store.view() as unit:
        assert unit.consultations.get(stored.id) == stored
