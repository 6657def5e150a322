"""The trail of every write, and the taking back of the last one; knows no screen and no use case."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from sqlalchemy import Date, Table, event, insert, null, or_, select
from sqlalchemy import inspect as look_into
from sqlalchemy.orm import InstanceState, Session

from storage import models
from storage.columns import UTC, Base
from storage.errors import Conflict, NotFound
from storage.rows import AuditRow, JobStatus

UNTRAILED_TABLES = frozenset(
    {"attempt", "audit_entry", "conversation", "customer_key", "practice_answer", "practice_card", "rulebook"}
)
"""Tables without a trail: conversations and exercises are logs themselves, a rulebook stands under its hash."""
_CLASSES: Mapping[str, type[Base]] = {mapper.class_.__tablename__: mapper.class_ for mapper in Base.registry.mappers}
LOOSE = frozenset({"customer_key", "conversation"})
"""Tables whose rows let go of what is removed: search keys go with it, a talk forgets whom it was with."""
_FIXED = ("facts", "decision", "rulebook", "today", "created_at")


class UnitSession(Session):
    """A session that knows who writes and when, and leaves an audit entry for every row it writes."""

    def __init__(self, *args: Any, who: str, clock: Callable[[], dt.datetime], **options: Any) -> None:
        super().__init__(*args, expire_on_commit=False, **options)
        self.who = who
        self.clock = clock
        self.unit = uuid.uuid4().hex
        self.undoes: str | None = None


@event.listens_for(UnitSession, "after_flush")
def _record(session: UnitSession, _: object) -> None:
    entries = [_entry(session, "create", row, None, _values(row)) for row in session.new if _trailed(row)]
    for row in session.dirty:
        before, after = _changes(row)
        if after and _trailed(row):
            entries.append(_entry(session, "update", row, before, after))
    entries += [_entry(session, "remove", row, _values(row), None) for row in session.deleted if _trailed(row)]
    if entries:
        session.connection().execute(insert(models.AuditEntry), entries)


def record_created(session: UnitSession, model: type[Base], rows: Sequence[Mapping[str, Any]]) -> None:
    """Leave the entries of rows that were stored by a plain statement, which the session does not see."""
    (key,) = look_into(model).primary_key
    trailed = [column.key for column in look_into(model).columns if column.info.get("trail", True)]
    entries = [
        {
            "at": session.clock(),
            "who": session.who,
            "unit": session.unit,
            "action": "create",
            "entity": model.__tablename__,
            "entity_id": str(row[key.name]),
            "before": None,
            "after": {name: _plain(row[name]) for name in trailed},
            "undoes": session.undoes,
        }
        for row in rows
    ]
    if entries:
        session.execute(insert(models.AuditEntry), entries)


@event.listens_for(models.Consultation, "before_update")
def _refuse_rewriting(_: object, __: object, consultation: models.Consultation) -> None:
    state: InstanceState[models.Consultation] = look_into(consultation)
    changed = [name for name in _FIXED if state.attrs[name].history.has_changes()]
    if state.attrs["words"].history.has_changes() and consultation.words is not None:
        changed.append("words")
    if changed:
        raise Conflict(
            "consultation",
            consultation.id,
            f"A stored consultation never changes ({', '.join(changed)}); decide again and store that.",
        )


@event.listens_for(models.Consultation, "before_delete")
def _refuse_removal(_: object, __: object, consultation: models.Consultation) -> None:
    raise Conflict(
        "consultation", consultation.id, "A stored consultation is never removed; erase the customer instead."
    )


def undo_last(session: UnitSession, who: str) -> tuple[AuditRow, ...]:
    """Take back the last unit of work of one person and return the entries this left, newest last.

    A created row is removed where nothing rests on it, a job is cancelled otherwise; a changed row gets its
    former values; a removed row comes back. A consultation stays, without its links.

    Raises:
        NotFound: when this person has nothing left to take back.
        Conflict: when somebody changed the same row since, or something rests on all of it.
    """
    return undo_unit(session, _last_unit(session, who))


def undo_unit(session: UnitSession, unit: str) -> tuple[AuditRow, ...]:
    """Take back one unit of work and return the entries this left, newest last.

    Raises:
        NotFound: when it left no entry, or was taken back already.
        Conflict: when somebody changed the same row since, or something rests on all of it.
    """
    trail = models.AuditEntry
    if (
        session.scalar(select(trail.id).where(trail.unit == unit).limit(1)) is None
        or session.scalar(select(trail.id).where(trail.undoes == unit).limit(1)) is not None
    ):
        raise NotFound("audit_entry", unit)
    session.undoes = unit
    for entry in session.scalars(
        select(models.AuditEntry).where(models.AuditEntry.unit == unit).order_by(models.AuditEntry.id.desc())
    ).all():
        _revert(session, entry)
        session.flush()
    session.undoes = None
    left = session.scalars(
        select(models.AuditEntry)
        .where(models.AuditEntry.undoes == unit, models.AuditEntry.unit == session.unit)
        .order_by(models.AuditEntry.id)
    ).all()
    if not left:
        raise Conflict("audit_entry", unit, "It cannot be taken back, for something stored later rests on it.")
    return tuple(to_row(entry) for entry in left)


def to_row(entry: models.AuditEntry) -> AuditRow:
    """Return the entry as a frozen row."""
    return AuditRow(
        id=entry.id,
        at=entry.at,
        who=entry.who,
        unit=entry.unit,
        action=entry.action,
        entity=entry.entity,
        entity_id=entry.entity_id,
        before=entry.before,
        after=entry.after,
        undoes=entry.undoes,
    )


def _last_unit(session: UnitSession, who: str) -> str:
    entry = models.AuditEntry
    taken_back = select(entry.undoes).where(entry.undoes.is_not(None))
    unit = session.scalar(
        select(entry.unit)
        .where(
            entry.who == who,
            entry.undoes.is_(None),
            entry.action.in_(("create", "update", "remove")),
            entry.entity != "consultation",
            entry.unit.not_in(taken_back),
            or_(entry.before.is_not(null()), entry.after.is_not(null())),  # what is erased cannot be taken back
        )
        .order_by(entry.id.desc())
        .limit(1)
    )
    if unit is None:
        raise NotFound("audit_entry", who)
    return unit


def _revert(session: UnitSession, entry: models.AuditEntry) -> None:
    if entry.before is None and entry.after is None:
        raise Conflict(entry.entity, entry.entity_id, "It was erased since, so it cannot be taken back.")
    kind = _CLASSES[entry.entity]
    if entry.action == "remove":
        session.add(_revive(kind, entry.before or {}))
        return
    row = session.get(kind, _key(kind, entry.entity_id))
    if row is None or (entry.entity == "consultation" and entry.action == "create"):
        _cut_links(row)
        return
    now = _values(row)
    if any(now.get(name) != value for name, value in (entry.after or {}).items()):
        raise Conflict(entry.entity, entry.entity_id, "It was changed again since, so it cannot be taken back.")
    if entry.action == "update":
        _assign(row, entry.before or {})
    elif not _referred_to(session, row):
        session.delete(row)
    elif isinstance(row, models.StringJob):
        row.status = JobStatus.CANCELLED
        row.cancelled_at = session.clock()


def _cut_links(row: Base | None) -> None:
    if isinstance(row, models.Consultation):
        row.customer_id = row.racquet_id = row.job_id = None


def _referred_to(session: UnitSession, row: Base) -> bool:
    """Tell whether any other row points at this one."""
    own: Table = row.__table__  # type: ignore[assignment]
    for table in Base.metadata.sorted_tables:
        if table.name in LOOSE:
            continue
        for column in table.columns:
            for key in column.foreign_keys:
                if key.column.table is own:
                    held = getattr(row, key.column.name)
                    if session.scalar(select(column).where(column == held).limit(1)) is not None:
                        return True
    return False


def _revive(kind: type[Base], values: Mapping[str, Any]) -> Base:
    row = kind()
    _assign(row, values)
    return row


def _assign(row: Base, values: Mapping[str, Any]) -> None:
    columns = look_into(type(row)).columns
    for name, value in values.items():
        setattr(row, name, _from_json(columns[name].type, value))


def _key(kind: type[Base], text: str) -> Any:
    (column,) = look_into(kind).primary_key
    return column.type.python_type(text)


def _entry(session: UnitSession, action: str, row: Base, before: Any, after: Any) -> dict[str, Any]:
    (key,) = look_into(type(row)).primary_key_from_instance(row)
    return {
        "at": session.clock(),
        "who": session.who,
        "unit": session.unit,
        "action": action,
        "entity": row.__tablename__,
        "entity_id": str(key),
        "before": before,
        "after": after,
        "undoes": session.undoes,
    }


def _trailed(row: Base) -> bool:
    return row.__tablename__ not in UNTRAILED_TABLES


def _values(row: Base) -> dict[str, Any]:
    return {
        column.key: _plain(getattr(row, column.key))
        for column in look_into(type(row)).columns
        if column.info.get("trail", True)
    }


def _changes(row: Base) -> tuple[dict[str, Any], dict[str, Any]]:
    before: dict[str, Any] = {}
    after: dict[str, Any] = {}
    state: InstanceState[Base] = look_into(row)
    for column in look_into(type(row)).columns:
        history = state.attrs[column.key].history
        if history.has_changes() and column.info.get("trail", True):
            before[column.key] = _plain(history.deleted[0]) if history.deleted else None
            after[column.key] = _plain(getattr(row, column.key))
    return before, after


def _plain(value: Any) -> Any:
    return value.isoformat() if isinstance(value, dt.date) else value


def _from_json(kind: object, value: Any) -> Any:
    if value is None:
        return None
    if isinstance(kind, UTC):
        return dt.datetime.fromisoformat(value)
    return dt.date.fromisoformat(value) if isinstance(kind, Date) else value
