"""The tables of the counter as SQLAlchemy classes; knows no rule, no phrase and no query."""

# Annotations are evaluated here: kept as text, each would be read back from it by SQLAlchemy at every start.

import datetime as dt
from typing import Any

from sqlalchemy import JSON, CheckConstraint, ForeignKey, Index, UniqueConstraint
from sqlalchemy.orm import Mapped, mapped_column, relationship, validates

from storage import spoken
from storage.columns import Base, JSONList, JSONObject, Kept, Key, Name, PlainText, ShortText, Word

UNTRAILED = {"trail": False}
"""A column the audit trail leaves out: computed from another one, secret, or evidence that cannot change."""


class Customer(Base):
    """Somebody who brings racquets, and how he or she plays."""

    __tablename__ = "customer"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    name: Mapped[Name]
    name_key: Mapped[Name] = mapped_column(index=True, info=UNTRAILED)
    phone: Mapped[str | None] = mapped_column(PlainText)
    phone_tail: Mapped[str | None] = mapped_column(ShortText(20), index=True, info=UNTRAILED)
    email: Mapped[str | None] = mapped_column(PlainText)
    consent_to_contact: Mapped[bool] = mapped_column(default=False)
    level: Mapped[Word | None]
    plays_per_week_low: Mapped[float | None]
    plays_per_week_high: Mapped[float | None]
    hours_per_play_low: Mapped[float | None]
    hours_per_play_high: Mapped[float | None]
    hours_per_week_low: Mapped[float | None]
    hours_per_week_high: Mapped[float | None]
    season: Mapped[Word | None]
    breaks_strings: Mapped[bool | None]
    group: Mapped[Word | None]
    notes: Mapped[str | None] = mapped_column(PlainText)

    keys: Mapped[list["CustomerKey"]] = relationship(cascade="all, delete-orphan", passive_deletes=True)

    @validates("name")
    def _index_name(self, _: str, name: str) -> str:
        """Keep the search keys in step with the name, whoever changes it."""
        self.name_key = spoken.fold(name)
        wanted = spoken.keys(name)
        kept = [key for key in self.keys if key.key in wanted]
        self.keys = kept + [CustomerKey(key=key) for key in sorted(wanted - {key.key for key in kept})]
        return name

    @validates("phone")
    def _index_phone(self, _: str, phone: str | None) -> str | None:
        self.phone_tail = spoken.phone_tail(phone)
        return phone


class CustomerKey(Base):
    """One key under which a spoken or misspelt name is found."""

    __tablename__ = "customer_key"
    __table_args__ = ({"sqlite_with_rowid": False},)

    key: Mapped[Word] = mapped_column(primary_key=True)
    customer_id: Mapped[int] = mapped_column(
        ForeignKey("customer.id", ondelete="CASCADE"), primary_key=True, index=True
    )


class Racquet(Base):
    """One frame and whom it belongs to."""

    __tablename__ = "racquet"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id", ondelete="SET NULL"), index=True)
    nickname: Mapped[str | None] = mapped_column(PlainText)
    sport: Mapped[Word | None]
    head_size_in2: Mapped[float | None]
    mains_count: Mapped[int | None]
    crosses_count: Mapped[int | None]
    tension_min_lb: Mapped[float | None]
    tension_max_lb: Mapped[float | None]
    frame_notes: Mapped[str | None] = mapped_column(PlainText)
    tag: Mapped[Word | None] = mapped_column(unique=True)


