"""Every measured stringing with its readings, read in one pass for whoever learns from all of them; knows no rule."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

from sqlalchemy import ColumnElement, func, select
from sqlalchemy.orm import aliased

from storage import models
from storage.audit import UnitSession
from storage.rows import JobStatus, ReadingRole

_AT_ONCE = 5000
"""Rows fetched at a time, so that a shop of many years does not lie in memory as a whole."""
Weekly = tuple[float, float] | None


@dataclass(frozen=True, slots=True)
class MeasuredReading:
    """One reading of a measured stringing."""

    role: str
    kind: str | None
    unit: str | None
    instrument: str | None
    values: tuple[float, ...]
    taken_on: dt.date


@dataclass(frozen=True, slots=True)
class MeasuredJob:
    """One stringing that has a baseline, with its player's habits and all its readings by day."""

    job_id: int
    customer_id: int | None
    strung_on: dt.date
    strung_on_approx: bool
    mains_material: str | None
    crosses_material: str | None
    plays_per_week: Weekly
    hours_per_play: Weekly
    hours_per_week: Weekly
    readings: tuple[MeasuredReading, ...]


class MeasuredJobs:
    """The stringings that were measured when fresh and again later."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def count(self) -> int:
        """Return how many stringings `all` yields."""
        return self._session.scalar(select(func.count()).select_from(models.StringJob).where(*_measured())) or 0

    def all(self) -> Iterator[MeasuredJob]:
        """Yield every stringing with a baseline and a check, by its number."""
        return self._read(*_measured())

    def of_customer(self, customer_id: int, but: int) -> tuple[MeasuredJob, ...]:
        """Return the measured stringings of one customer's racquets except one."""
        return tuple(self._read(*_measured(), models.Racquet.customer_id == customer_id, models.StringJob.id != but))

    def _read(self, *where: ColumnElement[bool]) -> Iterator[MeasuredJob]:
        job, racquet, customer, reading = models.StringJob, models.Racquet, models.Customer, models.Reading
        shown = (
            job.id,
            racquet.customer_id,
            job.strung_on,
            job.strung_on_approx,
            job.mains_material,
            job.crosses_material,
            customer.plays_per_week_low,
            customer.plays_per_week_high,
            customer.hours_per_play_low,
            customer.hours_per_play_high,
            customer.hours_per_week_low,
            customer.hours_per_week_high,
        )
        read = (reading.role, reading.kind, reading.unit, reading.instrument, reading.values, reading.taken_on)
        found = self._session.execute(
            select(*shown, *read)
            .select_from(job)
            .join(racquet, racquet.id == job.racquet_id)
            .outerjoin(customer, customer.id == racquet.customer_id)
            .join(reading, reading.job_id == job.id)
            .where(*where)
            .order_by(job.id, reading.taken_on, reading.id),
            execution_options={"yield_per": _AT_ONCE},
        )
        for _, rows in groupby(found, key=itemgetter(0)):
            yield _one(list(rows), len(shown))


def _one(lines: Sequence[Any], width: int) -> MeasuredJob:
    """Return one stringing from its lines of the join: so many columns of its own, then a reading's."""
    number, customer, strung_on, approx, mains, crosses, *habits = lines[0][:width]
    readings = (
        MeasuredReading(role, kind, unit, instrument, tuple(values), day)
        for role, kind, unit, instrument, values, day in (line[width:] for line in lines)
    )
    plays, a_play, a_week = (_weekly(*habits[at : at + 2]) for at in (0, 2, 4))
    return MeasuredJob(number, customer, strung_on, approx, mains, crosses, plays, a_play, a_week, tuple(readings))


def _measured() -> tuple[ColumnElement[bool], ...]:
    job, reading = models.StringJob, aliased(models.Reading)
    of_job = select(reading.id).where(reading.job_id == job.id)
    return (
        job.strung_on.is_not(None),
        job.status != JobStatus.CANCELLED,
        of_job.where(reading.role == ReadingRole.BASELINE).exists(),
        of_job.where(reading.role == ReadingRole.CHECK).exists(),
    )


def _weekly(low: float | None, high: float | None) -> Weekly:
    return None if low is None else (low, low if high is None else high)
