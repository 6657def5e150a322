"""Whose day another rulebook would move: every racquet on record is decided by both, with the reason."""

from __future__ import annotations

import datetime as dt
from typing import Any

from dialogue.rulebooks.moving import Editions, find_moved
from rules.rulebook import load_book
from storage.database import Store
from storage.rows import CustomerRow, LeagueRow, RacquetRow, ReadingRow, StringJobRow
from tests.dialogue.rulebooks.conftest import TODAY
from tests.rules.editions import edit_book


def fill(store: Store) -> None:
    """Put four racquets on record: two competitive on polyester, a junior on gut, and one that was never strung."""
    with store.unit() as unit:
        for name, material, level, group in (
            ("Marlo Fenwick", "polyester", "competitive", None),
            ("Ana Quill", "polyester", "competitive", None),
            ("Bo Tarn", "natural_gut", "recreational", "junior"),
        ):
            customer = unit.customers.add(CustomerRow(name=name, level=level, group=group))
            racquet = unit.racquets.add(RacquetRow(customer_id=customer.id, nickname=f"{name[0]} frame"))
            strings = {"mains_material": material, "crosses_material": material, "status": "collected"}
            old = StringJobRow(racquet_id=racquet.id, strung_on=TODAY - dt.timedelta(days=300), **strings)
            new = StringJobRow(racquet_id=racquet.id, strung_on=TODAY - dt.timedelta(days=25), **strings)
            unit.jobs.add_all([old, new])
        unit.jobs.add(StringJobRow(racquet_id=unit.racquets.add(RacquetRow(customer_id=customer.id)).id))
        last = unit.jobs.all()[1]
        for role, figure in (("baseline", 40.0), ("check", 30.0)):
            unit.readings.add(ReadingRow(job_id=last.id, role=role, kind="stiffness", values=(figure,), taken_on=TODAY))
        unit.commit()


def test_only_those_whose_answer_changes_are_named(store: Store) -> None:
    """Two months of polyester: one moves to another verdict, one only to another day, for its reading decides."""

    def lengthen(content: dict[str, Any]) -> None:
        content["values.yaml"]["values"]["competitive_polyester_months"]["value"] = 2

    fill(store)
    told: list[tuple[int, int]] = []
    editions = Editions(load_book(), edit_book(lengthen))
    movement = find_moved(store, editions, TODAY, 5, lambda done, total: told.append((done, total)))
    assert (movement.racquets, movement.moved, movement.later, movement.earlier) == (3, 2, 2, 0)
    assert dict(movement.verdicts) == {"restring_soon to play_on": 1}
    assert told == [(3, 3)]
    marlo, ana = movement.shown
    assert marlo.customer == "Marlo Fenwick"
    assert marlo.verdict == ("restring_now", "restring_now")
    assert marlo.restring_by == (dt.date(2026, 11, 30), dt.date(2026, 12, 30))
    assert ana.verdict == ("restring_soon", "play_on")
    assert any(
        line.startswith("Counted before and does not now") and "[verdict-date-near]" in line for line in ana.lines
    )


def test_an_own_row_moves_the_group_on_the_card(store: Store) -> None:
    """Juniors every month: the junior's day comes earlier, nobody else's moves; of those told the limit is kept."""

    def add(content: dict[str, Any]) -> None:
        content["own.yaml"]["tables"][0]["rows"] = [
            {
                "id": "own-junior",
                "when": {"group": "junior"},
                "gives": {"every_months": 1},
                "says": "Junior players restring {every}.",
                "source": ["house"],
            }
        ]

    fill(store)
    movement = find_moved(store, Editions(load_book(), edit_book(add)), TODAY, 0)
    assert (movement.moved, movement.earlier, movement.shown) == (1, 1, ())


def test_the_season_of_the_owners_league_counts(store: Store) -> None:
    """Synthetic gut of a league player goes by the season on record."""
    with store.unit() as unit:
        customer = unit.customers.add(CustomerRow(name="Ana Quill", level="competitive"))
        racquet = unit.racquets.add(RacquetRow(customer_id=customer.id))
        league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
        unit.leagues.add_season(league.id, dt.date(2027, 3, 1))
        unit.leagues.join(league.id, customer.id)
        gut = {"mains_material": "synthetic_gut", "crosses_material": "synthetic_gut", "status": "collected"}
        unit.jobs.add(StringJobRow(racquet_id=racquet.id, strung_on=TODAY, **gut))
        unit.commit()

    def lead(content: dict[str, Any]) -> None:
        content["values.yaml"]["values"]["league_lead_days"]["value"] = 10

    (moved,) = find_moved(store, Editions(load_book(), edit_book(lead)), TODAY, 9).shown
    assert moved.restring_by == (dt.date(2027, 2, 24), dt.date(2027, 2, 19))


def test_a_fact_that_the_other_edition_refuses_is_counted(store: Store) -> None:
    """Ten plays a week where the other edition allows eight."""

    def narrow(content: dict[str, Any]) -> None:
        content["values.yaml"]["limits"]["plays_per_week"]["high"] = 8

    with store.unit() as unit:
        customer = unit.customers.add(CustomerRow(name="Bo Tarn", plays_per_week_low=10, plays_per_week_high=10))
        racquet = unit.racquets.add(RacquetRow(customer_id=customer.id))
        unit.jobs.add(StringJobRow(racquet_id=racquet.id, strung_on=TODAY, status="collected"))
        unit.commit()
    movement = find_moved(store, Editions(load_book(), edit_book(narrow)), TODAY, 5)
    assert (movement.racquets, movement.unreadable, movement.moved) == (1, 1, 0)
