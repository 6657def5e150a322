"""What the lists show, several tables at a time; knows no screen, and no rule about when strings are dead."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, func, select
from sqlalchemy.orm import aliased

from storage import models
from storage.audit import UnitSession
from storage.errors import NotFound
from storage.repositories.base import to_row
from storage.repositories.evidence import Consultations
from storage.repositories.jobs import ON_THE_BENCH, follows
from storage.rows import (
    ConsultationRow,
    CustomerRow,
    JobStatus,
    LeagueRow,
    LeagueSeasonRow,
    RacquetRow,
    ReadingRow,
    StringJobRow,
)

PAGE = 200
"""How many rows a list shows at once."""


@dataclass(frozen=True, kw_only=True)
class DueRow:
    """One racquet whose strings are due, and whom to tell."""

    job: StringJobRow
    racquet: RacquetRow
    customer: CustomerRow | None
    days_left: int
    """Negative when the day has passed."""
    reminder: str | None
    """State of the reminder, None where there is none."""


@dataclass(frozen=True, kw_only=True)
class DueList:
    """The racquets due in some days, the first due first."""

    rows: tuple[DueRow, ...]
    total: int
    """How many there are in all, where the list was cut."""


@dataclass(frozen=True, kw_only=True)
class BoardRow:
    """One racquet in the shop."""

    job: StringJobRow
    racquet: RacquetRow
    customer: CustomerRow | None
    days_left: int | None
    """Days to the promised day, None where nobody promised one."""
    readings: int
    """How many readings this stringing has."""


@dataclass(frozen=True, kw_only=True)
class JobHistory:
    """One stringing with all that was measured and decided on it."""

    job: StringJobRow
    readings: tuple[ReadingRow, ...]
    consultations: tuple[ConsultationRow, ...]
    superseded_by: int | None
    """Number of the stringing that took its place, None while it is the one in the racquet."""


@dataclass(frozen=True, kw_only=True)
class RacquetHistory:
    """Everything known of one racquet, the newest stringing first."""

    racquet: RacquetRow
    customer: CustomerRow | None
    jobs: tuple[JobHistory, ...]


@dataclass(frozen=True, kw_only=True)
class MemberDue:
    """A member whose racquet needs stringing before a season; racquet and job are None where none is known."""

    customer: CustomerRow
    racquet: RacquetRow | None
    job: StringJobRow | None


@dataclass(frozen=True, kw_only=True)
class BenchDay:
    """How much is promised for one day."""

    day: dt.date
    promised: int


@dataclass(frozen=True, kw_only=True)
class SeasonDue:
    """Who needs stringing before a season starts, and how full the bench is until then."""

    league: LeagueRow
    season: LeagueSeasonRow
    members: tuple[MemberDue, ...]
    bench: tuple[BenchDay, ...]
    """Every day from today to the start."""


class Queries:
    """Reads across tables; each returns frozen rows."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def due(self, today: dt.date, within_days: int = 7, limit: int = PAGE) -> DueList:
        """Return the racquets due from today to the day that many days on, whose strings nobody replaced since."""
        job = models.StringJob
        return self._due(job.restring_by.between(today, today + dt.timedelta(days=within_days)), today, limit)

    def overdue(self, today: dt.date, since: dt.date | None = None, limit: int = PAGE) -> DueList:
        """Return the racquets whose day passed before today, and not before `since` where that is given."""
        passed = models.StringJob.restring_by < today
        return self._due(and_(passed, models.StringJob.restring_by >= since) if since else passed, today, limit)

    def board(self, today: dt.date) -> tuple[BoardRow, ...]:
        """Return every racquet in the shop by promised day, those nobody promised last."""
        job, reading = models.StringJob, models.Reading
        count = select(func.count()).where(reading.job_id == job.id).scalar_subquery()
        found = self._session.execute(
            select(job, models.Racquet, models.Customer, count)
            .select_from(job)
            .join(models.Racquet, models.Racquet.id == job.racquet_id)
            .outerjoin(models.Customer, models.Customer.id == models.Racquet.customer_id)
            .where(job.status.in_(ON_THE_BENCH))
            .order_by(job.promised_on.is_(None), job.promised_on, job.id)
        )
        return tuple(
            BoardRow(
                job=to_row(live, StringJobRow),
                racquet=to_row(racquet, RacquetRow),
                customer=_customer(customer),
                days_left=(live.promised_on - today).days if live.promised_on else None,
                readings=readings,
            )
            for live, racquet, customer, readings in found
        )

    def history(self, racquet_id: int) -> RacquetHistory:
        """Return everything known of one racquet.

        Raises:
            NotFound: when there is no such racquet.
        """
        racquet = self._session.get(models.Racquet, racquet_id)
        if racquet is None:
            raise NotFound("racquet", racquet_id)
        owner = self._session.get(models.Customer, racquet.customer_id) if racquet.customer_id else None
        job = models.StringJob
        jobs = self._session.scalars(
            select(job)
            .where(job.racquet_id == racquet_id)
            .order_by(job.strung_on.is_(None).desc(), job.strung_on.desc(), job.id.desc())
        ).all()
        numbers = [live.id for live in jobs]
        readings = self._by_job(models.Reading, numbers)
        talks = self._by_job(models.Consultation, numbers)
        successors = self._successors(racquet_id)
        consultations = Consultations(self._session)
        return RacquetHistory(
            racquet=to_row(racquet, RacquetRow),
            customer=_customer(owner),
            jobs=tuple(
                JobHistory(
                    job=to_row(live, StringJobRow),
                    readings=tuple(to_row(reading, ReadingRow) for reading in readings.get(live.id, ())),
                    consultations=consultations.to_rows(talks.get(live.id, ())),
                    superseded_by=successors.get(live.id),
                )
                for live in jobs
            ),
        )

    def season_due(self, season_id: int, today: dt.date, fresh_from: dt.date) -> SeasonDue:
        """Return which members' racquets need stringing before a season, and the bench's load until then.

        Args:
            season_id: the season.
            today: the first day of the bench's load.
            fresh_from: strings put on from this day on count as fresh for the season.

        Raises:
            NotFound: when there is no such season.
        """
        season = self._session.get(models.LeagueSeason, season_id)
        if season is None:
            raise NotFound("league_season", season_id)
        league = self._session.get_one(models.League, season.league_id)
        members = (
            MemberDue(
                customer=to_row(customer, CustomerRow),
                racquet=to_row(racquet, RacquetRow) if racquet else None,
                job=to_row(job, StringJobRow) if job else None,
            )
            for customer, racquet, job in self._members(season.league_id)
            if not _fresh(job, fresh_from)
        )
        return SeasonDue(
            league=to_row(league, LeagueRow),
            season=to_row(season, LeagueSeasonRow),
            members=tuple(members),
            bench=self.bench_load(today, season.starts_on),
        )

    def bench_load(self, first: dt.date, last: dt.date) -> tuple[BenchDay, ...]:
        """Return for every day from the first to the last how many unfinished stringings are promised."""
        job = models.StringJob
        promised = Counter(
            self._session.scalars(
                select(job.promised_on).where(
                    job.status == JobStatus.RECEIVED, job.promised_on >= first, job.promised_on <= last
                )
            )
        )
        days = (first + dt.timedelta(days=ahead) for ahead in range((last - first).days + 1))
        return tuple(BenchDay(day=day, promised=promised[day]) for day in days)

    def _due(self, when: ColumnElement[bool], today: dt.date, limit: int) -> DueList:
        job, newer = models.StringJob, aliased(models.StringJob)
        current = and_(when, job.status != JobStatus.CANCELLED, ~select(newer.id).where(follows(newer, job)).exists())
        found = self._session.execute(
            select(job, models.Racquet, models.Customer, models.Reminder.state)
            .select_from(job)
            .join(models.Racquet, models.Racquet.id == job.racquet_id)
            .outerjoin(models.Customer, models.Customer.id == models.Racquet.customer_id)
            .outerjoin(models.Reminder, models.Reminder.job_id == job.id)
            .where(current)
            .order_by(job.restring_by, job.id)
            .limit(limit)
        ).all()
        total = len(found)
        if total == limit:
            total = self._session.scalar(select(func.count()).select_from(job).where(current)) or 0
        return DueList(rows=tuple(_due_row(tuple(row), today) for row in found), total=total)

    def _by_job(self, kind: Any, numbers: list[int]) -> dict[int, list[Any]]:
        grouped: dict[int, list[Any]] = {}
        for live in self._session.scalars(select(kind).where(kind.job_id.in_(numbers)).order_by(kind.id)):
            grouped.setdefault(live.job_id, []).append(live)
        return grouped

    def _successors(self, racquet_id: int) -> dict[int, int]:
        """Return by stringing the number of the first one that followed it."""
        newer, older = aliased(models.StringJob), aliased(models.StringJob)
        pairs = self._session.execute(
            select(older.id, newer.id)
            .select_from(older)
            .join(newer, follows(newer, older))
            .where(older.racquet_id == racquet_id)
            .order_by(newer.strung_on.is_(None).desc(), newer.strung_on.desc(), newer.id.desc())
        )
        return {pair[0]: pair[1] for pair in pairs}

    def _members(self, league_id: int) -> Sequence[Any]:
        job, newer = models.StringJob, aliased(models.StringJob)
        current = and_(
            job.racquet_id == models.Racquet.id,
            job.status != JobStatus.CANCELLED,
            ~select(newer.id).where(follows(newer, job)).exists(),
        )
        return self._session.execute(
            select(models.Customer, models.Racquet, job)
            .select_from(models.LeagueMember)
            .join(models.Customer, models.Customer.id == models.LeagueMember.customer_id)
            .outerjoin(models.Racquet, models.Racquet.customer_id == models.Customer.id)
            .outerjoin(job, current)
            .where(models.LeagueMember.league_id == league_id)
            .order_by(models.Customer.name_key, models.Customer.id, models.Racquet.id)
        ).all()


def _fresh(job: models.StringJob | None, fresh_from: dt.date) -> bool:
    return job is not None and job.strung_on is not None and job.strung_on >= fresh_from


def _customer(live: models.Customer | None) -> CustomerRow | None:
    return None if live is None else to_row(live, CustomerRow)


def _due_row(found: tuple[Any, ...], today: dt.date) -> DueRow:
    job, racquet, customer, reminder = found
    return DueRow(
        job=to_row(job, StringJobRow),
        racquet=to_row(racquet, RacquetRow),
        customer=_customer(customer),
        days_left=(job.restring_by - today).days,
        reminder=reminder,
    )
