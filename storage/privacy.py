"""One customer's data, handed out or erased; knows no law and no use case."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlalchemy import ColumnElement, Select, Update, and_, delete, insert, or_, select, update

from storage import models
from storage.audit import UnitSession
from storage.errors import NotFound
from storage.repositories.base import to_row
from storage.repositories.evidence import Consultations
from storage.rows import (
    AuditRow,
    ConsultationRow,
    ConversationRow,
    CustomerRow,
    LeagueRow,
    RacquetRow,
    ReadingRow,
    ReminderRow,
    Row,
    StringJobRow,
)

if TYPE_CHECKING:
    from storage.database import Store


@dataclass(frozen=True, kw_only=True)
class CustomerExport(Row):
    """Everything that is stored of one customer."""

    customer: CustomerRow
    racquets: tuple[RacquetRow, ...]
    jobs: tuple[StringJobRow, ...]
    readings: tuple[ReadingRow, ...]
    consultations: tuple[ConsultationRow, ...]
    conversations: tuple[ConversationRow, ...]
    reminders: tuple[ReminderRow, ...]
    leagues: tuple[LeagueRow, ...]
    trail: tuple[AuditRow, ...]
    """Who wrote down or changed what of the customer's own data."""


@dataclass(frozen=True, kw_only=True)
class Erasure(Row):
    """What an erasure removed, and what stays without a name."""

    customer_id: int
    conversations_removed: int
    reminders_removed: int
    racquets_kept: int
    jobs_kept: int
    consultations_kept: int


def export_customer(store: Store, customer_id: int) -> CustomerExport:
    """Return everything stored of one customer; `to_dict` gives it as JSON.

    Raises:
        NotFound: when there is no such customer.
    """
    with store.view() as unit:
        own = _Own(customer_id)
        session = unit.session
        customer = unit.customers.get(customer_id)
        rows = _Reader(session)
        return CustomerExport(
            customer=customer,
            racquets=rows.of(models.Racquet, own.racquets, RacquetRow),
            jobs=rows.of(models.StringJob, own.jobs, StringJobRow),
            readings=rows.of(models.Reading, own.readings, ReadingRow),
            consultations=Consultations(session).rows(_pick(models.Consultation, own.consultations)),
            conversations=rows.of(models.Conversation, own.conversations, ConversationRow),
            reminders=rows.of(models.Reminder, own.reminders, ReminderRow),
            leagues=unit.leagues.rows(
                select(models.League)
                .join(models.LeagueMember)
                .where(models.LeagueMember.customer_id == customer_id)
                .order_by(models.League.id)
            ),
            trail=unit.trail.of("customer", customer_id),
        )


def erase_customer(store: Store, customer_id: int, who: str) -> Erasure:
    """Erase one customer for good and return what that touched.

    Name, number, address, notes, conversations, reminders and the words of consultations go, out of the audit
    trail and, on SQLite, out of the file's free pages too. Racquets, stringings, readings and decisions stay, as
    nobody's. Backups made before still hold the customer until rotation removes them.

    Raises:
        NotFound: when there is no such customer.
    """
    with store.unit(who) as unit:
        erased = _erase(unit.session, customer_id)
        unit.commit()
    if store.engine.dialect.name == "sqlite":
        with store.engine.connect() as connection:
            # The log still holds the pages as they were: copy it into the file and empty it.
            raw: Any = connection.connection.driver_connection
            raw.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    return erased


class _Own:
    """Which rows are one customer's, as conditions."""

    def __init__(self, customer_id: int) -> None:
        racquet_ids = select(models.Racquet.id).where(models.Racquet.customer_id == customer_id)
        job_ids = select(models.StringJob.id).where(models.StringJob.racquet_id.in_(racquet_ids))
        self.racquets: ColumnElement[bool] = models.Racquet.customer_id == customer_id
        self.jobs: ColumnElement[bool] = models.StringJob.racquet_id.in_(racquet_ids)
        self.readings: ColumnElement[bool] = models.Reading.job_id.in_(job_ids)
        self.reminders: ColumnElement[bool] = models.Reminder.job_id.in_(job_ids)
        self.consultations: ColumnElement[bool] = or_(
            models.Consultation.customer_id == customer_id,
            models.Consultation.racquet_id.in_(racquet_ids),
            models.Consultation.job_id.in_(job_ids),
        )
        talked_in = select(models.Consultation.conversation_id).where(
            self.consultations, models.Consultation.conversation_id.is_not(None)
        )
        self.conversations: ColumnElement[bool] = or_(
            models.Conversation.customer_id == customer_id, models.Conversation.id.in_(talked_in)
        )


