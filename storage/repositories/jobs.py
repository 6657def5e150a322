"""Stringings from drop-off to pick-up and their readings; knows no rule about when strings are dead."""

from __future__ import annotations

import datetime as dt
from typing import Any, ClassVar

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import aliased

from storage import models, spoken
from storage.errors import Conflict
from storage.repositories.base import Repository
from storage.rows import JobStatus, ReadingRole, ReadingRow, StringJobRow

ON_THE_BENCH = (JobStatus.RECEIVED, JobStatus.STRUNG, JobStatus.READY)
_TRIES = 20


def follows(newer: type[models.StringJob], older: type[models.StringJob]) -> ColumnElement[bool]:
    """Return the condition that one stringing of a racquet took the place of another.

    A stringing without a day follows every one that was stored before it; days are compared as days.
    """
    return and_(
        newer.racquet_id == older.racquet_id,
        newer.id != older.id,
        newer.status != JobStatus.CANCELLED,
        or_(
            newer.strung_on > older.strung_on,
            and_(newer.strung_on == older.strung_on, newer.id > older.id),
            and_(or_(newer.strung_on.is_(None), older.strung_on.is_(None)), newer.id > older.id),
        ),
    )


class Jobs(Repository[models.StringJob, StringJobRow]):
    """Every stringing."""

    model = models.StringJob
    row = StringJobRow
    made_here: ClassVar[frozenset[str]] = frozenset({"id"})

    def _given(self, row: StringJobRow) -> dict[str, Any]:
        """Return the columns of a new stringing, which gets a tag and the moment of its drop-off here."""
        return super()._given(row) | {
            "tag": spoken.read_tag(row.tag) or self._free_tag(),
            "received_at": row.received_at or self._session.clock(),
        }

    def log_strung(self, job_id: int, strung_on: dt.date, **values: Any) -> StringJobRow:
        """Record that the racquet was strung on this day, with what was used, and return the stringing.

        Raises:
            Conflict: when the stringing was cancelled.
        """
        return self._move(job_id, JobStatus.STRUNG, strung_on=strung_on, **values)

    def mark_ready(self, job_id: int) -> StringJobRow:
        """Record that the racquet lies ready and return the stringing; Conflict when it was cancelled."""
        return self._move(job_id, JobStatus.READY)

    def mark_collected(self, job_id: int) -> StringJobRow:
        """Record that the racquet was fetched and return the stringing; Conflict when it was cancelled."""
        return self._move(job_id, JobStatus.COLLECTED)

    def cancel(self, job_id: int) -> StringJobRow:
        """Record that nothing comes of it and return the stringing; Conflict when it was fetched already."""
        return self._move(job_id, JobStatus.CANCELLED)

    def by_tag(self, tag: str) -> StringJobRow | None:
        """Return the stringing that bears this tag, or the newest one of the racquet that bears it."""
        said = spoken.read_tag(tag)
        found = self.first(self._select().where(models.StringJob.tag == said))
        if found:
            return found
        racquet = self._session.scalar(select(models.Racquet.id).where(models.Racquet.tag == said))
        return None if racquet is None else self.latest_of(racquet)

    def latest_of(self, racquet_id: int) -> StringJobRow | None:
        """Return the stringing no other one has taken the place of: what is in the racquet, or soon will be."""
        newer = aliased(models.StringJob)
        return self.first(
            self._select()
            .where(
                models.StringJob.racquet_id == racquet_id,
                models.StringJob.status != JobStatus.CANCELLED,
                ~select(newer.id).where(follows(newer, models.StringJob)).exists(),
            )
            .order_by(models.StringJob.id.desc())
        )

    def successor(self, job_id: int) -> StringJobRow | None:
        """Return the stringing that took the place of this one, or None while this one is in the racquet.

        Raises:
            NotFound: when there is no such stringing.
        """
        self._live(job_id)
        older = aliased(models.StringJob)
        return self.first(
            self._select()
            .join(older, follows(models.StringJob, older))
            .where(older.id == job_id)
            .order_by(models.StringJob.strung_on.is_(None), models.StringJob.strung_on, models.StringJob.id)
        )

    def of_racquet(self, racquet_id: int) -> tuple[StringJobRow, ...]:
        """Return all stringings of a racquet, cancelled ones too, the newest first."""
        job = models.StringJob
        return self.rows(
            self._select()
            .where(job.racquet_id == racquet_id)
            .order_by(job.strung_on.is_(None).desc(), job.strung_on.desc(), job.id.desc())
        )

    def bench(self) -> tuple[StringJobRow, ...]:
        """Return what is in the shop, by promised day, what nobody promised last."""
        return self._in(ON_THE_BENCH)

    def ready(self) -> tuple[StringJobRow, ...]:
        """Return what lies ready to be fetched, by promised day."""
        return self._in((JobStatus.READY,))

    def _in(self, states: tuple[JobStatus, ...]) -> tuple[StringJobRow, ...]:
        job = models.StringJob
        return self.rows(
            self._select().where(job.status.in_(states)).order_by(job.promised_on.is_(None), job.promised_on, job.id)
        )

    def _move(self, job_id: int, status: JobStatus, **values: Any) -> StringJobRow:
        live = self._live(job_id)
        if JobStatus.CANCELLED in (live.status, status) and live.status in (JobStatus.CANCELLED, JobStatus.COLLECTED):
            raise Conflict("string_job", job_id, f"The stringing is {live.status} and cannot become {status} any more.")
        return self.change(job_id, status=status.value, **{f"{status}_at": self._session.clock()}, **values)

    def _free_tag(self) -> str:
        for _ in range(_TRIES):
            tag = spoken.make_tag()
            if self._session.scalar(select(models.StringJob.id).where(models.StringJob.tag == tag)) is None:
                return tag
        raise Conflict("string_job", None, "No free tag was found; try again.")


class Readings(Repository[models.Reading, ReadingRow]):
    """Every measurement."""

    model = models.Reading
    row = ReadingRow

    def of_job(self, job_id: int, role: ReadingRole | None = None) -> tuple[ReadingRow, ...]:
        """Return the readings of one stringing, of one role where one is named, the oldest first."""
        reading = models.Reading
        query = self._select().where(reading.job_id == job_id)
        if role is not None:
            query = query.where(reading.role == role)
        return self.rows(query.order_by(reading.taken_on, reading.id))
