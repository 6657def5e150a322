"""Opening the database: address, connection settings, version; knows no table but the version's."""

from __future__ import annotations

import datetime as dt
import os
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from sqlalchemy import URL, Connection, Engine, StaticPool, create_engine, event, make_url
from sqlalchemy.exc import ArgumentError, DBAPIError, DisconnectionError, NoSuchModuleError

from storage import schema
from storage.audit import UnitSession
from storage.errors import StoreUnusable, explain
from storage.places import default_file
from storage.unit_of_work import UnitOfWork

IDLE_SECONDS = 1.0
"""A connection to a server used within this time is taken to stand: asking would cost each turn a journey."""
BUSY_MS = 5000
"""How long a writer waits for another one."""


def now_utc() -> dt.datetime:
    """Return this moment, in UTC."""
    return dt.datetime.now(dt.UTC)


class Store:
    """An open database; hands out units of work, to any thread."""

    def __init__(self, engine: Engine, clock: Callable[[], dt.datetime]) -> None:
        self.engine = engine
        self.where = place_of(engine.url)
        """The file or the server, without a password."""
        self._clock = clock
        self._writing = engine.execution_options(counterpull_begin="BEGIN IMMEDIATE")
        server = engine.url.get_backend_name() != "sqlite"
        self._glancing = engine.execution_options(isolation_level="AUTOCOMMIT") if server else engine
        # One memory database is one connection: its units take turns.
        self._turn = threading.Lock() if isinstance(engine.pool, StaticPool) else None

    @contextmanager
    def unit(self, who: str = "counter") -> Iterator[UnitOfWork]:
        """Open a unit of work in which `who` may write; what is not committed is rolled back.

        On SQLite it holds the one write lock from its first statement on, so that what it read cannot change
        before it writes: keep it short, and ask nobody anything inside it.

        Raises:
            StorageError: when the database refuses; the text says why.
        """
        with self._exclusively(), UnitOfWork(self._session(self._writing, who), self.where) as unit:
            yield unit

    @contextmanager
    def view(self) -> Iterator[UnitOfWork]:
        """Open a unit of work for reading only: it waits for no writer and nothing it writes is kept."""
        with self._exclusively(), UnitOfWork(self._session(self.engine, "reader"), self.where) as unit:
            yield unit

    @contextmanager
    def glance(self) -> Iterator[UnitOfWork]:
        """Open a unit of work for one single question: on a server it needs no transaction."""
        with self._exclusively(), UnitOfWork(self._session(self._glancing, "reader"), self.where) as unit:
            yield unit

    @property
    def in_memory(self) -> bool:
        """True where no other process can open what this one wrote."""
        return self._turn is not None

    def close(self) -> None:
        """Let go of every connection."""
        self.engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None) -> None:
        self.close()

    def _session(self, engine: Engine, who: str) -> UnitSession:
        return UnitSession(engine, who=who, clock=self._clock)

    @contextmanager
    def _exclusively(self) -> Iterator[None]:
        if self._turn is None:
            yield
            return
        if not self._turn.acquire(timeout=BUSY_MS / 1000):
            raise StoreUnusable(
                self.where, "locked", "Another unit of work is open on the memory database; end it first."
            )
        try:
            yield
        finally:
            self._turn.release()


def open_store(
    url: str | None = None, *, synchronous: str = "FULL", clock: Callable[[], dt.datetime] = now_utc
) -> Store:
    """Open the database, bring it to this version's form if it is new or older, and return it.

    Args:
        url: an SQLAlchemy address; None is an SQLite file in the user's data folder, "sqlite://" is memory.
        synchronous: SQLite's promise at commit. FULL is on disk when commit returns; NORMAL may lose the last
            commits when the power fails, though nothing is damaged. Measured on a virtual disk, 300 commits of
            one reading each: FULL 0.40 ms, NORMAL 0.10 ms at the median. A counter commits a few times a
            minute, so a reading that was confirmed is never lost for 0.3 ms.
        clock: what time it is, in UTC, for the moments in the rows.

    Raises:
        StoreUnusable: newer, foreign, damaged, locked, read-only, missing, unreachable or unknown to its server.
    """
    address = _address(url)
    engine = _engine(address, synchronous)
    where = place_of(engine.url)
    try:
        schema.bring_up_to_date(engine, where)
    except DBAPIError as error:
        engine.dispose()
        raise explain(error, where) from error
    except BaseException:
        engine.dispose()
        raise
    return Store(engine, clock)


