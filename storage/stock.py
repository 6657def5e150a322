"""Every racquet with the strings in it, many at a time: for asking all of them one question; decides nothing."""

from __future__ import annotations

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import aliased

from storage import models
from storage.audit import UnitSession
from storage.repositories.base import columns, read
from storage.repositories.jobs import follows
from storage.rows import CustomerRow, JobStatus, RacquetRow, ReadingRow, StringJobRow
from storage.unit_of_work import UnitOfWork

CHUNK = 1000
"""How many racquets are read at once; a statement takes no more than some thousands of numbers."""
STRUNG = (JobStatus.STRUNG, JobStatus.READY, JobStatus.COLLECTED)


@dataclass(frozen=True, kw_only=True)
class Strung:
    """One racquet, the stringing that is in it, its owner and all that was measured and said of it."""

    job: StringJobRow
    racquet: RacquetRow
    customer: CustomerRow | None
    readings: tuple[ReadingRow, ...]
    said: Mapping[str, Any]
    """The facts of the racquet's last consultation, as JSON; empty where there was none."""
    said_on: dt.date | None
    seasons: tuple[dt.date, ...]
    """The first days of the seasons the owner plays, the earliest first."""


def count_strung(unit: UnitOfWork) -> int:
    """Return how many racquets have strings on record."""
    return unit.session.scalar(select(func.count()).select_from(_current().subquery())) or 0


def list_strung(unit: UnitOfWork) -> Iterator[tuple[Strung, ...]]:
    """Yield all racquets with strings on record, some at a time, in the order their stringings were stored."""
    session, after = unit.session, 0
    seasons = _seasons(session)
    job, racquet, customer = models.StringJob, models.Racquet, models.Customer
    query = (
        select(*columns(job, StringJobRow), *columns(racquet, RacquetRow), *columns(customer, CustomerRow))
        .select_from(job)
        .join(racquet, racquet.id == job.racquet_id)
        .outerjoin(customer, customer.id == racquet.customer_id)
    )
    while True:
        numbers = session.scalars(_current().where(job.id > after).order_by(job.id).limit(CHUNK)).all()
        if not numbers:
            return
        after = numbers[-1]
        found = session.execute(query.where(job.id.in_(numbers)).order_by(job.id)).all()
        rows = [_read(iter(values)) for values in found]
        readings = _readings(session, numbers)
        said = _said(session, [racquet.id for _, racquet, _ in rows])
        yield tuple(
            Strung(
                job=one,
                racquet=frame,
                customer=owner,
                readings=tuple(readings.get(one.id, ())),
                said=said.get(frame.id, ({}, None))[0],
                said_on=said.get(frame.id, ({}, None))[1],
                seasons=seasons.get(owner.id, ()) if owner else (),
            )
            for one, frame, owner in rows
        )


def _current() -> Any:
    """Return the query for the stringings that are in their racquets."""
    job, newer = models.StringJob, aliased(models.StringJob)
    replaced = select(newer.id).where(follows(newer, job), newer.status.in_(STRUNG)).exists()
    return select(job.id).where(job.status.in_(STRUNG), ~replaced)


def _read(values: Iterator[Any]) -> tuple[StringJobRow, RacquetRow, CustomerRow | None]:
    job, racquet, customer = read(values, StringJobRow), read(values, RacquetRow), read(values, CustomerRow)
    return job, racquet, customer if customer.id else None


def _readings(session: UnitSession, jobs: Sequence[int]) -> dict[int, list[ReadingRow]]:
    table = models.Reading
    grouped: dict[int, list[ReadingRow]] = defaultdict(list)
    for values in session.execute(select(*columns(table, ReadingRow)).where(table.job_id.in_(jobs)).order_by(table.id)):
        row = read(iter(values), ReadingRow)
        grouped[row.job_id].append(row)
    return grouped


def _said(session: UnitSession, racquets: Sequence[int]) -> dict[int, tuple[Mapping[str, Any], dt.date]]:
    """Return the facts of each racquet's last consultation and its day."""
    table = models.Consultation
    last = select(func.max(table.id)).where(table.racquet_id.in_(racquets)).group_by(table.racquet_id)
    found = session.execute(select(table.racquet_id, table.facts, table.today).where(table.id.in_(last)))
    return {int(racquet): (facts, day) for racquet, facts, day in found if racquet is not None}


def _seasons(session: UnitSession) -> dict[int, tuple[dt.date, ...]]:
    """Return the seasons of every customer who plays in a league."""
    season, member = models.LeagueSeason, models.LeagueMember
    found: dict[int, list[dt.date]] = defaultdict(list)
    for customer, day in session.execute(
        select(member.customer_id, season.starts_on)
        .join(season, season.league_id == member.league_id)
        .order_by(season.starts_on)
    ):
        found[customer].append(day)
    return {customer: tuple(days) for customer, days in found.items()}
