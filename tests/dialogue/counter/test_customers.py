"""Customers are found the way people name them; a bad number is left out and the rest kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import phonenumbers
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, add_customer, change_customer, find_customer
from dialogue.counter.limits import check_text
from dialogue.counter.outcomes import Refused
from dialogue.counter.phones import read_phone, show_phone
from storage.errors import NotFound
from tests.dialogue.counter.conftest import MAYA, bring, need, refused, tag_of


def test_somebody_is_found_by_name_by_misspelt_name_by_number_and_by_tag(counter: Counter) -> None:
    """Every way people name themselves leads to the same customer with the racquet."""
    tag = tag_of(bring(counter))
    for said in ("Maya Okoro", "maia okoro", "(202) 555-0143", "+1 202 555 0143", "5550143", tag, tag.lower()):
        found = need(find_customer(counter, said))
        assert [hit.customer.name for hit in found.hits] == ["Maya Okoro"], said
        assert found.hits[0].racquets[0].racquet.nickname == "red frame"
    assert need(find_customer(counter, tag)).job is not None


def test_two_people_of_one_name_are_both_returned(counter: Counter) -> None:
    """Nobody is chosen by chance: the caller asks which."""
    for phone in ("202 555 0190", "202 555 0128"):
        need(add_customer(counter, CustomerDraft(name="Sam Brandt", phone=phone)))
    need(add_customer(counter, CustomerDraft(name="Sam Brandon")))
    found = need(find_customer(counter, "sam brandt"))
    assert [hit.customer.phone for hit in found.hits] == ["+12025550190", "+12025550128"]


def test_nobody_found_is_an_empty_answer(counter: Counter) -> None:
    """A name that nobody bears finds nobody, and silence is asked about."""
    assert need(find_customer(counter, "Nobody Inparticular")).hits == ()
    assert refused(find_customer(counter, "  ")).reason == "nothing_said"


@pytest.mark.parametrize(
    ("said", "region", "kept"),
    [
        ("(202) 555-0143", "US", "+12025550143"),
        ("+1 202.555.0143", "DE", "+12025550143"),
        ("020 7946 0958", "GB", "+442079460958"),
        ("0044 20 7946 0958", "DE", "+442079460958"),
        ("030 123456", "DE", "+4930123456"),
        ("01 42 68 53 00", "FR", "+33142685300"),
        ("\u0660\u0662\u0661 \u0661\u0662\u0663\u0664\u0665\u0666\u0667\u0668", "IR", "+982112345678"),
    ],
)
def test_a_number_in_any_national_form_is_kept_in_e164(counter: Counter, said: str, region: str, kept: str) -> None:
    """The number is read as dialled in the shop's region (phonenumbers, ITU-T E.164)."""
    there = replace(counter, region=region)
    customer = need(add_customer(there, CustomerDraft(name="Bo Castellane", phone=said))).customer
    assert customer.phone == kept
    assert phonenumbers.is_valid_number(phonenumbers.parse(kept))
    assert need(find_customer(there, said)).hits[0].customer.id == customer.id


@pytest.mark.parametrize("said", ["+15552220123", "555-0142", "call me", "12"])
def test_a_number_that_is_none_is_left_out_and_the_rest_kept(counter: Counter, said: str) -> None:
    """The customer stands on record without it, and a sentence says what to do."""
    kept = need(add_customer(counter, CustomerDraft(name="Bo Castellane", phone=said, level="recreational")))
    assert (kept.customer.phone, kept.customer.level) == (None, "recreational")
    (remark,) = kept.remarks
    assert remark.fact == "phone"
    assert said in counter.wording.remark(remark)
    assert "left out" in counter.wording.remark(remark)


@pytest.mark.parametrize("said", ["maya", "maya@", "a b@example.org", "x@example.org\nBcc: y@example.org", "@a.b"])
def test_an_address_that_is_none_is_left_out(counter: Counter, said: str) -> None:
    """Nothing that could be a second address or header gets into an address."""
    kept = need(add_customer(counter, CustomerDraft(name="Bo Castellane", email=said)))
    assert kept.customer.email is None
    assert [remark.reason for remark in kept.remarks] == ["email_invalid"]


def test_what_cannot_be_is_refused_with_its_reason(counter: Counter) -> None:
    """Limits come from the rulebook and from the counter's own file."""
    bad = {
        "name_missing": CustomerDraft(phone="202 555 0143"),
        "not_a_choice": replace(MAYA, level="professional"),
        "too_long": replace(MAYA, name="x" * 121),
        "fact": replace(MAYA, plays_per_week=40),
    }
    for reason, draft in bad.items():
        refusal = refused(add_customer(counter, draft))
        assert refusal.reason == reason
        assert counter.wording.remark(refusal)
    with counter.look() as unit:
        assert unit.customers.all() == ()


def test_a_change_changes_what_is_named_alone(counter: Counter) -> None:
    """What a draft leaves open stays as it was."""
    customer = need(add_customer(counter, MAYA)).customer
    changed = need(change_customer(counter, customer.id, CustomerDraft(plays_per_week=(2, 3)))).customer
    assert (changed.plays_per_week_low, changed.plays_per_week_high) == (2, 3)
    assert replace(changed, plays_per_week_low=3, plays_per_week_high=3) == customer
    with pytest.raises(NotFound):
        change_customer(counter, 99, MAYA)


@given(st.text(max_size=80))
def test_any_text_becomes_one_line_without_control_characters(text: str) -> None:
    """Whatever is typed, nothing unprintable is kept."""
    kept = check_text("notes", text)
    assert kept is None or (kept == " ".join(kept.split()) and kept.isprintable() and kept)


@given(st.text(max_size=40), st.sampled_from(["US", "DE", "GB", "XX"]))
def test_any_text_is_a_number_or_refused(said: str, region: str) -> None:
    """Nothing but E.164 ever comes out, and nothing raises but a refusal."""
    try:
        number = read_phone(said, region)
    except Refused:
        return
    assert number.startswith("+")
    assert number[1:].isdigit()


def test_a_stored_number_is_shown_with_its_country_code() -> None:
    """What is no number is shown as it stands."""
    assert show_phone("+442079460958") == "+44 20 7946 0958"
    assert show_phone("ask at the desk") == "ask at the desk"
    assert show_phone(None) is None


def test_the_day_of_the_counter_is_the_one_given(counter: Counter) -> None:
    """The store's clock and the counter's day are both the test's."""
    taken = bring(counter)
    assert taken.job is not None
    assert taken.job.received_at is not None
    assert taken.job.received_at.date() == dt.date(2026, 5, 4)
