"""From the cards to a decision and back: what the rules are given, and what of their answer is kept."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.translate import customer_facts, job_facts, reading_json
from rules.chain import decide
from rules.decision import Decision
from rules.facts import Facts
from rules.intake import parse_facts
from storage.rows import ConsultationRow, CustomerRow, RacquetRow, ReadingRole, ReadingRow, StringJobRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True)
class Case:
    """One stringing with its racquet, its owner and its readings."""

    job: StringJobRow
    racquet: RacquetRow
    customer: CustomerRow | None
    readings: tuple[ReadingRow, ...] = ()


def open_case(unit: UnitOfWork, job: StringJobRow) -> Case:
    """Return a stringing with all that stands on the cards around it."""
    racquet = unit.racquets.get(job.racquet_id)
    customer = unit.customers.get(racquet.customer_id) if racquet.customer_id else None
    return Case(job, racquet, customer, unit.readings.of_job(job.id))


def read_facts(counter: Counter, unit: UnitOfWork, case: Case, extra: Mapping[str, Any] | None = None) -> Facts:
    """Return the facts on the cards.

    The label on the throat is not among them: it is this very decision's answer. Of later readings those of the
    latest day count, one an instrument.
    """
    raw: dict[str, Any] = customer_facts(case.customer) if case.customer else {}
    if case.racquet.sport:
        raw["sport"] = case.racquet.sport
    raw |= job_facts(case.job, case.readings)
    raw.pop("reading", None)
    if latest := latest_checks(case.readings):
        raw["reading"] = [reading_json(row) for row in latest]
    if case.customer and (start := _season_start(counter, unit, case)):
        raw["league_start"] = start.isoformat()
    raw |= extra or {}
    return parse_facts(raw, today=counter.today, limits=counter.book.limits)


def with_label(facts: Facts, job: StringJobRow, counter: Counter) -> Facts:
    """Return the facts with the date on our own label, where no other shop's label is known."""
    if job.restring_by is None or facts.label_due is not None:
        return facts
    day: Any = job.restring_by.isoformat()
    raw = {"label_due": {"value": day, "approx": True} if job.approximate else day}
    return facts.change(label_due=parse_facts(raw, today=counter.today, limits=counter.book.limits).label_due)


def latest_checks(readings: Sequence[ReadingRow]) -> tuple[ReadingRow, ...]:
    """Return the checks of the latest day, the last one of each instrument."""
    checks = [row for row in readings if row.role == ReadingRole.CHECK]
    if not checks:
        return ()
    day = max(row.taken_on for row in checks)
    last = {(row.kind, row.unit, row.instrument): row for row in checks if row.taken_on == day}
    return tuple(last.values())


def decide_facts(counter: Counter, facts: Facts) -> Decision:
    """Return what the counter's rulebook decides."""
    return decide(facts, counter.book)


def keep_consultation(
    counter: Counter, unit: UnitOfWork, case: Case, facts: Facts, decision: Decision
) -> ConsultationRow:
    """Store a decision with its facts and its rulebook and return it."""
    unit.rulebooks.keep(counter.book.hash, counter.book.text)
    return unit.consultations.add(
        ConsultationRow(
            customer_id=case.racquet.customer_id,
            racquet_id=case.racquet.id,
            job_id=case.job.id,
            today=counter.today,
            facts=facts.to_dict(),
            decision=decision.to_dict(),
            rulebook=decision.rulebook,
        )
    )


def stored_decision(unit: UnitOfWork, job: StringJobRow) -> Decision | None:
    """Return the decision that a stringing's label rests on, as it was taken."""
    stored = unit.consultations.get(job.consultation_id) if job.consultation_id else None
    return Decision.from_dict(stored.decision) if stored else None


def _season_start(counter: Counter, unit: UnitOfWork, case: Case) -> dt.date | None:
    """Return the first season since the strings were put on: one they missed counts as missed."""
    if case.customer is None:
        return None
    season = unit.leagues.next_season_of(case.customer.id, case.job.strung_on or counter.today)
    return season.starts_on if season else None
