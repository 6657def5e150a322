"""One unit of work: all repositories on one transaction, kept only by an explicit commit; knows no use case."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from sqlalchemy.exc import SQLAlchemyError

from storage.audit import UnitSession, undo_last
from storage.errors import explain
from storage.repositories.customers import Customers, Racquets
from storage.repositories.evidence import Consultations, Conversations, Rulebooks
from storage.repositories.jobs import Jobs, Readings
from storage.repositories.reminders import Reminders
from storage.repositories.shop import Catalogue, Leagues, Settings, StaffList
from storage.repositories.trail import Trail
from storage.rows import AuditRow


class UnitOfWork:
    """What one person does at once: everything is kept at `commit`, or nothing is."""

    def __init__(self, session: UnitSession, where: str) -> None:
        self._session = session
        self._where = where
        self.customers = Customers(session)
        self.racquets = Racquets(session)
        self.jobs = Jobs(session)
        self.readings = Readings(session)
        self.consultations = Consultations(session)
        self.conversations = Conversations(session)
        self.rulebooks = Rulebooks(session)
        self.leagues = Leagues(session)
        self.reminders = Reminders(session)
        self.catalogue = Catalogue(session)
        self.settings = Settings(session)
        self.staff = StaffList(session)
        self.trail = Trail(session)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        try:
            self._session.rollback()
        except SQLAlchemyError:
            if error is None:
                raise
        finally:
            self._session.close()
        if isinstance(error, SQLAlchemyError):
            raise explain(error, self._where) from error

    def commit(self) -> None:
        """Keep everything written so far.

        Raises:
            StorageError: when it cannot be kept; then nothing of it is.
        """
        try:
            self._session.commit()
        except SQLAlchemyError as error:
            raise explain(error, self._where) from error

    def undo_last(self, who: str) -> tuple[AuditRow, ...]:
        """Take back what this person did last and return what that changed.

        Raises:
            NotFound: when there is nothing to take back.
            Conflict: when something stored later rests on it.
        """
        return undo_last(self._session, who)
