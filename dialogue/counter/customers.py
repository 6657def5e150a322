"""Customers: found by name, phone or tag, taken down, changed; knows no conversation."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.limits import check_choice, check_text, figure
from dialogue.counter.outcomes import Outcome, Refused, Remark, answering, refuse
from rules.intake import parse_facts
from storage.errors import NotFound
from storage.rows import CustomerHit, CustomerRow, JobStatus, RacquetRow, StringJobRow
from storage.spoken import fold
from storage.unit_of_work import UnitOfWork

EMAIL = re.compile(r"[^@\s,;<>\"]+@[^@\s,;<>\"]+\.[^@\s,;<>\"]+")
Customer = CustomerRow
"""A customer as channels and commands see one."""
CONTACTS = ("phone", "email")
"""What may be taken off a card."""
STRUNG = (JobStatus.STRUNG, JobStatus.READY, JobStatus.COLLECTED)


@dataclass(frozen=True, kw_only=True)
class CustomerDraft:
    """What is said of a customer; None is not known, or not changed."""

    name: str | None = None
    phone: str | None = None
    """In any national form."""
    email: str | None = None
    consent_to_contact: bool | None = None
    level: str | None = None
    plays_per_week: float | tuple[float, float] | None = None
    hours_per_play: float | tuple[float, float] | None = None
    hours_per_week: float | tuple[float, float] | None = None
    season: str | None = None
    breaks_strings: bool | None = None
    group: str | None = None
    """A group of players that the shop's own rows of the rulebook name, such as junior."""
    notes: str | None = None


@dataclass(frozen=True, kw_only=True)
class RacquetFound(Outcome):
    """One racquet of a customer with the strings in it."""

    racquet: RacquetRow
    job: StringJobRow | None
    """The newest stringing: in the racquet, or to be put in."""


@dataclass(frozen=True, kw_only=True)
class CustomerFound(Outcome):
    """A customer who may be meant."""

    customer: CustomerRow
    score: float
    """How well it answers what was asked, 0 to 100."""
    by: str
    """name, phone or tag."""
    racquets: tuple[RacquetFound, ...]


@dataclass(frozen=True, kw_only=True)
class Found(Outcome):
    """Everybody who may be meant, the likeliest first; the caller asks which."""

    said: str
    hits: tuple[CustomerFound, ...]
    job: StringJobRow | None = None
    """The stringing whose tag was said, or the newest of the racquet whose tag was said."""


@dataclass(frozen=True, kw_only=True)
class CustomerKept(Outcome):
    """A customer as stored, and what of the input was left out."""

    customer: CustomerRow
    remarks: tuple[Remark, ...] = ()


@answering
def find_customer(counter: Counter, said: str, limit: int = 5) -> Found:
    """Return who may be meant by a name, a phone number in any form or its end, or a tag."""
    with counter.look() as unit:
        return find_in(counter, unit, said, limit)


@answering
def add_customer(counter: Counter, draft: CustomerDraft) -> CustomerKept:
    """Take down a new customer; a number that is none is left out, the rest is kept."""
    values, remarks = read_draft(counter, draft)
    if not values.get("name"):
        raise refuse("name_missing", "name")
    with counter.work() as unit:
        return CustomerKept(customer=unit.customers.add(CustomerRow(**values)), remarks=remarks)


@answering
def change_customer(counter: Counter, customer_id: int, draft: CustomerDraft) -> CustomerKept:
    """Change what the draft names; a number that is none is left out, the rest is changed.

    Raises:
        NotFound: when there is no such customer.
    """
    values, remarks = read_draft(counter, draft)
    with counter.work() as unit:
        return CustomerKept(customer=unit.customers.change(customer_id, **values), remarks=remarks)


@answering
def forget_contact(counter: Counter, customer_id: int, wanted: Sequence[str]) -> CustomerKept:
    """Take a phone number or an e-mail address off a customer's card.

    Args:
        counter: where.
        customer_id: whose card.
        wanted: phone, email, or both.

    Raises:
        NotFound: when there is no such customer.
    """
    if not wanted:
        raise refuse("forget_what", "customer")
    with counter.work() as unit:
        if not take_off(unit, customer_id, wanted):
            raise refuse("nothing_to_forget", "customer", name=unit.customers.get(customer_id).name)
        return CustomerKept(customer=unit.customers.get(customer_id))


def take_off(unit: UnitOfWork, customer_id: int, wanted: Sequence[str]) -> list[str]:
    """Empty what is wanted off a card, in an open unit of work, and return what stood there."""
    customer = unit.customers.get(customer_id)
    found = [name for name in CONTACTS if name in wanted and getattr(customer, name)]
    if found:
        unit.customers.change(customer_id, **dict.fromkeys(found))
    return found


