"""Readings: the baseline of a fresh stringbed and later checks, kept where they belong, with what they say."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import Any

from dialogue.counter.bench import the_job
from dialogue.counter.counter import Counter
from dialogue.counter.customers import strings_in
from dialogue.counter.evidence import (
    Case,
    decide_facts,
    keep_consultation,
    open_case,
    read_facts,
    with_label,
)
from dialogue.counter.limits import check_range, check_text
from dialogue.counter.outcomes import Outcome, Remark, answering, refuse
from dialogue.forecasts.fresh import bed_on_card, compare_with_estimate, doubt_baseline
from dialogue.forecasts.stringings import reading_of
from rules.decision import Decision
from rules.errors import FactRefused
from rules.facts import Reading
from rules.intake import parse_facts
from rules.measurement import mean, spread
from storage.rows import JobStatus, ReadingRole, ReadingRow, StringJobRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class Measured:
    """What an instrument showed."""

    values: tuple[float, ...]
    """The repeats."""
    kind: str | None = None
    """deflection, stiffness, pounds or frequency; None leaves it open."""
    unit: str | None = None
    instrument: str | None = None
    """The shop's own name of the instrument."""
    taken_on: dt.date | None = None
    """None is today."""
    minutes_after_stringing: int | None = None
    note: str | None = None
    sure: bool = False
    """True where somebody looked again: a baseline that cannot be right is kept then."""


@dataclass(frozen=True, kw_only=True)
class ReadingLogged(Outcome):
    """A reading as kept, and what it says."""

    job: StringJobRow
    reading: ReadingRow
    mean: float
    """Of the repeats."""
    spread: float
    """Between the largest and the smallest repeat."""
    settled: bool = False
    """True for a baseline of a later day than the stringing: the first loss is behind it."""
    baseline: float | None = None
    """Mean of the baseline it was compared with."""
    before: Decision | None = None
    """What would be said without this reading; for a check only."""
    after: Decision | None = None
    """What is said with it, as stored."""
    remarks: tuple[Remark, ...] = ()


@answering
def log_reading(counter: Counter, tag: str, role: str, measured: Measured) -> ReadingLogged:
    """Keep a reading of the stringing that bears this tag; a check answers with the verdict before and after.

    Args:
        counter: where.
        tag: the stringing's tag.
        role: baseline or check.
        measured: what the instrument showed.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    with counter.work() as unit:
        return log_in(counter, unit, open_case(unit, the_job(unit, tag)), ReadingRole(role), measured)


def log_in(counter: Counter, unit: UnitOfWork, case: Case, role: ReadingRole, measured: Measured) -> ReadingLogged:
    """Keep a reading in an open unit of work."""
    reading = read_measured(counter, role, _by_the_same(counter, case, role, measured))
    day = reading.taken_on or counter.today
    _check_belongs(unit, case, day)
    if role == ReadingRole.BASELINE:
        _check_is_fresh(counter, case, day)
        if not measured.sure and (doubt := doubt_baseline(bed_on_card(case.job, case.racquet), (reading,))):
            raise refuse("baseline_doubtful", "sure", says=doubt.says, meant=list(doubt.meant))
    row = unit.readings.add(
        ReadingRow(
            job_id=case.job.id,
            role=role,
            kind=reading.kind.value if reading.kind else None,
            unit=reading.unit,
            instrument=reading.instrument,
            values=reading.values,
            taken_on=day,
            minutes_after_stringing=_minutes(measured),
            note=check_text("note", measured.note),
        )
    )
    if role == ReadingRole.BASELINE:
        settled = bool(case.job.strung_on and day > case.job.strung_on)
        remarks = () if settled else (Remark(reason="second_baseline", fact="baseline", values={"tag": case.job.tag}),)
        return ReadingLogged(
            job=case.job,
            reading=row,
            mean=middle(row),
            spread=spread(reading),
            settled=settled,
            remarks=remarks,
        )
    return _weigh(counter, unit, case, row)


def _by_the_same(counter: Counter, case: Case, role: ReadingRole, measured: Measured) -> Measured:
    """Return a check whose instrument nobody said as one of the baseline's, where that can show such a figure."""
    fresh = [row for row in case.readings if row.role == ReadingRole.BASELINE]
    if role != ReadingRole.CHECK or not fresh or measured.kind or measured.unit or measured.instrument:
        return measured
    same = replace(measured, kind=fresh[-1].kind, unit=fresh[-1].unit, instrument=fresh[-1].instrument)
    try:
        read_measured(counter, role, same)
    except FactRefused:
        return measured
    return same