class _Reader:
    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def of(self, model: Any, condition: ColumnElement[bool], kind: type[Any]) -> tuple[Any, ...]:
        """Return the rows of one table that meet a condition, in the order of storing."""
        return tuple(to_row(live, kind) for live in self._session.scalars(_pick(model, condition)))


def _pick(model: Any, condition: ColumnElement[bool]) -> Select[Any]:
    return select(model).where(condition).order_by(model.id)


def _erase(session: UnitSession, customer_id: int) -> Erasure:
    """Erase by plain statements, for those leave no values behind in the audit trail."""
    if session.get(models.Customer, customer_id) is None:
        raise NotFound("customer", customer_id)
    own = _Own(customer_id)
    numbers = {
        "racquet": _numbers(session, models.Racquet, own.racquets),
        "string_job": _numbers(session, models.StringJob, own.jobs),
        "reading": _numbers(session, models.Reading, own.readings),
        "reminder": _numbers(session, models.Reminder, own.reminders),
        "consultation": _numbers(session, models.Consultation, own.consultations),
        "conversation": _numbers(session, models.Conversation, own.conversations),
        "league_member": _numbers(session, models.LeagueMember, models.LeagueMember.customer_id == customer_id),
        "customer": [customer_id],
    }
    for statement in _blanks(numbers):
        session.execute(statement.execution_options(synchronize_session=False))
    for model in (models.Reminder, models.Conversation, models.LeagueMember, models.Customer):
        session.execute(
            delete(model).where(model.id.in_(numbers[model.__tablename__])).execution_options(synchronize_session=False)
        )
    session.expunge_all()
    erased = Erasure(
        customer_id=customer_id,
        conversations_removed=len(numbers["conversation"]),
        reminders_removed=len(numbers["reminder"]),
        racquets_kept=len(numbers["racquet"]),
        jobs_kept=len(numbers["string_job"]),
        consultations_kept=len(numbers["consultation"]),
    )
    session.execute(insert(models.AuditEntry).values(**_entry(session, erased)))
    return erased


def _blanks(numbers: dict[str, list[int]]) -> list[Update]:
    """Return what empties every column that can hold a name, a wish or a word."""
    entry = models.AuditEntry
    mentions = or_(
        *(
            and_(entry.entity == entity, entry.entity_id.in_([str(number) for number in found]))
            for entity, found in numbers.items()
        )
    )
    return [
        update(entry).where(mentions).values(before=None, after=None),
        update(models.Racquet)
        .where(models.Racquet.id.in_(numbers["racquet"]))
        .values(customer_id=None, nickname=None, frame_notes=None),
        update(models.StringJob).where(models.StringJob.id.in_(numbers["string_job"])).values(notes=None, wish=None),
        update(models.Reading).where(models.Reading.id.in_(numbers["reading"])).values(note=None),
        update(models.Consultation)
        .where(models.Consultation.id.in_(numbers["consultation"]))
        .values(customer_id=None, conversation_id=None, words=None),
    ]


def _numbers(session: UnitSession, model: Any, condition: ColumnElement[bool]) -> list[int]:
    return list(session.scalars(select(model.id).where(condition)))


def _entry(session: UnitSession, erased: Erasure) -> dict[str, Any]:
    return {
        "at": session.clock(),
        "who": session.who,
        "unit": session.unit,
        "action": "erase",
        "entity": "customer",
        "entity_id": str(erased.customer_id),
        "before": None,
        "after": erased.to_dict(),
    }