def find_in(counter: Counter, unit: UnitOfWork, said: str, limit: int = 5) -> Found:
    """Return who may be meant, in an open unit of work."""
    from dialogue.counter.phones import read_phone  # noqa: PLC0415 - all countries; few talks need it

    text = check_text("customer", said)
    if not text:
        raise refuse("nothing_said", "customer")
    hits = {hit.customer.id: hit for hit in unit.customers.find(text, limit)}
    try:
        # As dialled in this region: "030 123456" must find +49 30 123456, whose last digits differ.
        for row in unit.customers.by_phone_tail(read_phone(text, counter.region), limit):
            hits.setdefault(row.id, CustomerHit(customer=row, score=100.0, by="phone"))
    except Refused:
        pass
    ranked = sorted(hits.values(), key=lambda hit: -hit.score)[:limit]
    exact = [hit for hit in ranked if fold(hit.customer.name) == fold(text)]
    chosen = exact or ranked
    return Found(
        said=text,
        hits=tuple(
            CustomerFound(
                customer=hit.customer,
                score=hit.score,
                by=hit.by,
                racquets=tuple(
                    RacquetFound(racquet=racquet, job=unit.jobs.latest_of(racquet.id))
                    for racquet in unit.racquets.of_customer(hit.customer.id)
                ),
            )
            for hit in chosen
        ),
        job=unit.jobs.by_tag(text),
    )


def the_customer(counter: Counter, unit: UnitOfWork, said: str) -> CustomerRow:
    """Return the one customer who is meant. Refuses when several may be.

    Raises:
        NotFound: when nobody is.
    """
    if number := re.fullmatch(r"#(\d{1,9})", said.strip()):
        return unit.customers.get(int(number[1]))
    hits = find_in(counter, unit, said).hits
    if not hits:
        raise NotFound("customer", said)
    if len(hits) > 1:
        raise refuse("several_customers", "customer", value=said, choices=[_named(hit) for hit in hits])
    return hits[0].customer


def _named(hit: CustomerFound) -> str:
    tail = f" {hit.customer.phone}" if hit.customer.phone else ""
    return f"#{hit.customer.id} {hit.customer.name}{tail}"


def strings_in(unit: UnitOfWork, racquet_id: int) -> StringJobRow | None:
    """Return the stringing that is in the racquet now: the newest one that was put on."""
    return next((job for job in unit.jobs.of_racquet(racquet_id) if job.status in STRUNG), None)


def read_draft(counter: Counter, draft: CustomerDraft) -> tuple[dict[str, Any], tuple[Remark, ...]]:
    """Return the columns a draft names, checked, and remarks on what was left out."""
    values: dict[str, Any] = {
        "name": check_text("name", draft.name, "name_characters"),
        "level": check_choice("level", draft.level),
        "season": check_choice("season", draft.season),
        "breaks_strings": draft.breaks_strings,
        "consent_to_contact": draft.consent_to_contact,
        "notes": check_text("notes", draft.notes),
    }
    for name in ("plays_per_week", "hours_per_play", "hours_per_week"):
        value = getattr(draft, name)
        if value is not None:
            raw = {"min": value[0], "max": value[1]} if isinstance(value, tuple) else value
            span = getattr(parse_facts({name: raw}, today=counter.today, limits=counter.book.limits), name)
            values |= {f"{name}_low": span.low, f"{name}_high": span.high}
    if draft.group is not None:
        values["group"] = parse_facts({"group": draft.group}, today=counter.today, limits=counter.book.limits).group
    remarks: list[Remark] = []
    for name, read in (("phone", _read_phone), ("email", _read_email)):
        said = check_text(name, getattr(draft, name))
        if said:
            try:
                values[name] = read(counter, said)
            except Refused as refused:
                refusal = refused.refusal
                remarks.append(Remark(reason=refusal.reason, fact=name, values=refusal.values))
    return {name: value for name, value in values.items() if value is not None}, tuple(remarks)


def _read_phone(counter: Counter, said: str) -> str:
    from dialogue.counter.phones import read_phone  # noqa: PLC0415 - all countries; few talks need it

    return read_phone(said, counter.region)


def _read_email(_: Counter, said: str) -> str:
    if not EMAIL.fullmatch(said) or len(said) > figure("email_characters"):
        raise refuse("email_invalid", "email", value=said[:60])
    return said


def is_empty(draft: CustomerDraft) -> bool:
    """Tell whether a draft says nothing."""
    return all(getattr(draft, part.name) is None for part in fields(draft))
