"""The audit trail as rows to read; nothing here writes it."""

from __future__ import annotations

from sqlalchemy import select

from storage import models
from storage.audit import UnitSession, to_row
from storage.rows import AuditRow


class Trail:
    """Who changed what when."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def of(self, entity: str, key: int | str) -> tuple[AuditRow, ...]:
        """Return every entry on one row, the oldest first."""
        entry = models.AuditEntry
        found = self._session.scalars(
            select(entry).where(entry.entity == entity, entry.entity_id == str(key)).order_by(entry.id)
        )
        return tuple(to_row(live) for live in found)

    def latest(self, limit: int = 50, who: str | None = None) -> tuple[AuditRow, ...]:
        """Return the last entries, of one person where one is named, the newest first."""
        entry = models.AuditEntry
        query = select(entry).order_by(entry.id.desc()).limit(limit)
        if who is not None:
            query = query.where(entry.who == who)
        return tuple(to_row(live) for live in self._session.scalars(query))