def file_of(url: URL) -> Path | None:
    """Return the SQLite file an address names, or None for memory and servers."""
    if url.get_backend_name() != "sqlite" or not url.database or url.database == ":memory:":
        return None
    return Path(url.database.removeprefix("file:"))


def missing_file(url: str | None) -> Path | None:
    """Return the SQLite file an address names when it is not there; None when it is, or the address names no file."""
    path = file_of(_address(url))
    return path if path and not path.exists() else None


def place_of(url: URL) -> str:
    """Return the address as a person may read it: the file, or the server without a password."""
    path = file_of(url)
    return str(path) if path else url.render_as_string(hide_password=True)


def _address(url: str | None) -> URL:
    if url is None:
        path = default_file()
        try:
            path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        except OSError as error:
            message = f"The folder {path.parent} cannot be made ({error.strerror}); name another file with --db."
            raise StoreUnusable(str(path), "read_only", message) from error
        return URL.create("sqlite", database=str(path))
    try:
        return make_url(url)
    except ArgumentError as error:
        message = f"{url!r} is no database address; write sqlite:///FILE or postgresql+psycopg://USER@HOST/NAME."
        raise StoreUnusable(url, "driver", message) from error


def _engine(url: URL, synchronous: str) -> Engine:
    options: dict[str, Any] = {}
    if url.get_backend_name() == "sqlite":
        path = file_of(url)
        if path is None:
            options = {"poolclass": StaticPool, "connect_args": {"check_same_thread": False}}
        else:
            _guard_file(path)
    try:
        engine = create_engine(url, **options)
    except (NoSuchModuleError, ImportError) as error:
        message = f"No driver for {url.drivername}; install it, for PostgreSQL: pip install 'counterpull[postgres]'."
        raise StoreUnusable(place_of(url), "driver", message) from error
    if url.get_backend_name() == "sqlite":
        _tune(engine, synchronous)
    else:
        _look_after(engine)
    return engine


def _look_after(engine: Engine) -> None:
    """Ask a connection to a server that has lain idle whether it still stands, before somebody's turn rests on it."""

    @event.listens_for(engine, "checkin")
    def _lay_down(_: object, record: Any) -> None:
        record.info["since"] = time.monotonic()

    @event.listens_for(engine, "checkout")
    def _take_up(connection: Any, record: Any, _: object) -> None:
        if time.monotonic() - record.info.get("since", time.monotonic()) < IDLE_SECONDS:
            return
        try:
            engine.dialect.do_ping(connection)
        except engine.dialect.loaded_dbapi.Error as error:
            raise DisconnectionError from error  # the pool takes another one


def _guard_file(path: Path) -> None:
    """Refuse what is no file, and make a new file that only its owner may read: it holds names and numbers."""
    if path.is_dir():
        raise StoreUnusable(str(path), "foreign", f"{path} is a folder; name a file.")
    if path.exists():
        if not os.access(path, os.W_OK) or not os.access(path.parent, os.W_OK):
            message = f"{path} cannot be written; give this user the right to write the file and its folder."
            raise StoreUnusable(str(path), "read_only", message)
        return
    try:
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except PermissionError as error:
        message = f"{path} cannot be made; give this user the right to write the folder {path.parent}."
        raise StoreUnusable(str(path), "read_only", message) from error
    except OSError as error:
        message = f"{path} cannot be made ({error.strerror}); name a file in a folder that exists."
        raise StoreUnusable(str(path), "missing", message) from error


def _tune(engine: Engine, synchronous: str) -> None:
    """Set up every SQLite connection.

    WAL lets readers read beside a writer. Foreign keys are off unless asked for. The driver must begin no
    transaction of its own, or what a unit read could be stale when it writes.
    """

    @event.listens_for(engine, "connect")
    def _connect(connection: Any, _: object) -> None:
        connection.isolation_level = None
        cursor = connection.cursor()
        cursor.execute(f"PRAGMA busy_timeout = {BUSY_MS}")
        cursor.execute("PRAGMA foreign_keys = ON")
        if cursor.execute("PRAGMA journal_mode").fetchone()[0] not in ("wal", "memory"):
            cursor.execute("PRAGMA journal_mode = WAL")
        cursor.execute(f"PRAGMA synchronous = {synchronous}")
        cursor.execute("PRAGMA secure_delete = ON")  # what is erased leaves no bytes in free pages
        cursor.execute("PRAGMA fullfsync = ON")  # macOS alone: there a plain fsync stops at the drive's cache
        cursor.close()

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        connection.exec_driver_sql(connection.get_execution_options().get("counterpull_begin", "BEGIN"))
