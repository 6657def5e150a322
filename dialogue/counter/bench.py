"""The bench: what is to be strung, what was strung how and until when it lasts, what lies ready."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

from dialogue.counter.counter import Counter
from dialogue.counter.evidence import Case, decide_facts, keep_consultation, open_case, read_facts
from dialogue.counter.limits import check_choice, check_range
from dialogue.counter.outcomes import Outcome, Remark, answering, refuse
from dialogue.counter.strings import Strings, outside_printed, read_strings
from dialogue.translate import due_values
from rules.decision import Decision
from storage.errors import NotFound
from storage.rows import JobStatus, ReadingRole, StringJobRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class Strung:
    """How a racquet was strung."""

    tag: str
    machine: str | None = None
    """constant_pull, lock_out or drop_weight."""
    pieces: int | None = None
    prestretch_percent: float | None = None
    strung_on: dt.date | None = None
    """None is today."""
    strings: Strings | None = None
    """Where other strings went in than were wanted."""
    unknown: tuple[str, ...] = ()
    """Facts the customer was asked for and could not give, such as plays_per_week."""


@dataclass(frozen=True, kw_only=True)
class StrungLogged(Outcome):
    """A stringing with the date its label will bear."""

    job: StringJobRow
    decision: Decision
    """With its trail, as stored; `needs` says what is missing where there is no date."""
    remarks: tuple[Remark, ...] = ()


@dataclass(frozen=True, kw_only=True)
class BenchRow(Outcome):
    """One racquet in the shop."""

    tag: str
    status: str
    customer: str | None
    racquet: str | None
    promised_on: dt.date | None
    days_left: int | None
    """Days to the promised day, negative when it has passed."""
    readings: int
    job: StringJobRow


@dataclass(frozen=True, kw_only=True)
class Bench(Outcome):
    """Every racquet in the shop, by promised day."""

    rows: tuple[BenchRow, ...]


@dataclass(frozen=True, kw_only=True)
class JobMoved(Outcome):
    """A stringing that came one step further."""

    job: StringJobRow
    remarks: tuple[Remark, ...] = ()


def list_bench(counter: Counter) -> Bench:
    """Return every racquet in the shop by promised day, those nobody promised last."""
    with counter.look() as unit:
        found = unit.queries.board(counter.today)
    return Bench(
        rows=tuple(
            BenchRow(
                tag=row.job.tag,
                status=row.job.status,
                customer=row.customer.name if row.customer else None,
                racquet=row.racquet.nickname,
                promised_on=row.job.promised_on,
                days_left=row.days_left,
                readings=row.readings,
                job=row.job,
            )
            for row in found
        )
    )


@answering
def log_strung(counter: Counter, strung: Strung) -> StrungLogged:
    """Record a stringing, decide until when it lasts, and keep the decision with the date it gave.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    values = {
        "machine": check_choice("machine", strung.machine),
        "pieces": check_choice("pieces", strung.pieces),
        "prestretch_percent": check_range("prestretch_percent", strung.prestretch_percent),
    }
    with counter.work() as unit:
        case = open_case(unit, the_job(unit, strung.tag))
        day = strung.strung_on or counter.today
        _check_can_be_strung(counter, unit, case, day)
        remarks: tuple[Remark, ...] = ()
        if strung.strings is not None:
            columns = read_strings(counter, unit, strung.strings).columns()
            if refusal := outside_printed(case.racquet, columns):
                if not case.job.wish:
                    raise refuse(refusal.reason, refusal.fact, **refusal.values)
                remarks = (Remark(reason="wish_recorded", fact=refusal.fact, values=refusal.values),)
            values |= columns
        if case.job.mains_material is None and "mains_material" not in values:
            raise refuse("strings_missing", "strings")
        job = unit.jobs.log_strung(case.job.id, day, **values)
        job, decision = put_date(counter, unit, Case(job, case.racquet, case.customer), strung.unknown)
        if job.restring_by is None:
            remarks = (*remarks, _no_date(decision))
        return StrungLogged(job=job, decision=decision, remarks=remarks)


