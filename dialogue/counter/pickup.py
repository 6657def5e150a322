"""Pick-up and coming back: what was done, what the label means and why, out of stored evidence alone."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.bench import the_job
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerFound, RacquetFound, find_in, strings_in
from dialogue.counter.evidence import (
    Case,
    decide_facts,
    latest_checks,
    open_case,
    read_facts,
    stored_decision,
    with_label,
)
from dialogue.counter.outcomes import Outcome, Remark, Term, answering, refuse
from dialogue.counter.readings import Measured, ReadingLogged, log_in, middle
from dialogue.forecasts.foretold import foretell, say_foretold
from rules.decision import Decision
from storage.errors import NotFound
from storage.queries import RacquetHistory
from storage.rows import CustomerRow, JobStatus, RacquetRow, ReadingRole, ReadingRow, StringJobRow
from storage.spoken import read_tag
from storage.unit_of_work import UnitOfWork

BACKGROUND = frozenset({"stringbed", "others_say", "verdict", "cautions"})
"""Tables whose rows are no reason for a date."""


@dataclass(frozen=True, kw_only=True)
class Compared(Outcome):
    """The strings that came out beside those that went in, read by one instrument."""

    kind: str | None
    before: float
    """The last check of the old strings."""
    after: float
    """The baseline of the new ones."""


@dataclass(frozen=True, kw_only=True)
class HandOver(Outcome):
    """What a customer should hear when the racquet is handed over."""

    job: StringJobRow
    racquet: RacquetRow
    customer: CustomerRow | None
    done: str
    """What was done, as a sentence."""
    label: str
    """What the label says and means."""
    why: tuple[str, ...]
    """Why that date: the sentences of the stored trail."""
    cautions: tuple[str, ...]
    compared: Compared | None
    collected: bool
    """True when this recorded that the racquet was fetched."""
    decision: Decision | None
    """As stored with the stringing."""
    foretold: str = ""
    """What the readings of these strings say of the time to come, as a sentence; empty where there is none."""


@dataclass(frozen=True, kw_only=True)
class Returned(Outcome):
    """A racquet that came back, or whom to ask about when several may be meant."""

    customers: tuple[CustomerFound, ...]
    """Everybody who may be meant; more than one: ask which."""
    racquets: tuple[RacquetFound, ...] = ()
    """The racquets that may be meant; more than one: ask which."""
    racquet: RacquetRow | None = None
    job: StringJobRow | None = None
    """The strings in the racquet."""
    label_date: dt.date | None = None
    about: bool = False
    baseline: ReadingRow | None = None
    history: RacquetHistory | None = None
    before: Decision | None = None
    """The verdict on what is on record."""
    reading: ReadingLogged | None = None
    """The check just taken, with the verdict after it."""
    remarks: tuple[Remark, ...] = ()


@answering
def hand_over(counter: Counter, tag: str, *, collect: bool = True) -> HandOver:
    """Return what a customer should hear, and record that the racquet was fetched.

    Args:
        counter: where.
        tag: the stringing's tag.
        collect: False only tells, and may be asked again after the racquet is gone.

    Raises:
        NotFound: when no stringing bears the tag.
    """
    with counter.work() as unit:
        case = open_case(unit, the_job(unit, tag))
        job = case.job
        if job.status == JobStatus.CANCELLED:
            raise refuse("cancelled", "tag", tag=job.tag)
        if job.status == JobStatus.RECEIVED:
            raise refuse("not_strung", "tag", tag=job.tag)
        if collect and job.status == JobStatus.COLLECTED:
            raise refuse("already_collected", "tag", tag=job.tag, day=job.collected_at)
        if collect:
            job = unit.jobs.mark_collected(job.id)
        decision = stored_decision(unit, job)
        return HandOver(
            job=job,
            racquet=case.racquet,
            customer=case.customer,
            done=_tell_done(counter, case),
            label=tell_label(counter, job),
            why=reasons(decision),
            cautions=tuple(step.says for step in decision.trail if step.table == "cautions") if decision else (),
            compared=_compare(unit, case),
            collected=collect,
            decision=decision,
            foretold=say_foretold(counter, foretell(counter, unit, case)),
        )


@answering
def come_back(counter: Counter, said: str, racquet_id: int | None = None, measured: Measured | None = None) -> Returned:
    """Bring up a racquet that came back, by its tag, its owner's phone or name, and weigh a check reading.

    Args:
        counter: where.
        said: tag, phone number or its end, or name.
        racquet_id: which racquet, where the owner has several.
        measured: a check reading taken now; kept only when it is plain which racquet it is of.

    Raises:
        NotFound: when nobody and nothing is found.
    """
    with counter.work() if measured else counter.look() as unit:
        found = find_in(counter, unit, said)
        customers, racquets = _candidates(unit, found.hits, found.job, racquet_id)
        if len(racquets) != 1:
            return Returned(customers=customers, racquets=racquets)
        racquet = racquets[0].racquet
        job = strings_in(unit, racquet.id)
        if job is None:
            remark = Remark(reason="nothing_strung", fact="racquet", values={"racquet": racquet.nickname or ""})
            return Returned(customers=customers, racquets=racquets, racquet=racquet, remarks=(remark,))
        return _bring_up(counter, unit, Returned(customers=customers, racquets=racquets, job=job), measured, said)


def reasons(decision: Decision | None) -> tuple[str, ...]:
    """Return the sentences of a trail that say why its date is the date."""
    if decision is None:
        return ()
    return tuple(step.says for step in decision.trail if step.table not in BACKGROUND and not step.against)


def tell_label(counter: Counter, job: StringJobRow) -> str:
    """Return what the label of a stringing says and means, as sentences."""
    say = counter.wording.say
    if job.restring_by is None:
        return say("hand_over.label_none")
    if job.window_first and job.window_last and job.window_last == job.restring_by:
        return say("hand_over.label_window", first=job.window_first, last=job.restring_by)
    return say("hand_over.label_about" if job.approximate else "hand_over.label", day=job.restring_by)


def tell_strings(counter: Counter, job: StringJobRow) -> str:
    """Return the strings and tensions of a stringing: "polyester at 54 lb", or mains and crosses apart."""
    say = counter.wording.say
    sides = [_tell_side(counter, job, side) for side in ("mains", "crosses")]
    if sides[0] == sides[1] or job.crosses_material is None:
        return sides[0]
    return say("hand_over.two_sides", mains=sides[0], crosses=sides[1])


def name_racquet(counter: Counter, racquet: RacquetRow) -> str:
    """Return a racquet as it is spoken of."""
    say = counter.wording.say
    return say("racquet.named", nickname=racquet.nickname) if racquet.nickname else say("racquet.plain")


def name_strings(counter: Counter, job: StringJobRow, side: str) -> str:
    """Return what is in one side: the product where it is known, else the material; empty where neither is."""
    material, product = getattr(job, f"{side}_material"), getattr(job, f"{side}_product")
    return product or (counter.wording.value(Term(material)) if material else "")


def _tell_side(counter: Counter, job: StringJobRow, side: str) -> str:
    tension = getattr(job, f"{side}_tension")
    name = name_strings(counter, job, side) or counter.wording.say("hand_over.unnamed_string")
    if tension is None:
        return counter.wording.say("hand_over.side_untold", name=name)
    return counter.wording.say(
        "hand_over.side", name=name, tension=float(tension), unit=getattr(job, f"{side}_tension_unit") or "lb"
    )


def _tell_done(counter: Counter, case: Case) -> str:
    say = counter.wording.say
    job = case.job
    done = say(
        "hand_over.done",
        racquet=name_racquet(counter, case.racquet),
        strings=tell_strings(counter, job),
        day=job.strung_on,
    )
    fresh = [row for row in case.readings if row.role == ReadingRole.BASELINE]
    if fresh:
        figure = middle(fresh[-1], 2)
        kind = fresh[-1].kind or "unnamed"
        done = f"{done} {say(f'hand_over.baseline_{kind}', figure=figure)}"
    if job.wish:
        done = f"{done} {say('hand_over.wish', wish=job.wish)}"
    return done


def _compare(unit: UnitOfWork, case: Case) -> Compared | None:
    """Return the last check of the strings before these beside the baseline of these, by one instrument."""
    fresh = [row for row in case.readings if row.role == ReadingRole.BASELINE]
    earlier = [
        job
        for job in unit.jobs.of_racquet(case.racquet.id)
        if job.id != case.job.id and job.strung_on and case.job.strung_on and job.strung_on <= case.job.strung_on
    ]
    if not fresh or not earlier:
        return None
    for check in latest_checks(unit.readings.of_job(earlier[0].id)):
        for row in reversed(fresh):
            if (row.kind, row.unit, row.instrument) == (check.kind, check.unit, check.instrument):
                return Compared(kind=row.kind, before=middle(check), after=middle(row))
    return None


def _candidates(
    unit: UnitOfWork, hits: tuple[CustomerFound, ...], job: StringJobRow | None, racquet_id: int | None
) -> tuple[tuple[CustomerFound, ...], tuple[RacquetFound, ...]]:
    """Return whom and which racquets were meant; a tag names one racquet whatever its owner's others are."""
    if racquet_id is not None:
        racquet = unit.racquets.get(racquet_id)
        mine = tuple(hit for hit in hits if hit.customer.id == racquet.customer_id)
        if hits and not mine:
            raise refuse("not_their_racquet", "racquet_id", value=racquet_id)
        return mine, (RacquetFound(racquet=racquet, job=unit.jobs.latest_of(racquet_id)),)
    if job is not None:
        racquet = unit.racquets.get(job.racquet_id)
        owner = tuple(hit for hit in hits if hit.customer.id == racquet.customer_id)
        return owner, (RacquetFound(racquet=racquet, job=unit.jobs.latest_of(racquet.id)),)
    if len(hits) != 1:
        return hits, ()
    return hits, hits[0].racquets


def _bring_up(counter: Counter, unit: UnitOfWork, back: Returned, measured: Measured | None, said: str) -> Returned:
    if back.job is None:
        raise NotFound("string_job", said)
    case = open_case(unit, back.job)
    job = case.job
    remarks: tuple[Remark, ...] = ()
    tagged = unit.jobs.by_tag(said)
    if tagged and tagged.id != job.id and read_tag(said) == tagged.tag and tagged.status != JobStatus.RECEIVED:
        values = {"tag": tagged.tag, "new": job.tag, "day": job.strung_on}
        remarks = (Remark(reason="older_label", fact="tag", values=values),)
    facts = with_label(read_facts(counter, unit, case), job, counter)
    fresh = [row for row in case.readings if row.role == ReadingRole.BASELINE]
    before = decide_facts(counter, facts)
    logged = log_in(counter, unit, case, ReadingRole.CHECK, measured) if measured else None
    return Returned(
        customers=back.customers,
        racquets=back.racquets,
        racquet=case.racquet,
        job=job,
        label_date=job.restring_by or job.label_due,
        about=job.approximate,
        baseline=fresh[-1] if fresh else None,
        history=unit.queries.history(case.racquet.id),
        before=before,
        reading=logged,
        remarks=remarks,
    )
