"""A stored consultation is decided again: with its own edition byte for byte, with another one with reasons."""

from __future__ import annotations

import json
from typing import Any

import pytest

from dialogue.rulebooks.editions import read_content
from dialogue.rulebooks.replay import replay, retake
from rules.errors import BookError
from rules.rulebook import load_book
from storage.database import Store
from storage.errors import NotFound
from tests.dialogue.rulebooks.conftest import Recorded
from tests.rules.editions import edit_book


def test_every_case_comes_out_byte_for_byte(recorded: tuple[Store, Recorded]) -> None:
    """From the stored facts and the stored edition, the very answer that is stored."""
    store, numbers = recorded
    for number, case in numbers.items():
        again = replay(store, number)
        assert again.same, case.name
        assert again.again == json.dumps(dict(again.stored.decision), ensure_ascii=False)
        assert again.differences().parts == {}


def test_the_rulebook_of_today_is_set_beside_it(recorded: tuple[Store, Recorded]) -> None:
    """Six months of natural gut instead of twelve: the day moves, the number is named, and nothing else is."""
    store, numbers = recorded
    number = next(key for key, case in numbers.items() if case.name == "for fun, natural gut throughout")

    def shorten(content: dict[str, Any]) -> None:
        content["values.yaml"]["values"]["recreational_natural_gut_months"]["value"] = 6
        content["values.yaml"]["values"]["soon_days"]["value"] = 10
        row = next(row for row in content["verdict.yaml"]["tables"][0]["rows"] if row["id"] == "verdict-date-ahead")
        row["says"] = "There is time until {chart_due}."

    again = replay(store, number)
    retaken = retake(again, edit_book(shorten))
    assert retaken.answers.parts["restring_by"] == ("2027-01-10", "2026-07-10")
    assert "date: 10 January 2027 before, 10 July 2026 now." in retaken.answers.lines
    assert (
        "Natural gut played for fun: twelve months before, six months now.  [recreational_natural_gut_months]"
        in retaken.editions.lines
    )
    assert dict(retaken.editions.rows_changed) == {"verdict-date-ahead": ("says",)}
    assert again.same, "the stored answer stays as it was"


def test_the_same_rulebook_differs_in_nothing(recorded: tuple[Store, Recorded]) -> None:
    """Every case that the rulebook that comes along decided is decided by it as ever."""
    store, numbers = recorded
    for number, case in numbers.items():
        if not case.policies:
            retaken = retake(replay(store, number), load_book())
            assert retaken.answers.lines == ("Nothing differs.",)
            assert retaken.editions.lines == ()


def test_a_policy_switched_on_since_is_named(recorded: tuple[Store, Recorded]) -> None:
    """A shop that has come to restrain every interval to six months hears which advice it follows."""

    def follow(content: dict[str, Any]) -> None:
        content["values.yaml"]["policies"]["twice_a_year"]["enabled"] = True

    store, numbers = recorded
    number = next(key for key, case in numbers.items() if case.name == "for fun, natural gut throughout")
    retaken = retake(replay(store, number), edit_book(follow))
    assert (
        "Published advice is followed now: at least twice a year, whoever plays.  [twice_a_year]"
        in retaken.editions.lines
    )
    assert retaken.answers.parts["every"] == ("once a year", "every six months")


def test_what_is_not_there_is_said(store: Store) -> None:
    """No such consultation; and an edition this program can no longer read names its row."""
    with pytest.raises(NotFound):
        replay(store, 99)
    with pytest.raises(BookError, match="is missing from the stored rulebook"):
        read_content("{}")
