"""What storage hands out: one frozen row a table, with nothing left to load; knows no database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum
from typing import Any


class JobStatus(StrEnum):
    """How far a stringing has come."""

    RECEIVED = "received"
    STRUNG = "strung"
    READY = "ready"
    COLLECTED = "collected"
    CANCELLED = "cancelled"


class ReadingRole(StrEnum):
    """Whether a reading is the fresh one or a later one."""

    BASELINE = "baseline"
    CHECK = "check"


class ReminderState(StrEnum):
    """How far a reminder has come."""

    DRAFT = "draft"
    QUEUED = "queued"
    SENDING = "sending"
    SENT = "sent"
    FAILED = "failed"


@dataclass(frozen=True, kw_only=True)
class Row:
    """What every row can do."""

    def to_dict(self) -> dict[str, Any]:
        """Return the row as JSON: days and moments in ISO form."""
        return {part.name: _to_json(getattr(self, part.name)) for part in fields(self)}


@dataclass(frozen=True, kw_only=True)
class CustomerRow(Row):
    """Somebody who brings racquets."""

    id: int = 0
    """0 before it is stored, here and in every row."""
    created_at: dt.datetime | None = None
    name: str
    phone: str | None = None
    """As it was said, or in E.164."""
    email: str | None = None
    consent_to_contact: bool = False
    level: str | None = None
    plays_per_week_low: float | None = None
    plays_per_week_high: float | None = None
    hours_per_play_low: float | None = None
    hours_per_play_high: float | None = None
    hours_per_week_low: float | None = None
    hours_per_week_high: float | None = None
    season: str | None = None
    breaks_strings: bool | None = None
    group: str | None = None
    """A group of players that the shop's own rows of the rulebook name, such as junior."""
    notes: str | None = None


@dataclass(frozen=True, kw_only=True)
class CustomerHit:
    """A customer found by a search."""

    customer: CustomerRow
    score: float
    """How well the customer answers what was asked, 0 to 100."""
    by: str
    """What it was found by: name, phone or tag."""


@dataclass(frozen=True, kw_only=True)
class RacquetRow(Row):
    """One frame."""

    id: int = 0
    created_at: dt.datetime | None = None
    customer_id: int | None = None
    """None where nobody is known, or the owner was erased."""
    nickname: str | None = None
    sport: str | None = None
    head_size_in2: float | None = None
    mains_count: int | None = None
    crosses_count: int | None = None
    tension_min_lb: float | None = None
    tension_max_lb: float | None = None
    frame_notes: str | None = None
    tag: str | None = None
    """Of the frame itself; each stringing has one of its own besides."""


@dataclass(frozen=True, kw_only=True)
class StringJobRow(Row):
    """One stringing of one racquet."""

    id: int = 0
    racquet_id: int
    tag: str = ""
    """Six letters and digits; made when the job is added without one."""
    status: str = JobStatus.RECEIVED
    received_at: dt.datetime | None = None
    strung_at: dt.datetime | None = None
    ready_at: dt.datetime | None = None
    collected_at: dt.datetime | None = None
    cancelled_at: dt.datetime | None = None
    promised_on: dt.date | None = None
    mains_material: str | None = None
    mains_tension: float | None = None
    mains_tension_unit: str | None = None
    """lb or kg."""
    mains_gauge: str | None = None
    mains_product: str | None = None
    crosses_material: str | None = None
    crosses_tension: float | None = None
    crosses_tension_unit: str | None = None
    crosses_gauge: str | None = None
    crosses_product: str | None = None
    catalogue_product_id: int | None = None
    machine: str | None = None
    """constant_pull, lock_out, drop_weight ..."""
    pieces: int | None = None
    """1 or 2."""
    prestretch_percent: float | None = None
    strung_on: dt.date | None = None
    strung_on_approx: bool = False
    label_due: dt.date | None = None
    """The date on a label that somebody else stuck on."""
    restring_by: dt.date | None = None
    window_first: dt.date | None = None
    window_last: dt.date | None = None
    approximate: bool = False
    consultation_id: int | None = None
    wish: str | None = None
    """What the customer asked for against advice, and was told about."""
    notes: str | None = None


@dataclass(frozen=True, kw_only=True)
class ReadingRow(Row):
    """One measurement of a stringbed."""

    id: int = 0
    created_at: dt.datetime | None = None
    job_id: int
    role: str
    kind: str | None = None
    unit: str | None = None
    instrument: str | None = None
    values: tuple[float, ...]
    """The repeats in `unit`, or in the usual unit of the kind."""
    taken_on: dt.date
    taken_at: dt.datetime | None = None
    minutes_after_stringing: int | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class RulebookRow(Row):
    """A rulebook's whole content under its hash."""

    hash: str
    created_at: dt.datetime | None = None
    content: str


