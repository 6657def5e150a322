"""The drop-off: whose racquet, which frame, what goes in, until when; a crack goes to a person."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, fields
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, is_empty, read_draft
from dialogue.counter.limits import check_choice, check_range, check_text
from dialogue.counter.outcomes import Outcome, Remark, answering, refuse
from dialogue.counter.strings import Strings, changes, outside_printed, read_strings, same_as
from storage.errors import NotFound
from storage.rows import CustomerRow, JobStatus, RacquetRow, StringJobRow
from storage.unit_of_work import UnitOfWork

CRACK = "crack"
WORN = "grommets_worn"
LAST = "last"
OPEN = (JobStatus.RECEIVED, JobStatus.STRUNG, JobStatus.READY)


@dataclass(frozen=True, kw_only=True)
class Frame:
    """What is read off a frame; None is not known, or not changed."""

    nickname: str | None = None
    sport: str | None = None
    head_size_in2: float | None = None
    mains_count: int | None = None
    crosses_count: int | None = None
    tension_min_lb: float | None = None
    tension_max_lb: float | None = None


@dataclass(frozen=True, kw_only=True)
class DropOff:
    """One racquet left at the counter."""

    customer_id: int | None = None
    new_customer: CustomerDraft | None = None
    """Where the customer is not known yet, or something new is said of one who is."""
    racquet_id: int | None = None
    frame: Frame = Frame()
    """Of a new racquet, or what is new of a known one."""
    frame_check: str
    """sound, grommets_worn or crack: what was seen together with the customer."""
    seen_by: str | None = None
    """The qualified stringer who looked at a crack and takes the job."""
    strings: Strings | None = None
    same_as: str | None = None
    """"last", or the tag of the stringing whose strings are wanted again, with the tension that `strings` may name."""
    promised_on: dt.date | None = None
    wish: str | None = None
    """What the customer wants outside the printed range, after being told."""
    notes: str | None = None


@dataclass(frozen=True, kw_only=True)
class TakenIn(Outcome):
    """A racquet taken in."""

    customer: CustomerRow
    racquet: RacquetRow
    job: StringJobRow | None
    """None when a person has to look at the frame first."""
    person: str | None = None
    """Why a person has to look: frame_crack."""
    remarks: tuple[Remark, ...] = ()


@answering
def take_in(counter: Counter, drop_off: DropOff) -> TakenIn:
    """Take in one racquet: everything is checked before anything is written.

    Raises:
        NotFound: when the customer, the racquet or the earlier stringing is not on record.
    """
    with counter.work() as unit:
        plan = _plan(counter, unit, drop_off)
        customer = _keep_customer(unit, plan)
        racquet = _keep_racquet(counter, unit, plan, customer)
        if plan.job is None:
            return TakenIn(customer=customer, racquet=racquet, job=None, person="frame_crack", remarks=plan.remarks)
        job = unit.jobs.add(StringJobRow(racquet_id=racquet.id, **plan.job))
        return TakenIn(customer=customer, racquet=racquet, job=job, remarks=plan.remarks)


@dataclass(frozen=True)
class _Plan:
    """What will be written, all of it checked."""

    drop_off: DropOff
    customer_values: dict[str, Any]
    racquet: RacquetRow | None
    frame_values: dict[str, Any]
    job: dict[str, Any] | None
    remarks: tuple[Remark, ...]


def _plan(counter: Counter, unit: UnitOfWork, drop_off: DropOff) -> _Plan:
    draft = drop_off.new_customer or CustomerDraft()
    values, remarks = read_draft(counter, draft)
    if drop_off.customer_id is None and not values.get("name"):
        raise refuse("whose_racquet", "customer")
    racquet = _the_racquet(unit, drop_off)
    frame = _read_frame(drop_off.frame)
    seen = RacquetRow(**{**(_known(racquet) if racquet else {}), **frame})
    _check_printed_range(seen)
    if check_choice("frame_check", drop_off.frame_check) is None:
        raise refuse("frame_unchecked", "frame_check")
    if drop_off.frame_check == CRACK and not check_text("seen_by", drop_off.seen_by):
        return _Plan(drop_off, values, racquet, frame, None, remarks)
    columns = _strings(counter, unit, drop_off, racquet)
    if refusal := outside_printed(seen, columns):
        if not check_text("wish", drop_off.wish):
            raise refuse(refusal.reason, refusal.fact, **refusal.values)
        remarks = (*remarks, Remark(reason="wish_recorded", fact=refusal.fact, values=refusal.values))
    if drop_off.frame_check == WORN:
        remarks = (*remarks, Remark(reason="grommets_worn", fact="frame_check"))
    job = {
        **columns,
        "promised_on": _read_promise(counter, drop_off.promised_on),
        "wish": check_text("wish", drop_off.wish),
        "notes": check_text("notes", drop_off.notes),
    }
    return _Plan(drop_off, values, racquet, frame, job, remarks)


def _the_racquet(unit: UnitOfWork, drop_off: DropOff) -> RacquetRow | None:
    if drop_off.customer_id is not None:
        unit.customers.get(drop_off.customer_id)
    if drop_off.racquet_id is None:
        return None
    racquet = unit.racquets.get(drop_off.racquet_id)
    if drop_off.customer_id is None or racquet.customer_id != drop_off.customer_id:
        raise refuse("not_their_racquet", "racquet_id", value=drop_off.racquet_id)
    latest = unit.jobs.latest_of(racquet.id)
    if latest and latest.status in OPEN:
        raise refuse("already_on_the_bench", "racquet_id", tag=latest.tag)
    return racquet


def _read_frame(frame: Frame) -> dict[str, Any]:
    values: dict[str, Any] = {part.name: getattr(frame, part.name) for part in fields(frame)}
    for name in ("head_size_in2", "mains_count", "crosses_count", "tension_min_lb", "tension_max_lb"):
        check_range(name, values[name])
    check_choice("sport", frame.sport)
    values["nickname"] = check_text("nickname", frame.nickname, "name_characters")
    return {name: value for name, value in values.items() if value is not None}


def _known(racquet: RacquetRow) -> dict[str, Any]:
    return {part.name: getattr(racquet, part.name) for part in fields(racquet)}


def _check_printed_range(racquet: RacquetRow) -> None:
    low, high = racquet.tension_min_lb, racquet.tension_max_lb
    if low is not None and high is not None and low > high:
        raise refuse("range_upside_down", "tension_min_lb", low=low, high=high)


def _strings(counter: Counter, unit: UnitOfWork, drop_off: DropOff, racquet: RacquetRow | None) -> dict[str, Any]:
    named = drop_off.strings and (drop_off.strings.mains.material or drop_off.strings.mains.product)
    if drop_off.strings is not None and (named or drop_off.same_as is None):
        return read_strings(counter, unit, drop_off.strings).columns()
    if drop_off.same_as is None:
        raise refuse("strings_missing", "strings")
    earlier = _earlier_strings(unit, drop_off, racquet)
    return earlier if drop_off.strings is None else {**earlier, **changes(counter, unit, drop_off.strings)}


def _earlier_strings(unit: UnitOfWork, drop_off: DropOff, racquet: RacquetRow | None) -> dict[str, Any]:
    if drop_off.same_as and drop_off.same_as != LAST:
        job = unit.jobs.by_tag(drop_off.same_as)
        if job is None:
            raise NotFound("string_job", drop_off.same_as)
        return same_as(job)
    earlier = unit.jobs.of_racquet(racquet.id) if racquet else ()
    known = (job for job in earlier if job.status != JobStatus.CANCELLED and job.mains_material)
    last = next(known, None)
    if last is None:
        raise refuse("nothing_last_time", "same_as")
    return same_as(last)


def _read_promise(counter: Counter, day: dt.date | None) -> dt.date | None:
    if day is None:
        return None
    if day < counter.today:
        raise refuse("promised_in_the_past", "promised_on", day=day)
    check_range("promised_days_ahead", (day - counter.today).days)
    return day


def _keep_customer(unit: UnitOfWork, plan: _Plan) -> CustomerRow:
    number = plan.drop_off.customer_id
    if number is None:
        return unit.customers.add(CustomerRow(**plan.customer_values))
    draft = plan.drop_off.new_customer
    if draft is None or is_empty(draft):
        return unit.customers.get(number)
    return unit.customers.change(number, **plan.customer_values)


def _keep_racquet(counter: Counter, unit: UnitOfWork, plan: _Plan, customer: CustomerRow) -> RacquetRow:
    values = dict(plan.frame_values)
    note = counter.wording.say(
        f"frame.{plan.drop_off.frame_check}",
        day=counter.today,
        who=check_text("seen_by", plan.drop_off.seen_by) or counter.who,
    )
    if plan.racquet is None:
        return unit.racquets.add(RacquetRow(customer_id=customer.id, frame_notes=note, **values))
    earlier = f"{plan.racquet.frame_notes}\n" if plan.racquet.frame_notes else ""
    return unit.racquets.change(plan.racquet.id, frame_notes=earlier + note, **values)
