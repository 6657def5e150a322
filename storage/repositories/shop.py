"""The shop's own lists: leagues, strings it sells, staff and settings; knows no use case."""

from __future__ import annotations

import datetime as dt
from typing import Any

from sqlalchemy import select

from storage import models
from storage.audit import UnitSession
from storage.repositories.base import Repository, read, stored_columns, to_row
from storage.rows import (
    CatalogueProductRow,
    CustomerRow,
    LeagueMemberRow,
    LeagueRow,
    LeagueSeasonRow,
    SettingRow,
    StaffRow,
)


class _Seasons(Repository[models.LeagueSeason, LeagueSeasonRow]):
    model = models.LeagueSeason
    row = LeagueSeasonRow


class _Members(Repository[models.LeagueMember, LeagueMemberRow]):
    model = models.LeagueMember
    row = LeagueMemberRow


class Leagues(Repository[models.League, LeagueRow]):
    """Leagues with their seasons and members."""

    model = models.League
    row = LeagueRow

    def __init__(self, session: UnitSession) -> None:
        super().__init__(session)
        self._seasons = _Seasons(session)
        self._members = _Members(session)

    def named(self, name: str) -> LeagueRow | None:
        """Return the league of this name."""
        return self.first(self._select().where(models.League.name == name))

    def add_season(self, league_id: int, starts_on: dt.date, name: str | None = None) -> LeagueSeasonRow:
        """Store a season and return it; Conflict when the league has one that starts on the same day."""
        return self._seasons.add(LeagueSeasonRow(league_id=league_id, starts_on=starts_on, name=name))

    def seasons(self, league_id: int) -> tuple[LeagueSeasonRow, ...]:
        """Return the league's seasons, the earliest first."""
        season = models.LeagueSeason
        return self._seasons.rows(select(season).where(season.league_id == league_id).order_by(season.starts_on))

    def next_season(self, league_id: int, today: dt.date) -> LeagueSeasonRow | None:
        """Return the first season that starts on or after this day."""
        return next((season for season in self.seasons(league_id) if season.starts_on >= today), None)

    def next_season_of(self, customer_id: int, today: dt.date) -> LeagueSeasonRow | None:
        """Return the first season on or after this day of any league the customer plays in."""
        season, member = models.LeagueSeason, models.LeagueMember
        return self._seasons.first(
            select(season)
            .join(member, member.league_id == season.league_id)
            .where(member.customer_id == customer_id, season.starts_on >= today)
            .order_by(season.starts_on)
        )

    def join(self, league_id: int, customer_id: int) -> LeagueMemberRow:
        """Make a customer a member and return the membership; Conflict when it exists already."""
        return self._members.add(LeagueMemberRow(league_id=league_id, customer_id=customer_id))

    def leave(self, league_id: int, customer_id: int) -> None:
        """End a membership, if there is one."""
        member = models.LeagueMember
        for found in self._session.scalars(
            select(member).where(member.league_id == league_id, member.customer_id == customer_id)
        ):
            self._session.delete(found)
        self._session.flush()

    def members(self, league_id: int) -> tuple[CustomerRow, ...]:
        """Return the league's members by name."""
        member, customer = models.LeagueMember, models.Customer
        found = self._session.scalars(
            select(customer).join(member).where(member.league_id == league_id).order_by(customer.name_key, customer.id)
        )
        return tuple(to_row(live, CustomerRow) for live in found)


_ALL_PRODUCTS = select(*stored_columns(models.CatalogueProduct, CatalogueProductRow)).order_by(
    models.CatalogueProduct.__table__.columns["id"]
)


class Catalogue(Repository[models.CatalogueProduct, CatalogueProductRow]):
    """The strings the shop sells."""

    model = models.CatalogueProduct
    row = CatalogueProductRow

    def all(self) -> tuple[CatalogueProductRow, ...]:
        """Return every product in the order of storing."""
        # Read as plain columns: each turn that may name a product looks through them.
        return tuple(read(iter(found), CatalogueProductRow) for found in self._session.execute(_ALL_PRODUCTS))

    def of_material(self, material: str) -> tuple[CatalogueProductRow, ...]:
        """Return the products of one material by name and gauge."""
        product = models.CatalogueProduct
        return self.rows(
            self._select().where(product.material == material).order_by(product.product, product.gauge_mm, product.id)
        )

    def remove(self, key: int) -> None:
        """Take a product out of the catalogue; stringings keep the words they were logged with."""
        self._session.delete(self._live(key))
        self._flush()


class StaffList(Repository[models.Staff, StaffRow]):
    """Who works at the counter; nobody is removed, for the audit trail names them."""

    model = models.Staff
    row = StaffRow

    def named(self, name: str) -> StaffRow | None:
        """Return the member of staff of this name."""
        return self.first(self._select().where(models.Staff.name == name))

    def active(self) -> tuple[StaffRow, ...]:
        """Return who may sign in, by name."""
        return self.rows(self._select().where(models.Staff.active).order_by(models.Staff.name))


class Settings(Repository[models.Setting, SettingRow]):
    """The shop's own choices."""

    model = models.Setting
    row = SettingRow

    def value(self, key: str, default: Any = None) -> Any:
        """Return the value set under this key, or the default."""
        found = self._session.get(models.Setting, key)
        return default if found is None else found.value

    def set(self, key: str, value: Any) -> SettingRow:
        """Set a JSON value under this key and return it."""
        if self._session.get(models.Setting, key) is None:
            return self.add(SettingRow(key=key, value=value))
        return self.change(key, value=value)
