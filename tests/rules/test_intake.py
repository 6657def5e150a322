"""Facts are taken in whole or refused with the fact's name and what would do; nothing else happens."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.errors import FactRefused
from rules.facts import Day, Fact, Facts, Kind, Level, Material, Reading, Span, Symptom, Tension
from rules.intake import parse_facts
from tests.strategies import LIMITS, any_json, facts_json

TODAY = dt.date(2026, 6, 1)
REFUSED = yaml.safe_load((Path(__file__).parent / "cases" / "refused_facts.yaml").read_text(encoding="utf8"))["refused"]


def take_in(raw: Any) -> Facts:
    """Return the facts on the day of these tests."""
    return parse_facts(raw, today=TODAY, limits=LIMITS)


@pytest.mark.parametrize("row", REFUSED, ids=[row["name"] for row in REFUSED])
def test_a_fact_that_cannot_be_is_refused(row: dict[str, Any]) -> None:
    """The refusal names the fact and says in a sentence what would be accepted; its value can be sent as JSON."""
    with pytest.raises(FactRefused) as caught:
        take_in(row["facts"])
    assert caught.value.fact == row["fact"]
    for piece in row["says"]:
        assert piece in caught.value.message
    assert caught.value.message.rstrip("}").endswith((".", "?"))
    json.dumps({"fact": caught.value.fact, "value": caught.value.value}, allow_nan=False)


@pytest.mark.parametrize(
    "value",
    [10**400, -(10**400), 10**5000, [10**5000], {"value": 10**5000}],
    ids=["400", "-400", "5000", "list", "object"],
)
@pytest.mark.parametrize("fact", [*Fact, "unknown", "words", "today", "no_fact"])
def test_numbers_of_thousands_of_digits_are_refused(fact: str, value: Any) -> None:
    """A number too large even to print is refused like any other, in a message of ordinary length."""
    with pytest.raises(FactRefused) as caught:
        take_in({fact: value})
    assert len(caught.value.message) < 700
    json.dumps({"fact": caught.value.fact, "value": caught.value.value})


def test_a_value_nested_without_end_is_refused() -> None:
    """A hostile value too deep to print is named, not printed."""
    deep: list[Any] = []
    for _ in range(100_000):
        deep = [deep]
    for fact in ("level", "plays_per_week", "reading", "no_fact"):
        with pytest.raises(FactRefused) as caught:
            take_in({fact: deep})
        assert caught.value.fact == fact


def test_a_long_name_is_cut_in_the_refusal() -> None:
    """A name of a million letters is refused at once and shown in part."""
    with pytest.raises(FactRefused) as caught:
        take_in({"x" * 1_000_000: 1})
    assert len(caught.value.message) < 700
    assert len(caught.value.fact) < 100


def find_refusal(raw: Any) -> FactRefused | None:
    """Return the refusal of the facts, or None where they are taken in; any other error is a fault."""
    try:
        take_in(raw)
    except FactRefused as refusal:
        json.dumps({"fact": refusal.fact, "value": refusal.value}, allow_nan=False)
        return refusal
    return None


@given(raw=any_json())
@settings(max_examples=100, deadline=None)
def test_any_json_is_taken_in_or_refused(raw: Any) -> None:
    """Whatever comes, there are facts or a refusal in words, never another error."""
    refusal = find_refusal(raw)
    assert refusal is None or refusal.message


@given(fact=st.sampled_from([*Fact, "unknown", "words", "today"]), value=any_json())
@settings(max_examples=200, deadline=None)
def test_any_json_as_any_fact_is_taken_in_or_refused(fact: str, value: Any) -> None:
    """The same for each fact by itself, and the refusal names that fact."""
    refusal = find_refusal({fact: value})
    assert refusal is None or refusal.fact == fact


@given(raw=facts_json(), junk=any_json(), fact=st.sampled_from(list(Fact)))
@settings(max_examples=100, deadline=None)
def test_one_bad_fact_among_good_ones_is_the_one_named(raw: dict[str, Any], junk: Any, fact: Fact) -> None:
    """Good facts beside it do not hide which one is bad."""
    refusal = find_refusal({**raw, fact.value: junk})
    assert refusal is None or refusal.fact == fact


def test_every_form_of_every_fact_is_read() -> None:
    """The forms of the conversation's slots, one of each."""
    known = take_in(
        {
            "level": "competitive",
            "plays_per_week": {"min": 2, "max": 3},
            "hours_per_play": 1.5,
            "mains_material": "polyester",
            "crosses_material": "same_as_mains",
            "mains_tension": {"value": 54, "unit": "lb"},
            "crosses_tension": "same_as_mains",
            "strung_on": {"value": "2026-03", "approx": True},
            "label_due": "2026-09-01",
            "baseline": 38,
            "reading": {"values": [27, 28], "kind": "stiffness", "taken_on": "2026-05-30"},
            "symptoms": ["fraying", "fraying"],
            "sport": None,
            "unknown": ["sport", "level"],
            "words": {"level": "in the league"},
        }
    )
    assert known == Facts(
        today=TODAY,
        level=Level.COMPETITIVE,
        plays_per_week=Span(2, 3),
        hours_per_play=Span(1.5, 1.5),
        mains_material=Material.POLYESTER,
        crosses_material=Material.POLYESTER,
        hybrid=False,
        mains_tension=Tension(54, "lb"),
        crosses_tension=Tension(54, "lb"),
        strung_on=Day(dt.date(2026, 3, 15), approx=True, said="2026-03"),
        label_due=Day(dt.date(2026, 9, 1)),
        baseline=(Reading((38.0,)),),
        reading=(Reading((27.0, 28.0), Kind.STIFFNESS, taken_on=dt.date(2026, 5, 30)),),
        symptoms=(Symptom.FRAYING,),
        unknown=frozenset({"sport"}),
    )
    assert known.words == {"level": "in the league"}


