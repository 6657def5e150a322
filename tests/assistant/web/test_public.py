"""The conversation as the kiosk has it: words about anybody's card are left out before the dialogue sees them."""

from __future__ import annotations

import datetime as dt
from pathlib import Path

import pytest

from assistant.bootstrap import open_book, open_database
from assistant.channels.web.public import CARDS, PublicServices, PublicUnderstand, open_public_conversation
from dialogue.messages import Message
from dialogue.understanding import understand
from tests.assistant.web.running_shop import NAME, TODAY, settings_of


@pytest.mark.parametrize(
    "text",
    [
        "picking up for Maya",
        "I'm here to pick up my racquet",
        "dropping off a racquet for Tobias Wren",
        "who is due this week?",
        "what's on the due list",
    ],
)
def test_what_is_for_staff_sends_people_to_the_counter(text: str) -> None:
    """It is understood as asking for a person."""
    heard = PublicUnderstand(understand)(text, asked=None, channel="typed", today=TODAY)
    assert heard.intent == "human"
    assert not CARDS & set(heard.slots)


def test_facts_beside_a_name_still_count() -> None:
    """Only the name is dropped."""
    text = "it's for Maya Okoro, she plays twice a week just for fun"
    heard = PublicUnderstand(understand)(text, asked=None, channel="typed", today=TODAY, names=("Maya Okoro",))
    assert heard.slots["plays_per_week"] == 2
    assert heard.slots["level"] == "recreational"
    assert not CARDS & set(heard.slots)
    assert not CARDS & {piece.slot for piece in heard.evidence}


def test_a_reading_is_weighed_and_not_logged() -> None:
    """The kiosk writes on no card."""
    heard = PublicUnderstand(understand)("log 27 kgf on the stiffness meter", asked=None, channel="typed", today=TODAY)
    assert heard.intent != "log_reading"


def test_the_services_know_nobody(club: Path) -> None:
    """Whatever is asked of them."""
    settings = settings_of(club)
    with open_database(settings) as store:
        services = PublicServices(store, open_book(settings))
        assert services.names() == ()
        assert services.find("Maya Okoro") == ()
        assert services.due(dt.date(2026, 11, 24)) == ()


@pytest.mark.parametrize(
    "text", ["is the racquet of Maya ready", "two for Maya", "string Maya's red frame", "Maya's here"]
)
def test_an_errand_in_a_breath_begins_nothing_at_a_kiosk(text: str, club: Path) -> None:
    """Nobody is looked up, nothing is taken in, and nobody is told how it stands."""
    with open_database(settings_of(club)) as store:
        conversation = open_public_conversation(PublicServices(store, open_book(settings_of(club))), understand)
        reply = conversation.handle(Message(text, "kiosk", today=TODAY))[-1]
    assert "Maya" not in " ".join(reply.text)
    assert reply.asked not in {"frame_check", "customer_name"}


def test_practice_at_a_kiosk_is_nobodys(club: Path) -> None:
    """Whether a name works here is not told, and nobody's course is taken there."""
    settings = settings_of(club)
    with open_database(settings) as store:
        conversation = open_public_conversation(PublicServices(store, open_book(settings)), understand)
        (begun,) = conversation.handle(Message(f"practise with me, I'm {NAME}", "kiosk:1", today=TODAY))
        assert begun.text[0].startswith("Let us practise:")
        for answer in ("play on", "no day", "number 1"):
            conversation.handle(Message(answer, "kiosk:1", today=TODAY))
        with store.view() as unit:
            assert [answer.trainee for answer in unit.practice.answers()] == ["trainee"]


def test_a_kiosk_advises_strings_and_a_range_to_talk_over(club: Path) -> None:
    """The kind of string with its reason and the caution, and no figure to hold the stringer to."""
    with open_database(settings_of(club)) as store:
        services = PublicServices(store, open_book(settings_of(club)))
        conversation = open_public_conversation(services, understand)
        said = []
        for text in ("my arm hurts, what strings would you recommend?", "50 to 60"):
            said += conversation.handle(Message(text, "kiosk", today=TODAY))[-1].text
    told = " ".join(said)
    assert "multifilament throughout" in told
    assert "no treatment" in told
    assert "Talk the tension over with the stringer: between 51 lb and 55 lb" in told
    assert "at 53 lb" not in told


def test_a_kiosk_tells_the_same_feel_as_a_range(club: Path) -> None:
    """Where to start is talked over with the stringer, and no card is looked up for it."""
    with open_database(settings_of(club)) as store:
        services = PublicServices(store, open_book(settings_of(club)))
        conversation = open_public_conversation(services, understand)
        reply = conversation.handle(Message("what tension for poly if I had syn gut at 55?", "kiosk", today=TODAY))[-1]
    told = " ".join(reply.text)
    assert "talk it over with the stringer: between 49 lb and 56 lb" in told
    assert "53 lb" not in told
