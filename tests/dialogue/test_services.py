"""The shop's services behind the conversation: one unit of work a turn, cards that follow decisions."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest

from dialogue.errors import ValueRefused
from dialogue.services import Services
from rules.rulebook import load_book
from storage.database import Store, open_store
from storage.rows import CustomerRow, RacquetRow

TODAY = dt.date(2026, 11, 25)
FACTS = {
    "level": "recreational",
    "plays_per_week": 2,
    "mains_material": "synthetic_gut",
    "crosses_material": "synthetic_gut",
    "strung_on": "2026-09-03",
    "words": {"plays_per_week": "twice a week"},
}


@pytest.fixture
def store() -> Iterator[Store]:
    """An empty database in memory."""
    with open_store("sqlite://") as opened:
        yield opened


@pytest.fixture
def services(store: Store) -> Services:
    """The services on that database."""
    return Services(store, load_book())


def keep(services: Services, customer_id: int, **changes: object) -> int:
    """Decide on some facts, keep them on a customer's card, and return the racquet's number."""
    facts = {**FACTS, **changes}
    decision = services.decide(facts, TODAY)
    number = services.consult(facts, decision, TODAY, None)
    racquet = {"facts": facts, "decision": decision, "consultation": number, "nickname": None}
    return services.keep(customer_id, racquet, TODAY).racquet_id


def test_a_turn_that_is_not_saved_keeps_nothing(services: Services, store: Store) -> None:
    """Everything a turn wrote is kept with the conversation, or not at all."""
    with services.turn():
        services.open_card("Maya Okoro", None)
    with store.view() as unit:
        assert unit.customers.all() == ()
    row = services.load("s")
    with services.turn():
        services.open_card("Maya Okoro", None)
        assert services.save(row, [], None)
    with store.view() as unit:
        assert [customer.name for customer in unit.customers.all()] == ["Maya Okoro"]


def test_only_one_of_two_workers_saves_a_turn(services: Services, store: Store) -> None:
    """The second finds the conversation changed, and nothing of its turn is kept."""
    row = services.load("s")
    assert services.save(row, [{"event": "user"}], None)
    with services.turn():
        services.open_card("Maya Okoro", None)
        assert not services.save(row, [], None)
    with store.view() as unit:
        assert unit.customers.all() == ()


def test_a_decision_is_stored_with_its_words_and_its_rulebook_once(services: Services, store: Store) -> None:
    """Two decisions, one rulebook; the first stays as it was."""
    decision = services.decide(FACTS, TODAY)
    first = services.consult(FACTS, decision, TODAY, None)
    services.consult({**FACTS, "plays_per_week": 4}, services.decide(FACTS, TODAY), TODAY, None)
    with store.view() as unit:
        stored = unit.consultations.get(first)
        assert len(unit.rulebooks.all()) == 1
    assert stored.facts["words"] == {"plays_per_week": "twice a week"}
    assert stored.decision == decision
    assert stored.rulebook == load_book().hash


def test_a_kept_racquet_has_a_card_that_follows_its_decisions(services: Services, store: Store) -> None:
    """The due date moves with a later decision; another stringing day opens another card."""
    customer = services.open_card("Maya Okoro", "0143")
    racquet_id = keep(services, customer.customer_id)
    record = services.racquets(customer.customer_id, TODAY)[0].to_record()
    again = {**FACTS, "plays_per_week": 4}
    services.consult(again, services.decide(again, TODAY), TODAY, record)
    with store.view() as unit:
        jobs = unit.jobs.of_racquet(racquet_id)
    assert [job.restring_by for job in jobs] == [dt.date(2026, 12, 3)]
    restrung = {**FACTS, "strung_on": "2026-11-20"}
    services.consult(restrung, services.decide(restrung, TODAY), TODAY, record)
    with store.view() as unit:
        assert {job.strung_on for job in unit.jobs.of_racquet(racquet_id)} == {
            dt.date(2026, 9, 3),
            dt.date(2026, 11, 20),
        }


def test_what_is_on_record_comes_back_without_yesterdays_symptoms(services: Services) -> None:
    """How they felt that day is not how they feel today; a league season that is over sets no date."""
    customer = services.open_card("Maya Okoro", None)
    keep(services, customer.customer_id, symptoms=["fraying"], league_start="2026-12-01")
    facts = services.racquets(customer.customer_id, TODAY)[0].facts
    assert facts["league_start"] == "2026-12-01"
    assert "symptoms" not in facts
    assert "league_start" not in services.racquets(customer.customer_id, dt.date(2027, 1, 5))[0].facts


@pytest.mark.parametrize(("hours", "span"), [(4, (4.0, 4.0)), ({"min": 3, "max": 5}, (3.0, 5.0))])
def test_how_much_is_played_stands_on_the_players_card(
    services: Services, store: Store, hours: object, span: tuple[float, float]
) -> None:
    """Hours a week are the player's: they are known for a second racquet too, which no talk was about."""
    customer = services.open_card("Maya Okoro", None)
    keep(services, customer.customer_id, hours_per_week=hours)
    with store.unit("test") as unit:
        card = unit.customers.get(customer.customer_id)
        unit.racquets.add(RacquetRow(customer_id=card.id, nickname="second"))
        unit.commit()
    assert (card.hours_per_week_low, card.hours_per_week_high) == span
    assert [racquet.facts["hours_per_week"] for racquet in services.racquets(card.id, TODAY)] == [hours, hours]


def test_a_name_finds_its_bearer_before_those_who_sound_alike(services: Services, store: Store) -> None:
    """Maya is Maya Okoro, not Maja Lind; a misspelt name is found, and marked as not exact."""
    with store.unit("test") as unit:
        for name in ("Maya Okoro", "Maja Lind", "Tom Berg"):
            unit.customers.add(CustomerRow(name=name))
        unit.commit()
    assert [card.name for card in services.find("maya")] == ["Maya Okoro"]
    found = services.find("Tomm Berk")
    assert [(card.name, card.exact) for card in found] == [("Tom Berg", False)]
    assert services.find("Nobody Here") == ()


def test_a_refused_value_says_why(services: Services) -> None:
    """The sentence is the rulebook's own, with its figures."""
    checked = services.check("plays_per_week", 40, TODAY)
    assert checked.value is None
    assert checked.refusal is not None
    assert "0 to 21" in checked.refusal
    with pytest.raises(ValueRefused):
        services.decide({"plays_per_week": 40}, TODAY)
    assert services.check("strung_on", "-P6M", TODAY).value == {"value": "2026-05-25", "approx": True}


def test_a_supposition_keeps_nothing(services: Services, store: Store) -> None:
    """What if is decided on other facts; the given ones and the database stay as they are."""
    then = services.what_if(FACTS, {"plays_per_week": 1}, TODAY)
    assert (then["restring_by"], services.decide(FACTS, TODAY)["restring_by"]) == ("2027-09-03", "2027-03-03")
    with store.view() as unit:
        assert unit.consultations.all() == ()