@pytest.mark.parametrize(
    ("fact", "said", "day"),
    [
        ("strung_on", "2026-02", "2026-02-15"),  # a month stands for its 15th
        ("strung_on", "2025", "2025-07-01"),  # a year for its middle
        ("strung_on", "2026-05", "2026-05-15"),
        ("strung_on", "2026-06", "2026-06-01"),  # only the first is past: its middle is the first
        ("strung_on", "2026", "2026-03-17"),  # 1 January to 1 June: 151 days, 75 of them from 1 January
        ("strung_on", "-P6M", "2025-12-01"),
        ("strung_on", "-P3W", "2026-05-11"),
        ("strung_on", "-P10D", "2026-05-22"),
        ("strung_on", "-P2Y", "2024-06-01"),
        ("label_due", "2026-02", "2026-02-28"),  # due in February means by its end
        ("label_due", "2028-02", "2028-02-29"),
        ("label_due", "2026", "2026-12-31"),
        ("label_due", "P2M", "2026-08-01"),
        ("league_start", "2026-09", "2026-09-01"),  # ready for the first match there may be
        ("league_start", "2027", "2027-01-01"),
    ],
)
def test_an_inexact_date_becomes_one_stated_day(fact: str, said: str, day: str) -> None:
    """Which day a month, a year or a span stands for is a setting of the rulebook, and the day is an about."""
    found: Day = getattr(take_in({fact: {"value": said, "approx": True}}), fact)
    assert (found.day.isoformat(), found.approx, found.said) == (day, True, said)


def test_a_month_end_is_clipped_in_a_span() -> None:
    """Six months before 31 August is 28 February."""
    known = parse_facts({"strung_on": "-P6M"}, today=dt.date(2026, 8, 31), limits=LIMITS)
    assert known.strung_on == Day(dt.date(2026, 2, 28), approx=True, said="-P6M")


def test_strung_today_is_taken() -> None:
    """Only after today is refused."""
    known = take_in({"strung_on": TODAY.isoformat()})
    assert known.strung_on == Day(TODAY)


def test_the_ends_of_the_tension_range_are_taken_in_kilos_as_shown() -> None:
    """What the refusal offers is accepted: 6.9 and 40.8 kg."""
    for kilos in (6.9, 40.8):
        take_in({"mains_tension": {"value": kilos, "unit": "kg"}})


def test_a_full_bed_fills_in_the_side_that_was_not_named() -> None:
    """Not a hybrid: either side tells the other; a hybrid tells nothing of the other side."""
    for one, other in (("mains_material", "crosses_material"), ("crosses_material", "mains_material")):
        assert getattr(take_in({"hybrid": False, one: "polyester"}), other) is Material.POLYESTER
        assert getattr(take_in({"hybrid": True, one: "polyester"}), other) is None
    assert take_in({"crosses_material": "same_as_mains"}).hybrid is False


def test_none_means_not_known() -> None:
    """Every fact may be given as null."""
    assert take_in(dict.fromkeys([*Fact, "unknown", "words", "today"])) == Facts(today=TODAY)


@pytest.mark.parametrize(
    ("fact", "value"),
    [
        ("plays_per_week", 0),
        ("plays_per_week", 21),
        ("plays_per_week", {"min": 2, "max": 2}),
        ("hours_per_play", 12),
        ("hours_per_week", 84),
        ("mains_tension", {"value": 15, "unit": "lb"}),
        ("mains_tension", {"value": 90, "unit": "lb"}),
        ("reading", {"value": 0, "kind": "deflection"}),
        ("reading", {"value": 100, "kind": "deflection"}),
        ("reading", {"value": 100, "kind": "frequency"}),
        ("reading", {"value": 2000, "kind": "frequency"}),
        ("reading", {"values": [30] * 20, "kind": "stiffness"}),
        ("reading", {"value": 30, "taken_on": "2026-06-01"}),
        ("baseline", {"value": 0.01, "kind": "stiffness"}),
        ("label_due", "1970-01-01"),
        ("label_due", "2100-12-31"),
    ],
    ids=str,
)
def test_the_ends_of_a_range_are_taken(fact: str, value: Any) -> None:
    """What the refusals offer is accepted to the very end."""
    assert take_in({fact: value}).known(fact)


def test_a_day_without_a_word_on_exactness_is_exact() -> None:
    """Only what says so, or names a month or a year, is approximate."""
    assert take_in({"strung_on": {"value": "2026-03-14"}}).strung_on == Day(dt.date(2026, 3, 14))
    assert take_in({"strung_on": {"value": "2026-03-14", "approx": True}}).strung_on == Day(
        dt.date(2026, 3, 14), approx=True
    )
