"""What the lists show, several tables at a time; knows no screen, and no rule about when strings are dead."""

from __future__ import annotations

import datetime as dt
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, func, select
from sqlalchemy.orm import aliased

from storage import models
from storage.audit import UnitSession
from storage.errors import NotFound
from storage.repositories.base import columns, read, to_row
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
COUNTED = 1000
"""Up to how many rows a list is counted that shows fewer."""


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
    """How many there are in all; counting stops at `COUNTED`."""


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
        due = models.StringJob.restring_by
        rows, total = self._due(due.between(today, today + dt.timedelta(days=within_days)), limit)
        return DueList(rows=tuple(_due_row(iter(values), today) for values in rows), total=total)

    def overdue(self, today: dt.date, since: dt.date | None = None, limit: int = PAGE) -> DueList:
        """Return the racquets whose day passed before today, and not before `since` where that is given.

        Where there are more than the limit it is the last ones to pass that are shown; the first due comes first.
        """
        due = models.StringJob.restring_by
        rows, total = self._due(and_(due < today, due >= (since or dt.date.min)), limit, last_first=True)
        return DueList(rows=tuple(_due_row(iter(values), today) for values in reversed(rows)), total=total)

    def board(self, today: dt.date) -> tuple[BoardRow, ...]:
        """Return every racquet in the shop by promised day, those nobody promised last."""
        job, reading = models.StringJob, models.Reading
        count = select(func.count()).where(reading.job_id == job.id).scalar_subquery()
        found = self._session.execute(
            _with_owner(count)
            .where(job.status.in_(ON_THE_BENCH))
            .order_by(job.promised_on.is_(None), job.promised_on, job.id)
        )
        return tuple(_board_row(iter(values), today) for values in found)

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

    def _due(self, when: ColumnElement[bool], limit: int, *, last_first: bool = False) -> tuple[Sequence[Any], int]:
        """Return the first or the last to be due, and how many there are in all."""
        job, newer = models.StringJob, aliased(models.StringJob)
        current = and_(when, job.status != JobStatus.CANCELLED, ~select(newer.id).where(follows(newer, job)).exists())
        order = (job.restring_by.desc(), job.id.desc()) if last_first else (job.restring_by, job.id)
        rows = self._session.execute(
            _with_owner(models.Reminder.state)
            .outerjoin(models.Reminder, models.Reminder.job_id == job.id)
            .where(current)
            .order_by(*order)
            .limit(limit)
        ).all()
        if len(rows) < limit:
            return rows, len(rows)
        counted = select(job.id).where(current).limit(max(COUNTED, limit)).subquery()
        return rows, self._session.scalar(select(func.count()).select_from(counted)) or 0

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


def _with_owner(*more: Any) -> Select[Any]:
    """Return the query for stringings with racquet and owner, and whatever more is asked, last."""
    job, racquet, customer = models.StringJob, models.Racquet, models.Customer
    return (
        select(*columns(job, StringJobRow), *columns(racquet, RacquetRow), *columns(customer, CustomerRow), *more)
        .select_from(job)
        .join(racquet, racquet.id == job.racquet_id)
        .outerjoin(customer, customer.id == racquet.customer_id)
    )


def _read_owner(values: Iterator[Any]) -> tuple[StringJobRow, RacquetRow, CustomerRow | None]:
    job, racquet, customer = read(values, StringJobRow), read(values, RacquetRow), read(values, CustomerRow)
    return job, racquet, customer if customer.id else None


def _due_row(values: Iterator[Any], today: dt.date) -> DueRow:
    job, racquet, customer = _read_owner(values)
    left = (job.restring_by - today).days if job.restring_by else 0
    return DueRow(job=job, racquet=racquet, customer=customer, days_left=left, reminder=next(values))


def _board_row(values: Iterator[Any], today: dt.date) -> BoardRow:
    job, racquet, customer = _read_owner(values)
    left = (job.promised_on - today).days if job.promised_on else None
    return BoardRow(job=job, racquet=racquet, customer=customer, days_left=left, readings=next(values))
