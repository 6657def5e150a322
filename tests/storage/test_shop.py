"""The shop's own lists: leagues, products, staff, settings."""

from __future__ import annotations

import datetime as dt

import pytest

from storage.database import Store
from storage.errors import Conflict
from storage.rows import CatalogueProductRow, LeagueRow, StaffRow, StringJobRow
from tests.storage.conftest import TODAY, Counter

WEEK = dt.timedelta(days=7)


def test_a_league_knows_its_next_season_and_its_members(store: Store, counter: Counter) -> None:
    """A league knows its next season and its members."""
    with store.unit() as unit:
        league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
        unit.leagues.add_season(league.id, TODAY - 20 * WEEK)
        autumn = unit.leagues.add_season(league.id, TODAY + 20 * WEEK, "autumn")
        summer = unit.leagues.add_season(league.id, TODAY, "summer")
        assert unit.leagues.next_season(league.id, TODAY) == summer
        assert unit.leagues.next_season(league.id, TODAY + WEEK) == autumn
        assert unit.leagues.next_season(league.id, TODAY + 30 * WEEK) is None
        assert unit.leagues.next_season_of(counter.customer.id, TODAY) is None
        unit.leagues.join(league.id, counter.customer.id)
        assert unit.leagues.next_season_of(counter.customer.id, TODAY) == summer
        assert unit.leagues.members(league.id) == (counter.customer,)
        unit.leagues.leave(league.id, counter.customer.id)
        unit.leagues.leave(league.id, counter.customer.id)
        assert unit.leagues.members(league.id) == ()
        assert unit.leagues.named("Tuesday doubles") == league
        assert unit.leagues.named("no such league") is None


def test_nobody_joins_twice_and_no_season_starts_twice(store: Store, counter: Counter) -> None:
    """Nobody joins twice and no season starts twice."""
    with store.unit() as unit:
        league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
        unit.leagues.join(league.id, counter.customer.id)
        unit.leagues.add_season(league.id, TODAY)
        unit.commit()
    with store.unit() as unit, pytest.raises(Conflict):
        unit.leagues.join(league.id, counter.customer.id)
    with store.unit() as unit, pytest.raises(Conflict):
        unit.leagues.add_season(league.id, TODAY)
    with store.unit() as unit, pytest.raises(Conflict):
        unit.leagues.add(LeagueRow(name="Tuesday doubles"))


def test_a_product_leaves_the_catalogue_but_not_the_stringing(store: Store, counter: Counter) -> None:
    """A product leaves the catalogue but not the stringing."""
    with store.unit() as unit:
        thick = unit.catalogue.add(CatalogueProductRow(product="House soft", material="multifilament", gauge_mm=1.3))
        thin = unit.catalogue.add(CatalogueProductRow(product="House soft", material="multifilament", gauge_mm=1.25))
        assert unit.catalogue.of_material("multifilament") == (thin, thick)
        job = unit.jobs.add(
            StringJobRow(racquet_id=counter.racquet.id, mains_product="House soft", catalogue_product_id=thin.id)
        )
        unit.catalogue.remove(thin.id)
        unit.commit()
    with store.view() as unit:
        stored = unit.jobs.get(job.id)
        assert (stored.mains_product, stored.catalogue_product_id) == ("House soft", None)


def test_staff_are_found_by_name_and_never_show_their_pin(store: Store) -> None:
    """Staff are found by name and never show their PIN."""
    with store.unit("owner") as unit:
        anna = unit.staff.add(StaffRow(name="anna", pin_hash="scrypt$secret", role="stringer"))
        gone = unit.staff.add(StaffRow(name="bela", pin_hash="scrypt$other", role="trainee"))
        unit.staff.change(gone.id, active=False)
        unit.staff.change(anna.id, pin_hash="scrypt$new")
        unit.commit()
    with store.view() as unit:
        found = unit.staff.named("anna")
        assert (found.pin_hash, unit.staff.active()) == ("scrypt$new", (found,))
        trail = unit.trail.latest()
    assert "scrypt" not in f"{found} {found.to_dict()} {trail}"


@pytest.mark.parametrize("value", [5, 2.5, "lb", True, None, [1, 2], {"lead_days": 5}])
def test_a_setting_keeps_any_json_value(store: Store, value: object) -> None:
    """A setting keeps any JSON value."""
    with store.unit() as unit:
        assert unit.settings.value("lead_days", default=7) == 7
        unit.settings.set("lead_days", "something else")
        unit.settings.set("lead_days", value)
        unit.commit()
    with store.view() as unit:
        assert unit.settings.value("lead_days", default=7) == value