class StringJob(Base):
    """One stringing of one racquet, from drop-off to pick-up, and what its label says."""

    __tablename__ = "string_job"
    __table_args__ = (
        CheckConstraint("status IN ('received', 'strung', 'ready', 'collected', 'cancelled')", name="status"),
        Index(None, "racquet_id", "strung_on", "status"),
        Index(None, "restring_by", "racquet_id"),
        Index(None, "status", "promised_on"),
        Kept,
    )

    id: Mapped[Key]
    racquet_id: Mapped[int] = mapped_column(ForeignKey("racquet.id"))
    tag: Mapped[Word] = mapped_column(unique=True)
    status: Mapped[Word] = mapped_column(default="received")
    received_at: Mapped[dt.datetime]
    strung_at: Mapped[dt.datetime | None]
    ready_at: Mapped[dt.datetime | None]
    collected_at: Mapped[dt.datetime | None]
    cancelled_at: Mapped[dt.datetime | None]
    promised_on: Mapped[dt.date | None]
    mains_material: Mapped[Word | None]
    mains_tension: Mapped[float | None]
    mains_tension_unit: Mapped[Word | None]
    mains_gauge: Mapped[str | None] = mapped_column(PlainText)
    mains_product: Mapped[str | None] = mapped_column(PlainText)
    crosses_material: Mapped[Word | None]
    crosses_tension: Mapped[float | None]
    crosses_tension_unit: Mapped[Word | None]
    crosses_gauge: Mapped[str | None] = mapped_column(PlainText)
    crosses_product: Mapped[str | None] = mapped_column(PlainText)
    catalogue_product_id: Mapped[int | None] = mapped_column(ForeignKey("catalogue_product.id", ondelete="SET NULL"))
    machine: Mapped[Word | None]
    pieces: Mapped[int | None]
    prestretch_percent: Mapped[float | None]
    strung_on: Mapped[dt.date | None]
    strung_on_approx: Mapped[bool] = mapped_column(default=False)
    label_due: Mapped[dt.date | None]
    restring_by: Mapped[dt.date | None]
    window_first: Mapped[dt.date | None]
    window_last: Mapped[dt.date | None]
    approximate: Mapped[bool] = mapped_column(default=False)
    consultation_id: Mapped[int | None] = mapped_column(
        ForeignKey("consultation.id", use_alter=True, ondelete="SET NULL"), index=True
    )
    wish: Mapped[str | None] = mapped_column(PlainText)
    notes: Mapped[str | None] = mapped_column(PlainText)


class Reading(Base):
    """One measurement of a stringbed, with its repeats."""

    __tablename__ = "reading"
    __table_args__ = (CheckConstraint("role IN ('baseline', 'check')", name="role"), Kept)

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    job_id: Mapped[int] = mapped_column(ForeignKey("string_job.id"), index=True)
    role: Mapped[Word]
    kind: Mapped[Word | None]
    unit: Mapped[Word | None]
    instrument: Mapped[str | None] = mapped_column(PlainText)
    values: Mapped[JSONList]
    taken_on: Mapped[dt.date]
    taken_at: Mapped[dt.datetime | None]
    minutes_after_stringing: Mapped[int | None]
    note: Mapped[str | None] = mapped_column(PlainText)


class Rulebook(Base):
    """A rulebook's whole content under its hash, so that an old decision can be made again."""

    __tablename__ = "rulebook"

    hash: Mapped[str] = mapped_column(ShortText(128), primary_key=True)
    created_at: Mapped[dt.datetime]
    content: Mapped[str] = mapped_column(PlainText)


class Consultation(Base):
    """One decision with everything it rested on: immutable but for its links and the erasure of its words."""

    __tablename__ = "consultation"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id", ondelete="SET NULL"), index=True)
    racquet_id: Mapped[int | None] = mapped_column(ForeignKey("racquet.id", ondelete="SET NULL"), index=True)
    job_id: Mapped[int | None] = mapped_column(ForeignKey("string_job.id", ondelete="SET NULL"), index=True)
    conversation_id: Mapped[int | None] = mapped_column(ForeignKey("conversation.id", ondelete="SET NULL"), index=True)
    today: Mapped[dt.date]
    facts: Mapped[JSONObject] = mapped_column(info=UNTRAILED)
    words: Mapped[JSONObject | None] = mapped_column(info=UNTRAILED)
    """The words the facts were said in; apart from the facts, because erasing a customer erases them."""
    decision: Mapped[JSONObject] = mapped_column(info=UNTRAILED)
    rulebook: Mapped[str] = mapped_column(ForeignKey("rulebook.hash"))


class Conversation(Base):
    """A conversation as its events, so that any worker can take the next turn."""

    __tablename__ = "conversation"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    sender_id: Mapped[str] = mapped_column(PlainText, unique=True)
    customer_id: Mapped[int | None] = mapped_column(ForeignKey("customer.id", ondelete="SET NULL"), index=True)
    events: Mapped[JSONList]
    version: Mapped[int]
    updated_at: Mapped[dt.datetime] = mapped_column(index=True)


class League(Base):
    """A league whose seasons decide when strings must be fresh."""

    __tablename__ = "league"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    name: Mapped[Name] = mapped_column(unique=True)
    notes: Mapped[str | None] = mapped_column(PlainText)


class LeagueSeason(Base):
    """One season of a league."""

    __tablename__ = "league_season"
    __table_args__ = (UniqueConstraint("league_id", "starts_on"), Kept)

    id: Mapped[Key]
    league_id: Mapped[int] = mapped_column(ForeignKey("league.id", ondelete="CASCADE"))
    name: Mapped[str | None] = mapped_column(PlainText)
    starts_on: Mapped[dt.date] = mapped_column(index=True)


