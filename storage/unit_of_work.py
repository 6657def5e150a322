"""One unit of work: all repositories on one transaction, kept only by an explicit commit; knows no use case."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from sqlalchemy.exc import DBAPIError, SQLAlchemyError

from storage.audit import UnitSession, undo_last, undo_unit
from storage.errors import explain
from storage.measured import MeasuredJobs
from storage.queries import Queries
from storage.repositories.attempts import Attempts
from storage.repositories.customers import Customers, Racquets
from storage.repositories.evidence import Consultations, Conversations, Rulebooks
from storage.repositories.jobs import Jobs, Readings
from storage.repositories.practice import Practice
from storage.repositories.reminders import Reminders
from storage.repositories.shop import Catalogue, Leagues, Settings, StaffList
from storage.repositories.trail import Trail
from storage.rows import AuditRow


class UnitOfWork:
    """What one person does at once: everything is kept at `commit`, or nothing is.

    A Conflict ends the unit: nothing of it can be kept any more, begin another one.
    """

    def __init__(self, session: UnitSession, where: str) -> None:
        self.session = session
        """For this package alone."""
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
        self.practice = Practice(session)
        self.attempts = Attempts(session)
        self.trail = Trail(session)
        self.queries = Queries(session)
        self.measured = MeasuredJobs(session)

    @property
    def id(self) -> str:
        """Name this unit of work, as the audit trail does."""
        return self.session.unit

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        try:
            self.session.rollback()
        except SQLAlchemyError:
            if error is None:
                raise
        finally:
            self.session.close()
        if isinstance(error, DBAPIError):
            raise explain(error, self._where) from error

    def commit(self) -> None:
        """Keep everything written so far.

        Raises:
            StorageError: when it cannot be kept; then nothing of it is.
        """
        try:
            self.session.commit()
        except DBAPIError as error:
            raise explain(error, self._where) from error

    def undo_last(self, who: str) -> tuple[AuditRow, ...]:
        """Take back what this person did last and return what that changed.

        Raises:
            NotFound: when there is nothing to take back.
            Conflict: when something stored later rests on it.
        """
        return undo_last(self.session, who)

    def undo(self, unit: str) -> tuple[AuditRow, ...]:
        """Take back what one unit of work did and return what that changed; where it cannot, nothing is changed.

        Raises:
            NotFound: when there is nothing to take back.
            Conflict: when it was changed since, or something stored later rests on it.
        """
        with self.session.begin_nested():
            return undo_unit(self.session, unit)
