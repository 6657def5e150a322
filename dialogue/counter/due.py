"""Whose strings are due, overdue, and before which league; reminds nobody."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.counter import Counter
from dialogue.counter.customers import strings_in
from dialogue.counter.leagues import the_league
from dialogue.counter.outcomes import Outcome, answering, refuse
from storage.queries import PAGE, DueRow
from storage.rows import CustomerRow, RacquetRow, StringJobRow
from storage.unit_of_work import UnitOfWork

LONGEST = 3660


@dataclass(frozen=True, kw_only=True)
class DueQuestion:
    """Which part of the list is wanted."""

    within_days: int = 7
    overdue: bool = True
    """Whether those whose day has passed stand on it too."""
    league: str | None = None
    """Only the members of this league."""
    limit: int = PAGE
    """How many of each part at most."""


@dataclass(frozen=True, kw_only=True)
class DueEntry(Outcome):
    """One racquet whose strings are due."""

    tag: str
    customer_id: int | None
    customer: str | None
    phone: str | None
    email: str | None
    consent_to_contact: bool
    racquet: str | None
    restring_by: dt.date
    about: bool
    days_left: int
    """Negative when the day has passed."""
    league: str | None
    """The league whose season the player's strings must be fresh for next."""
    season_starts_on: dt.date | None
    reminder: str | None
    """State of the reminder, None where there is none."""


@dataclass(frozen=True, kw_only=True)
class DueListing(Outcome):
    """Whose strings are due, the longest overdue first."""

    entries: tuple[DueEntry, ...]
    total: int
    """How many there are in all, where the list was cut."""


@answering
def list_due(counter: Counter, question: DueQuestion) -> DueListing:
    """Return the racquets due within some days and, where wanted, those overdue.

    Raises:
        NotFound: when there is no league of that name.
    """
    if not 0 <= question.within_days <= LONGEST:
        raise refuse("days_out_of_range", "days", value=question.within_days, most=LONGEST)
    with counter.look() as unit:
        members = None
        if question.league is not None:
            league = the_league(unit, question.league)
            members = {row.id for row in unit.leagues.members(league.id)}
        parts = [unit.queries.due(counter.today, question.within_days, question.limit)]
        if question.overdue:
            parts.insert(0, unit.queries.overdue(counter.today, limit=question.limit))
        seasons = _Seasons(counter, unit)
        rows = [row for part in parts for row in part.rows]
        kept = [row for row in rows if members is None or (row.customer and row.customer.id in members)]
        total = sum(part.total for part in parts) if members is None else len(kept)
        return DueListing(entries=tuple(_entry(row, seasons) for row in kept), total=total)


class _Seasons:
    """The next season of each customer, looked up once."""

    def __init__(self, counter: Counter, unit: UnitOfWork) -> None:
        self._today = counter.today
        self._unit = unit
        self._found: dict[int, tuple[str, dt.date] | None] = {}

    def of(self, customer: CustomerRow | None) -> tuple[str, dt.date] | None:
        """Return the league's name and the day its season starts."""
        if customer is None:
            return None
        if customer.id not in self._found:
            season = self._unit.leagues.next_season_of(customer.id, self._today)
            league = self._unit.leagues.get(season.league_id) if season else None
            self._found[customer.id] = (league.name, season.starts_on) if season and league else None
        return self._found[customer.id]


def _entry(row: DueRow, seasons: _Seasons) -> DueEntry:
    customer = row.customer
    season = seasons.of(customer)
    if row.job.restring_by is None:
        raise refuse("no_date", "restring_by", because="")
    return DueEntry(
        tag=row.job.tag,
        customer_id=customer.id if customer else None,
        customer=customer.name if customer else None,
        phone=customer.phone if customer else None,
        email=customer.email if customer else None,
        consent_to_contact=bool(customer and customer.consent_to_contact),
        racquet=row.racquet.nickname,
        restring_by=row.job.restring_by,
        about=row.job.approximate,
        days_left=row.days_left,
        league=season[0] if season else None,
        season_starts_on=season[1] if season else None,
        reminder=row.reminder,
    )


def list_of_customer(counter: Counter, customer_id: int) -> tuple[tuple[RacquetRow, StringJobRow], ...]:
    """Return a customer's racquets with the strings that are in them.

    Raises:
        NotFound: when there is no such customer.
    """
    with counter.look() as unit:
        unit.customers.get(customer_id)
        racquets = unit.racquets.of_customer(customer_id)
        found = [(racquet, strings_in(unit, racquet.id)) for racquet in racquets]
        return tuple((racquet, job) for racquet, job in found if job)