@dataclass(frozen=True, kw_only=True)
class ConsultationRow(Row):
    """One decision with everything it rested on."""

    id: int = 0
    created_at: dt.datetime | None = None
    customer_id: int | None = None
    racquet_id: int | None = None
    job_id: int | None = None
    conversation_id: int | None = None
    today: dt.date
    facts: Mapping[str, Any]
    """The facts as JSON, with the words they were said in under `words` until those are erased."""
    decision: Mapping[str, Any]
    rulebook: str
    """Hash of the rulebook that decided; its content must be stored first."""


@dataclass(frozen=True, kw_only=True)
class ConversationRow(Row):
    """A conversation as its events."""

    id: int = 0
    sender_id: str
    customer_id: int | None = None
    events: tuple[Mapping[str, Any], ...] = ()
    version: int = 0
    """0 before it is stored; grows by one with every save."""
    updated_at: dt.datetime | None = None


@dataclass(frozen=True, kw_only=True)
class LeagueRow(Row):
    """A league."""

    id: int = 0
    name: str
    notes: str | None = None


@dataclass(frozen=True, kw_only=True)
class LeagueSeasonRow(Row):
    """One season of a league."""

    id: int = 0
    league_id: int
    name: str | None = None
    starts_on: dt.date


@dataclass(frozen=True, kw_only=True)
class LeagueMemberRow(Row):
    """A customer who plays in a league."""

    id: int = 0
    league_id: int
    customer_id: int


@dataclass(frozen=True, kw_only=True)
class ReminderRow(Row):
    """The one message that one stringing may cause."""

    id: int = 0
    created_at: dt.datetime | None = None
    job_id: int
    due_on: dt.date
    state: str = ReminderState.DRAFT
    text: str
    attempts: int = 0
    next_try_at: dt.datetime | None = None
    claimed_at: dt.datetime | None = None
    sent_at: dt.datetime | None = None
    message_id: str | None = None
    """Made before the first attempt and kept, so that a gateway can tell a second attempt from a second message."""
    error: str | None = None


@dataclass(frozen=True, kw_only=True)
class StaffRow(Row):
    """Somebody who works at the counter."""

    id: int = 0
    name: str
    pin_hash: str = field(repr=False)
    role: str
    active: bool = True

    def to_dict(self) -> dict[str, Any]:
        """Return the row as JSON without the hash of the PIN."""
        return {name: value for name, value in super().to_dict().items() if name != "pin_hash"}


@dataclass(frozen=True, kw_only=True)
class PracticeCardRow(Row):
    """How well one trainee knows one row of the rulebook."""

    id: int = 0
    trainee: str
    row: str
    due_at: dt.datetime
    """When it comes again."""
    state: Mapping[str, Any]
    """What the scheduler keeps."""


@dataclass(frozen=True, kw_only=True)
class PracticeAnswerRow(Row):
    """One exercise a trainee answered."""

    id: int = 0
    created_at: dt.datetime | None = None
    trainee: str
    row: str
    """The row of the rulebook that was practised."""
    exercise: Mapping[str, Any]
    answer: Mapping[str, Any]
    marks: Mapping[str, Any]
    rulebook: str
    """The edition that marked it."""


@dataclass(frozen=True, kw_only=True)
class CatalogueProductRow(Row):
    """A string the shop sells."""

    id: int = 0
    product: str
    material: str
    gauge_mm: float | None = None
    note: str | None = None


@dataclass(frozen=True, kw_only=True)
class SettingRow(Row):
    """One of the shop's own choices."""

    key: str
    value: Any


@dataclass(frozen=True, kw_only=True)
class AuditRow(Row):
    """One write: who changed which row when, from what to what."""

    id: int
    at: dt.datetime
    who: str
    unit: str
    action: str
    """create, update, remove or erase."""
    entity: str
    entity_id: str
    before: Mapping[str, Any] | None
    after: Mapping[str, Any] | None
    undoes: str | None
    """The unit of work that this entry took back."""


def _to_json(value: Any) -> Any:
    if isinstance(value, dt.date | dt.datetime):
        return value.isoformat()
    if isinstance(value, Row):
        return value.to_dict()
    if isinstance(value, tuple | list):
        return [_to_json(item) for item in value]
    if isinstance(value, Mapping):
        return {key: _to_json(item) for key, item in value.items()}
    return value
