"""Leagues, their seasons and players, and the rush before a season spread over the days that count as fresh."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.counter import Counter
from dialogue.counter.limits import check_text
from dialogue.counter.outcomes import Outcome, answering, refuse
from storage.errors import NotFound
from storage.queries import BenchDay, MemberDue
from storage.rows import CustomerRow, LeagueRow, LeagueSeasonRow
from storage.spoken import fold
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class LeagueShown(Outcome):
    """A league with its seasons and members."""

    league: LeagueRow
    seasons: tuple[LeagueSeasonRow, ...]
    members: tuple[CustomerRow, ...]


@dataclass(frozen=True, kw_only=True)
class Leagues(Outcome):
    """Every league."""

    leagues: tuple[LeagueShown, ...]


@dataclass(frozen=True, kw_only=True)
class RushEntry(Outcome):
    """One racquet that needs stringing before a season."""

    customer: str
    customer_id: int
    racquet: str | None
    tag: str | None
    """Tag of its last stringing; None where none is known."""
    restring_by: dt.date | None
    promised_on: dt.date | None
    """The day that is promised already, for one that is on the bench."""
    planned_on: dt.date | None
    """The day this plan puts it on; None where one is promised."""


@dataclass(frozen=True, kw_only=True)
class RushDay(Outcome):
    """The bench on one day."""

    day: dt.date
    promised: int
    planned: int

    @property
    def load(self) -> int:
        """How many stringings the day would hold."""
        return self.promised + self.planned


@dataclass(frozen=True, kw_only=True)
class SeasonPlan(Outcome):
    """Who needs stringing before a season, and a day for each."""

    league: LeagueRow
    season: LeagueSeasonRow
    fresh_from: dt.date
    """Strings put on from this day on are fresh for the season."""
    ready_by: dt.date
    """The day by which they should be strung."""
    entries: tuple[RushEntry, ...]
    days: tuple[RushDay, ...]
    busiest: int
    """The most stringings on one day of the plan."""


@answering
def create_league(counter: Counter, name: str, seasons: tuple[dt.date, ...] = ()) -> LeagueShown:
    """Take down a league with the first days of its seasons."""
    kept = check_text("name", name, "name_characters")
    if not kept:
        raise refuse("name_missing", "name")
    with counter.work() as unit:
        if unit.leagues.named(kept):
            raise refuse("league_exists", "name", value=kept)
        league = unit.leagues.add(LeagueRow(name=kept))
        for day in sorted(set(seasons)):
            unit.leagues.add_season(league.id, day)
        return _show(unit, league)


@answering
def add_season(counter: Counter, name: str, starts_on: dt.date, season: str | None = None) -> LeagueShown:
    """Take down a season of a league.

    Raises:
        NotFound: when there is no league of that name.
    """
    with counter.work() as unit:
        league = the_league(unit, name)
        if starts_on in {row.starts_on for row in unit.leagues.seasons(league.id)}:
            raise refuse("season_exists", "starts_on", day=starts_on, value=league.name)
        unit.leagues.add_season(league.id, starts_on, check_text("season", season, "name_characters"))
        return _show(unit, league)


@answering
def join_league(counter: Counter, name: str, customer_id: int) -> LeagueShown:
    """Make a customer a member of a league.

    Raises:
        NotFound: when there is no such league or customer.
    """
    with counter.work() as unit:
        league = the_league(unit, name)
        customer = unit.customers.get(customer_id)
        if customer.id in {row.id for row in unit.leagues.members(league.id)}:
            raise refuse("member_already", "customer", value=customer.name, league=league.name)
        unit.leagues.join(league.id, customer.id)
        return _show(unit, league)


def leave_league(counter: Counter, name: str, customer_id: int) -> LeagueShown:
    """End a customer's membership, if there is one.

    Raises:
        NotFound: when there is no such league.
    """
    with counter.work() as unit:
        league = the_league(unit, name)
        unit.leagues.leave(league.id, customer_id)
        return _show(unit, league)


def list_leagues(counter: Counter, name: str | None = None) -> Leagues:
    """Return every league, or the one of this name.

    Raises:
        NotFound: when there is no league of that name.
    """
    with counter.look() as unit:
        wanted = (the_league(unit, name),) if name is not None else unit.leagues.all()
        return Leagues(leagues=tuple(_show(unit, league) for league in wanted))


@answering
def plan_season(
    counter: Counter, name: str, starts_on: dt.date | None = None, closed: frozenset[int] = frozenset()
) -> SeasonPlan:
    """Return who needs stringing before a season and a day for each, so that no day is fuller than it must be.

    Only days on which strings count as fresh for the season are used, up to the day by which they should be done.

    Args:
        counter: where.
        name: the league's.
        starts_on: which season; None is the next one.
        closed: weekdays on which nobody strings, Monday is 0.

    Raises:
        NotFound: when there is no such league or season.
    """
    with counter.look() as unit:
        league = the_league(unit, name)
        season = _the_season(counter, unit, league, starts_on)
        fresh_from = season.starts_on - dt.timedelta(days=int(counter.book.values["league_fresh_days"]))
        ready_by = season.starts_on - dt.timedelta(days=int(counter.book.values["league_lead_days"]))
        due = unit.queries.season_due(season.id, counter.today, fresh_from)
    first = max(counter.today, fresh_from)
    free = [load for load in due.bench if first <= load.day <= ready_by and load.day.weekday() not in closed]
    entries, planned = spread_rush(due.members, free, counter.today)
    if not free and any(entry.promised_on is None for entry in entries):
        raise refuse("no_day_left", "season", day=ready_by)
    days = tuple(RushDay(day=load.day, promised=load.promised, planned=planned.get(load.day, 0)) for load in due.bench)
    return SeasonPlan(
        league=league,
        season=season,
        fresh_from=fresh_from,
        ready_by=ready_by,
        entries=entries,
        days=days,
        busiest=max((day.load for day in days), default=0),
    )


def the_league(unit: UnitOfWork, name: str) -> LeagueRow:
    """Return the league of this name; case and accents do not count.

    Raises:
        NotFound: when there is none.
    """
    league = unit.leagues.named(name) or next((row for row in unit.leagues.all() if fold(row.name) == fold(name)), None)
    if league is None:
        raise NotFound("league", name)
    return league


def _show(unit: UnitOfWork, league: LeagueRow) -> LeagueShown:
    return LeagueShown(league=league, seasons=unit.leagues.seasons(league.id), members=unit.leagues.members(league.id))


def _the_season(counter: Counter, unit: UnitOfWork, league: LeagueRow, starts_on: dt.date | None) -> LeagueSeasonRow:
    if starts_on is None:
        season = unit.leagues.next_season(league.id, counter.today)
        if season is None:
            raise refuse("no_season_ahead", "season", value=league.name)
        return season
    if starts_on < counter.today:
        raise refuse("season_begun", "season", day=starts_on)
    for row in unit.leagues.seasons(league.id):
        if row.starts_on == starts_on:
            return row
    raise NotFound("league_season", starts_on.isoformat())


def spread_rush(
    members: tuple[MemberDue, ...], free: list[BenchDay], today: dt.date
) -> tuple[tuple[RushEntry, ...], dict[dt.date, int]]:
    """Give each racquet the emptiest day, the earliest of several; those due first come first."""
    load = {day.day: day.promised for day in free}
    planned: dict[dt.date, int] = {}
    chosen: dict[int, dt.date] = {}
    order = sorted(range(len(members)), key=lambda at: (_due(members[at]), at))
    for at in order:
        if load and not _promised(members[at], today):
            day = min(load, key=lambda one: (load[one], one))
            load[day] += 1
            planned[day] = planned.get(day, 0) + 1
            chosen[at] = day
    entries = tuple(_entry(member, _promised(member, today), chosen.get(at)) for at, member in enumerate(members))
    return entries, planned


def _due(member: MemberDue) -> dt.date:
    return member.job.restring_by if member.job and member.job.restring_by else dt.date.max


def _promised(member: MemberDue, today: dt.date) -> dt.date | None:
    """Return the day a racquet on the bench is promised for."""
    job = member.job
    return job.promised_on if job and job.strung_on is None and job.promised_on and job.promised_on >= today else None


def _entry(member: MemberDue, promised_on: dt.date | None, planned_on: dt.date | None) -> RushEntry:
    return RushEntry(
        customer=member.customer.name,
        customer_id=member.customer.id,
        racquet=member.racquet.nickname if member.racquet else None,
        tag=member.job.tag if member.job else None,
        restring_by=member.job.restring_by if member.job else None,
        promised_on=promised_on,
        planned_on=planned_on,
    )