class LeagueMember(Base):
    """A customer who plays in a league."""

    __tablename__ = "league_member"
    __table_args__ = (UniqueConstraint("league_id", "customer_id"), Kept)

    id: Mapped[Key]
    league_id: Mapped[int] = mapped_column(ForeignKey("league.id", ondelete="CASCADE"))
    customer_id: Mapped[int] = mapped_column(ForeignKey("customer.id", ondelete="CASCADE"), index=True)


class Reminder(Base):
    """The one message that one stringing may cause, and how far its sending has come."""

    __tablename__ = "reminder"
    __table_args__ = (
        CheckConstraint("state IN ('draft', 'queued', 'sending', 'sent', 'failed')", name="state"),
        Index(None, "state", "next_try_at"),
        Kept,
    )

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    job_id: Mapped[int] = mapped_column(ForeignKey("string_job.id"), unique=True)
    due_on: Mapped[dt.date] = mapped_column(index=True)
    state: Mapped[Word] = mapped_column(default="draft")
    text: Mapped[str] = mapped_column(PlainText)
    attempts: Mapped[int] = mapped_column(default=0)
    next_try_at: Mapped[dt.datetime | None]
    claimed_at: Mapped[dt.datetime | None]
    sent_at: Mapped[dt.datetime | None]
    message_id: Mapped[str | None] = mapped_column(PlainText, unique=True)
    error: Mapped[str | None] = mapped_column(PlainText)


class Staff(Base):
    """Somebody who works at the counter."""

    __tablename__ = "staff"
    __table_args__ = (Kept,)

    id: Mapped[Key]
    name: Mapped[Name] = mapped_column(unique=True)
    pin_hash: Mapped[str] = mapped_column(PlainText, info=UNTRAILED)
    role: Mapped[Word]
    active: Mapped[bool] = mapped_column(default=True)


class PracticeCard(Base):
    """How well one trainee knows one row of the rulebook, and when it comes again."""

    __tablename__ = "practice_card"
    __table_args__ = (UniqueConstraint("trainee", "row"), Kept)

    id: Mapped[Key]
    trainee: Mapped[Name]
    row: Mapped[str] = mapped_column(ShortText(100))
    due_at: Mapped[dt.datetime]
    state: Mapped[JSONObject]


class PracticeAnswer(Base):
    """One exercise a trainee answered, and how it was marked."""

    __tablename__ = "practice_answer"
    __table_args__ = (Index(None, "trainee", "id"), Kept)

    id: Mapped[Key]
    created_at: Mapped[dt.datetime]
    trainee: Mapped[Name]
    row: Mapped[str] = mapped_column(ShortText(100))
    exercise: Mapped[JSONObject]
    answer: Mapped[JSONObject]
    marks: Mapped[JSONObject]
    rulebook: Mapped[str] = mapped_column(ShortText(128))


class CatalogueProduct(Base):
    """A string the shop sells, under the shop's own words."""

    __tablename__ = "catalogue_product"
    __table_args__ = (UniqueConstraint("product", "gauge_mm"), Kept)

    id: Mapped[Key]
    product: Mapped[Name]
    material: Mapped[Word]
    gauge_mm: Mapped[float | None]
    note: Mapped[str | None] = mapped_column(PlainText)


class Setting(Base):
    """One of the shop's own choices."""

    __tablename__ = "setting"

    key: Mapped[str] = mapped_column(ShortText(100), primary_key=True)
    value: Mapped[Any] = mapped_column(JSON)


class Attempt(Base):
    """How often something was tried under one key lately, by whichever process; cleared within minutes."""

    __tablename__ = "attempt"

    key: Mapped[str] = mapped_column(ShortText(64), primary_key=True)
    """A hash: neither a name nor an address stands here."""
    moments: Mapped[JSONList]
    """Seconds since 1970, the oldest first."""
    until: Mapped[dt.datetime] = mapped_column(index=True)
    """When all of them are forgotten."""


class AuditEntry(Base):
    """One write: who changed which row when, from what to what; erasing a customer alone empties it."""

    __tablename__ = "audit_entry"
    __table_args__ = (Index(None, "entity", "entity_id"), Index(None, "who", "id"), Kept)

    id: Mapped[Key]
    at: Mapped[dt.datetime]
    who: Mapped[Name]
    unit: Mapped[Word]
    """The unit of work that wrote it: what one person did at once."""
    action: Mapped[Word]
    entity: Mapped[Word]
    entity_id: Mapped[str] = mapped_column(ShortText(128))
    before: Mapped[JSONObject | None]
    after: Mapped[JSONObject | None]
    undoes: Mapped[Word | None] = mapped_column(index=True)
    """The unit that this entry took back."""
