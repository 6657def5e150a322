"""What every repository does: rows in, rows out, never a live object; knows no particular table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import Any, ClassVar, Generic, TypeVar

from sqlalchemy import Select, select
from sqlalchemy.exc import IntegrityError

from storage.audit import UnitSession
from storage.columns import Base
from storage.errors import Conflict, NotFound
from storage.rows import Row

M = TypeVar("M", bound=Base)
R = TypeVar("R", bound=Row)


class Repository(Generic[M, R]):
    """The rows of one table."""

    model: ClassVar[type[Base]]
    row: ClassVar[type[Row]]
    made_here: ClassVar[frozenset[str]] = frozenset({"id", "created_at"})
    """Fields that storage fills in when a row is added, whatever the given row says."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def add(self, row: R) -> R:
        """Store a new row and return it with its number.

        Raises:
            Conflict: when it contradicts what is stored, such as a second row of the same name.
        """
        live = self._new(row)
        self._session.add(live)
        self._flush()
        return self._row(live)

    def add_all(self, rows: Iterable[R]) -> tuple[R, ...]:
        """Store many new rows together, faster than one by one, and return them with their numbers.

        Raises:
            Conflict: when one of them contradicts what is stored; then none is.
        """
        lives = [self._new(row) for row in rows]
        self._session.add_all(lives)
        self._flush()
        return self.to_rows(lives)

    def get(self, key: int | str) -> R:
        """Return the row of that number.

        Raises:
            NotFound: when there is none.
        """
        return self._row(self._live(key))

    def change(self, key: int | str, **values: Any) -> R:
        """Set some fields of a stored row and return it.

        Raises:
            NotFound: when there is no such row.
            Conflict: when the change contradicts what is stored.
        """
        live = self._live(key)
        unknown = set(values) - set(_names(self.row)) | set(values) & self.made_here
        if unknown:
            message = f"{self.model.__tablename__} has no field to change named {', '.join(sorted(unknown))}"
            raise TypeError(message)
        for name, value in values.items():
            setattr(live, name, _storable(value))
        self._flush()
        return self._row(live)

    def all(self) -> tuple[R, ...]:
        """Return every row in the order of storing."""
        return self.rows(self._select().order_by(*self.model.__table__.primary_key))

    def _given(self, row: R) -> dict[str, Any]:
        """Return the columns of a new row."""
        return {name: getattr(row, name) for name in _names(self.row) if name not in self.made_here}

    def _new(self, row: R) -> Base:
        values = self._given(row)
        if "created_at" in self.model.__table__.columns:
            values["created_at"] = self._session.clock()
        return self.model(**{name: _storable(value) for name, value in values.items()})

    def _live(self, key: int | str) -> Any:
        live = self._session.get(self.model, key)
        if live is None:
            raise NotFound(self.model.__tablename__, key)
        return live

    def _flush(self) -> None:
        try:
            self._session.flush()
        except IntegrityError as error:
            name = self.model.__tablename__
            raise Conflict(
                name, None, f"This {name.replace('_', ' ')} contradicts what is stored: {error.orig}."
            ) from error

    def rows(self, query: Select[Any]) -> tuple[R, ...]:
        """Return what a query of this table finds, as rows."""
        return self.to_rows(self._session.scalars(query).all())

    def first(self, query: Select[Any]) -> R | None:
        """Return the first row that a query of this table finds."""
        found = self._session.scalars(query.limit(1)).first()
        return None if found is None else self._row(found)

    def to_rows(self, lives: Iterable[Any]) -> tuple[R, ...]:
        """Return loaded objects as rows."""
        return tuple(self._row(live) for live in lives)

    def _row(self, live: Any) -> R:
        return to_row(live, self.row)  # type: ignore[return-value]

    def _select(self) -> Select[Any]:
        return select(self.model)


def to_row(live: Any, kind: type[R]) -> R:
    """Return a loaded object as a frozen row of the given kind."""
    return kind(**{name: _frozen(getattr(live, name)) for name in _names(kind)})


def columns(model: type[Base], kind: type[Row]) -> list[Any]:
    """Return the columns of a table that a kind of row shows, for lists too long to load object by object."""
    return [getattr(model, name) for name in _names(kind)]


def stored_columns(model: type[Base], kind: type[Row]) -> list[Any]:
    """Return the same columns apart from the model, for a statement that goes past the session's objects."""
    return [model.__table__.columns[name] for name in _names(kind)]


def read(values: Iterator[Any], kind: type[R]) -> R:
    """Return the next values of a result as a row of the given kind."""
    return kind(**{name: _frozen(next(values)) for name in _names(kind)})


def _names(kind: type[Row]) -> tuple[str, ...]:
    return tuple(kind.__dataclass_fields__)


def _frozen(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _storable(value: Any) -> Any:
    return list(value) if isinstance(value, Sequence) and not isinstance(value, str) else value
