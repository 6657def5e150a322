"""Customers are found by what people say: a name, the end of a number, a tag."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from storage import spoken
from storage.database import Store, open_store
from storage.errors import NotFound
from storage.rows import CustomerRow, RacquetRow, StringJobRow
from tests.storage.conftest import Counter, bring_racquet

NAMES = yaml.safe_load((Path(__file__).parent / "cases/names.yaml").read_text(encoding="utf8"))


@pytest.fixture(scope="module")
def book() -> Any:
    """A shop that knows everybody in the table of names."""
    with open_store("sqlite://") as store:
        with store.unit() as unit:
            for name in NAMES["book"]:
                unit.customers.add(CustomerRow(name=name))
            unit.commit()
        yield store


@pytest.mark.parametrize("case", NAMES["cases"], ids=lambda case: case["asked"] or "nothing")
def test_a_name_is_found_as_it_is_heard(book: Store, case: dict[str, Any]) -> None:
    """A name is found as it is heard."""
    with book.view() as unit:
        hits = unit.customers.sounding_like(case["asked"])
    found = [hit.customer.name for hit in hits]
    assert [hit.score for hit in hits] == sorted((hit.score for hit in hits), reverse=True)
    if case.get("none"):
        assert found == []
    if "first" in case:
        assert found[0] == case["first"]
    assert set(case.get("among", [])) <= set(found)


def test_an_exact_name_finds_all_who_bear_it(store: Store) -> None:
    """An exact name finds all who bear it."""
    first, second = bring_racquet(store, "Zoë Krämerling"), bring_racquet(store, "zoe kramerling")
    with store.view() as unit:
        found = unit.customers.named("ZOE  KRÄMERLING")
        assert [row.id for row in found] == [first.customer.id, second.customer.id]
        hits = unit.customers.find("Zoe Kramerling")
        assert [hit.customer.id for hit in hits] == [first.customer.id, second.customer.id]
        assert {hit.by for hit in hits} == {"name"}


def test_a_changed_name_is_found_under_the_new_name_only(store: Store, counter: Counter) -> None:
    """A changed name is found under the new name only."""
    with store.unit("anna") as unit:
        unit.customers.change(counter.customer.id, name="Juno Vantongeren")
        unit.commit()
    with store.view() as unit:
        assert unit.customers.sounding_like("Fenwick") == ()
        assert unit.customers.sounding_like("Juno")[0].customer.id == counter.customer.id


@pytest.mark.parametrize("said", ["0143", "55 50 143", "202-555-0143", "+1 (202) 555-0143", "٠١٤٣"])
def test_the_end_of_a_number_finds_its_owner(store: Store, counter: Counter, said: str) -> None:
    """The end of a number finds its owner."""
    with store.view() as unit:
        assert unit.customers.by_phone_tail(said) == (counter.customer,)
        assert unit.customers.find(said)[0].by == "phone"


@pytest.mark.parametrize("said", ["0144", "143", "", "no number", "1202555014"])
def test_another_number_or_too_few_digits_find_nobody(store: Store, counter: Counter, said: str) -> None:
    """Another number or too few digits find nobody."""
    with store.view() as unit:
        assert counter.customer not in unit.customers.by_phone_tail(said)


def test_a_number_shared_by_two_returns_both(store: Store) -> None:
    """A number shared by two returns both."""
    bring_racquet(store, "Tobias Ashgrove")
    bring_racquet(store, "Thea Ashgrove")
    with store.view() as unit:
        assert len(unit.customers.find("0143")) == 2


def test_a_tag_finds_the_owner_racquet_and_stringing(store: Store, counter: Counter) -> None:
    """A tag finds the owner racquet and stringing."""
    said = f" {counter.job.tag[:3].lower()}-{counter.job.tag[3:].lower()} "
    with store.unit() as unit:
        assert unit.customers.by_tag(said) == counter.customer
        assert unit.racquets.by_tag(said) == counter.racquet
        assert unit.jobs.by_tag(said) == counter.job
        assert unit.customers.find(said)[0].by == "tag"
        unit.racquets.change(counter.racquet.id, tag="FRAME1")
        assert unit.racquets.by_tag("frame 1").id == counter.racquet.id
        assert unit.jobs.by_tag("frame 1") == counter.job
        assert unit.customers.by_tag("nobody") is None
        assert unit.jobs.by_tag("nobody") is None


def test_racquets_are_listed_by_owner(store: Store, counter: Counter) -> None:
    """Racquets are listed by owner."""
    with store.unit() as unit:
        second = unit.racquets.add(RacquetRow(customer_id=counter.customer.id, nickname="spare"))
        nobodys = unit.racquets.add(RacquetRow())
        assert unit.racquets.of_customer(counter.customer.id) == (counter.racquet, second)
        assert nobodys.customer_id is None
        assert unit.customers.by_tag(unit.jobs.add(StringJobRow(racquet_id=nobodys.id)).tag) is None


def test_a_missing_customer_is_reported_with_its_key(store: Store) -> None:
    """A missing customer is reported with its key."""
    with store.view() as unit, pytest.raises(NotFound, match="No customer is stored under 77") as caught:
        unit.customers.get(77)
    assert (caught.value.entity, caught.value.key) == ("customer", 77)


def test_a_misspelt_field_is_refused(store: Store, counter: Counter) -> None:
    """A misspelt field is refused."""
    with store.unit() as unit, pytest.raises(TypeError, match="phne"):
        unit.customers.change(counter.customer.id, phne="1")


@given(st.text(max_size=60))
def test_folding_twice_changes_nothing_more(name: str) -> None:
    """Folding twice changes nothing more."""
    assert spoken.fold(spoken.fold(name)) == spoken.fold(name)


@given(st.text(max_size=60), st.text(max_size=60))
def test_likeness_stays_within_its_scale(asked: str, name: str) -> None:
    """Likeness stays within its scale."""
    assert 0.0 <= spoken.likeness(spoken.fold(asked), spoken.fold(name)) <= 100.0


@given(st.text(alphabet="abcdefghijklmnopqrstuvwxyzäéñ' -", min_size=1, max_size=30))
def test_a_name_answers_itself_best(name: str) -> None:
    """A name answers itself best."""
    folded = spoken.fold(name)
    assert spoken.likeness(folded, folded) == (100.0 if folded else 0.0)


@given(st.text(max_size=20), st.integers(1, 10))
def test_every_end_of_a_number_begins_its_tail(phone: str, length: int) -> None:
    """Every end of a number begins its tail."""
    tail = spoken.phone_tail(phone)
    digits = "".join(letter for letter in phone if letter in "0123456789")
    if digits and phone.isascii():
        assert tail.startswith(digits[::-1][:length])


def test_tags_are_short_and_read_back_as_they_are() -> None:
    """Tags are short and read back as they are."""
    tags = {spoken.make_tag() for _ in range(500)}
    assert len(tags) == 500
    assert all(len(tag) == 6 and set(tag) <= set(spoken.TAG_LETTERS) for tag in tags)
    assert all(spoken.read_tag(f"{tag[:3]} {tag[3:]}".lower()) == tag for tag in tags)
    assert not set("01OIL5SZ") & set(spoken.TAG_LETTERS) - {"L"}


def test_a_whole_list_is_stored_as_if_one_by_one(store: Store) -> None:
    """Numbers, search keys and trail are the same, and undo takes the whole list back."""
    people = [CustomerRow(name="Odile Marchbanks", phone="(202) 555-0143"), CustomerRow(name="Marlo Fenwick")]
    with store.unit("anna") as unit:
        together = unit.customers.add_all(people)
        unit.commit()
    with store.unit("anna") as unit:
        apart = tuple(unit.customers.add(person) for person in people)
        assert [unit.customers.get(row.id) for row in together] == list(together)
        assert [hit.customer.id for hit in unit.customers.find("odil marchbank")] == [together[0].id, apart[0].id]
        assert [row.id for row in unit.customers.by_phone_tail("5550143")] == [together[0].id, apart[0].id]
        for one, other in zip(together, apart, strict=True):
            left, right = (unit.trail.of("customer", row.id)[0] for row in (one, other))
            assert left.after is not None
            assert right.after is not None
            assert left.after | {"id": 0, "created_at": ""} == right.after | {"id": 0, "created_at": ""}
    with store.unit("anna") as unit:
        assert unit.customers.add_all([]) == ()
        unit.undo_last("anna")
        unit.commit()
    with store.view() as unit:
        assert unit.customers.all() == ()


def test_a_name_without_a_letter_is_kept_in_a_list(store: Store) -> None:
    """It sounds like nothing, so it has no key to be found by; the rest of the list must not fall with it."""
    with store.unit() as unit:
        (kept,) = unit.customers.add_all([CustomerRow(name="(")])
        unit.commit()
    with store.view() as unit:
        assert unit.customers.get(kept.id).name == "("