def middle(row: ReadingRow, places: int = 4) -> float:
    """Return the mean of a stored reading's repeats in its own unit, rounded."""
    return round(float(mean(Reading(row.values))), places)


def read_measured(counter: Counter, role: ReadingRole, measured: Measured) -> Reading:
    """Return what an instrument showed, checked against the rulebook's limits."""
    fact = "baseline" if role == ReadingRole.BASELINE else "reading"
    if not measured.values:
        raise refuse("values_missing", fact)
    raw: dict[str, Any] = {"values": list(measured.values), "kind": measured.kind}
    raw |= {name: check_text(name, getattr(measured, name), "name_characters") for name in ("unit", "instrument")}
    raw["taken_on"] = (measured.taken_on or counter.today).isoformat()
    facts = parse_facts({fact: raw}, today=counter.today, limits=counter.book.limits)
    readings: tuple[Reading, ...] = getattr(facts, fact)
    return readings[0]


def _minutes(measured: Measured) -> int | None:
    check_range("minutes_after_stringing", measured.minutes_after_stringing)
    return measured.minutes_after_stringing


def _check_belongs(unit: UnitOfWork, case: Case, day: dt.date) -> None:
    """Refuse a reading that cannot be of these strings."""
    job = case.job
    if job.status == JobStatus.CANCELLED:
        raise refuse("cancelled", "tag", tag=job.tag)
    if job.status == JobStatus.RECEIVED or job.strung_on is None:
        old = strings_in(unit, job.racquet_id)
        if old:
            raise refuse("not_strung_but_old", "tag", tag=job.tag, old=old.tag)
        raise refuse("not_strung", "tag", tag=job.tag)
    newest = strings_in(unit, job.racquet_id)
    if newest and newest.id != job.id and (newest.strung_on is None or day >= newest.strung_on):
        raise refuse("restrung_meanwhile", "tag", tag=job.tag, new=newest.tag, day=newest.strung_on)
    if day < job.strung_on:
        raise refuse("before_stringing", "taken_on", day=day, strung=job.strung_on)


def _check_is_fresh(counter: Counter, case: Case, day: dt.date) -> None:
    """Refuse a baseline of strings that were played or are older than the week of settling."""
    job = case.job
    if job.status == JobStatus.COLLECTED:
        raise refuse("baseline_after_collection", "role", tag=job.tag, day=job.collected_at)
    days = int(counter.book.values["settling_days"])
    if job.strung_on and (day - job.strung_on).days > days:
        raise refuse("baseline_too_late", "role", tag=job.tag, days=days)


def _weigh(counter: Counter, unit: UnitOfWork, case: Case, row: ReadingRow) -> ReadingLogged:
    """Return what a check says, and keep the decision it led to."""
    facts_before = with_label(read_facts(counter, unit, case), case.job, counter)
    known = open_case(unit, case.job)
    facts = with_label(read_facts(counter, unit, known), case.job, counter)
    after = decide_facts(counter, facts)
    keep_consultation(counter, unit, known, facts, after)
    alike = [one for one in known.readings if one.role == ReadingRole.BASELINE and _instrument(one) == _instrument(row)]
    baseline = middle(alike[-1]) if alike else None
    remarks = () if alike else _not_comparable(case, row)
    return ReadingLogged(
        job=case.job,
        reading=row,
        mean=middle(row),
        spread=spread(Reading(row.values)),
        baseline=baseline,
        before=decide_facts(counter, facts_before),
        after=after,
        remarks=remarks,
    )


def _not_comparable(case: Case, row: ReadingRow) -> tuple[Remark, ...]:
    """Return that there is nothing to compare with, and what a fresh bed should have read, marked estimated."""
    bare = Remark(reason="not_comparable", fact="baseline", values={"tag": case.job.tag})
    found = compare_with_estimate(bed_on_card(case.job, case.racquet), reading_of(row))
    return (bare, Remark(reason="estimated_fresh", fact="baseline", values=found.values())) if found else (bare,)


def _instrument(row: ReadingRow) -> tuple[str | None, str | None, str | None]:
    return row.kind, row.unit, row.instrument