@answering
def redate(counter: Counter, tag: str, unknown: Sequence[str] = ()) -> StrungLogged:
    """Decide again until when a stringing lasts, after something new was said of its player; keep the new date.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    with counter.work() as unit:
        case = open_case(unit, the_job(unit, tag))
        if case.job.strung_on is None:
            raise refuse("not_strung", "tag", tag=case.job.tag)
        if case.job.status == JobStatus.COLLECTED:
            raise refuse("already_collected", "tag", tag=case.job.tag, day=case.job.collected_at)
        job, decision = put_date(counter, unit, case, unknown)
        remarks = () if job.restring_by else (_no_date(decision),)
        return StrungLogged(job=job, decision=decision, remarks=remarks)


@answering
def mark_ready(counter: Counter, tag: str) -> JobMoved:
    """Record that a racquet lies ready; remarks say what is still missing on it.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    with counter.work() as unit:
        job = the_job(unit, tag)
        if job.status == JobStatus.RECEIVED:
            raise refuse("not_strung", "tag", tag=job.tag)
        _check_open(job)
        if job.status == JobStatus.READY:
            raise refuse("already_ready", "tag", tag=job.tag)
        moved = unit.jobs.mark_ready(job.id)
        remarks = []
        if not unit.readings.of_job(job.id, ReadingRole.BASELINE):
            remarks.append(Remark(reason="no_baseline", fact="baseline", values={"tag": job.tag}))
        if moved.restring_by is None:
            remarks.append(Remark(reason="no_date", fact="restring_by", values={"because": ""}))
        return JobMoved(job=moved, remarks=tuple(remarks))


@answering
def cancel_job(counter: Counter, tag: str) -> JobMoved:
    """Record that nothing comes of a stringing.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    with counter.work() as unit:
        job = the_job(unit, tag)
        _check_open(job)
        return JobMoved(job=unit.jobs.cancel(job.id))


def the_job(unit: UnitOfWork, tag: str) -> StringJobRow:
    """Return the stringing that bears a tag.

    Raises:
        NotFound: when none does.
    """
    job = unit.jobs.by_tag(tag)
    if job is None:
        raise NotFound("string_job", tag)
    return job


def put_date(
    counter: Counter, unit: UnitOfWork, case: Case, unknown: Sequence[str] = ()
) -> tuple[StringJobRow, Decision]:
    """Decide, keep the decision, and write its date to the stringing."""
    fresh = Case(case.job, case.racquet, case.customer)
    facts = read_facts(counter, unit, fresh, {"unknown": list(unknown)})
    decision = decide_facts(counter, facts)
    stored = keep_consultation(counter, unit, case, facts, decision)
    return unit.jobs.change(case.job.id, consultation_id=stored.id, **due_values(decision)), decision


def _no_date(decision: Decision) -> Remark:
    because = [need.because for need in decision.needs]
    return Remark(reason="no_date", fact="restring_by", values={"because": " ".join(because)})


def _check_open(job: StringJobRow) -> None:
    if job.status == JobStatus.COLLECTED:
        raise refuse("already_collected", "tag", tag=job.tag, day=job.collected_at)
    if job.status == JobStatus.CANCELLED:
        raise refuse("cancelled", "tag", tag=job.tag)


def _check_can_be_strung(counter: Counter, unit: UnitOfWork, case: Case, day: dt.date) -> None:
    job = case.job
    _check_open(job)
    if job.status != JobStatus.RECEIVED:
        raise refuse("already_strung", "tag", tag=job.tag, day=job.strung_on)
    if day > counter.today:
        raise refuse("in_the_future", "strung_on", day=day)
    earlier = [
        other.strung_on
        for other in unit.jobs.of_racquet(job.racquet_id)
        if other.strung_on and other.id != job.id and other.status != JobStatus.CANCELLED
    ]
    if earlier and day < max(earlier):
        raise refuse("strung_before_last", "strung_on", day=day, last=max(earlier))
