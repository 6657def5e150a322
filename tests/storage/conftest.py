"""Real databases to test on: SQLite in memory, SQLite in a file, and a PostgreSQL server of the tests' own."""

from __future__ import annotations

import datetime as dt
import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from sqlalchemy import NullPool, create_engine, text
from sqlalchemy.exc import OperationalError

from storage.database import Store, open_store
from storage.models import Customer
from storage.rows import ConsultationRow, ConversationRow, CustomerRow, LeagueRow, RacquetRow, ReadingRow, StringJobRow

TODAY = dt.date(2026, 5, 4)


@dataclass
class Clock:
    """A clock that a test sets; every look moves it on by a second."""

    now: dt.datetime = field(default_factory=lambda: dt.datetime(2026, 5, 4, 9, 0, tzinfo=dt.UTC))

    def __call__(self) -> dt.datetime:
        """Return the moment a second after the last one."""
        self.now += dt.timedelta(seconds=1)
        return self.now


@pytest.fixture
def clock() -> Clock:
    """A clock that stands at nine on the fourth of May."""
    return Clock()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where a database file may be made."""
    return tmp_path / "shop.sqlite3"


@pytest.fixture
def shop(path: Path, clock: Clock) -> Iterator[Store]:
    """An open SQLite file."""
    with open_store(f"sqlite:///{path}", clock=clock) as opened:
        yield opened


@pytest.fixture(scope="module")
def memory() -> Iterator[Store]:
    """A database in memory that all tests of a file share, for those that try many examples."""
    with open_store("sqlite://", clock=Clock()) as opened:
        yield opened


@pytest.fixture(params=["memory", "file", "postgresql"])
def store(request: pytest.FixtureRequest, path: Path, clock: Clock) -> Iterator[Store]:
    """An open, empty database of each kind."""
    if request.param == "postgresql":
        url = request.getfixturevalue("postgresql")
    else:
        url = "sqlite://" if request.param == "memory" else f"sqlite:///{path}"
    with open_store(url, clock=clock) as opened:
        yield opened


@pytest.fixture
def postgresql(postgresql_server: str) -> str:
    """The address of a PostgreSQL database with empty tables."""
    open_store(postgresql_server).close()
    engine = create_engine(postgresql_server, poolclass=NullPool)
    with engine.begin() as connection:
        tables = ", ".join(table.name for table in Customer.metadata.sorted_tables)
        connection.execute(text(f"TRUNCATE {tables} RESTART IDENTITY CASCADE"))
    return postgresql_server


@pytest.fixture(scope="session")
def postgresql_server() -> Iterator[str]:
    """The address of a PostgreSQL server that lives as long as the tests."""
    with run_postgresql() as url:
        yield url


@contextmanager
def run_postgresql() -> Iterator[str]:
    """Run a PostgreSQL server and give its address; Debian's package is `postgresql`."""
    programs = _server_programs()
    folder = Path(tempfile.mkdtemp(prefix="pg-"))
    # The server refuses to run as root.
    user = "postgres" if os.geteuid() == 0 else None
    if user:
        shutil.chown(folder, user)
    data = folder / "data"
    subprocess.run(
        [programs / "initdb", "-D", data, "-A", "trust", "-U", "counterpull", "--no-sync", "-E", "UTF8"],
        check=True,
        capture_output=True,
        user=user,
        cwd=folder,
    )
    settings = ("fsync=off", "listen_addresses=", f"unix_socket_directories={folder}")
    server = subprocess.Popen(
        [programs / "postgres", "-D", data, *(part for setting in settings for part in ("-c", setting))],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        user=user,
        cwd=folder,
    )
    url = f"postgresql+psycopg://counterpull@/postgres?host={folder}"
    try:
        _await(url)
        yield url
    finally:
        server.terminate()
        server.wait(timeout=30)
        shutil.rmtree(folder)


def _server_programs() -> Path:
    found = shutil.which("initdb")
    places = [Path(found).resolve().parent] if found else sorted(Path("/usr/lib/postgresql").glob("*/bin"))
    if not places:
        pytest.fail("PostgreSQL's server programs are missing; on Debian: apt-get install postgresql")
    return places[-1]


def _await(url: str) -> None:
    engine = create_engine(url, poolclass=NullPool)
    for _ in range(300):
        try:
            with engine.connect():
                return
        except OperationalError:
            time.sleep(0.1)
    pytest.fail("the PostgreSQL server did not start within 30 s")


@dataclass(frozen=True)
class Counter:
    """One customer with one racquet on the bench."""

    customer: CustomerRow
    racquet: RacquetRow
    job: StringJobRow


def bring_racquet(store: Store, name: str = "Marlo Fenwick", **job: object) -> Counter:
    """Store a new customer with a racquet and a stringing of it, in one unit."""
    with store.unit("anna") as unit:
        customer = unit.customers.add(CustomerRow(name=name, phone="(202) 555-0143"))
        racquet = unit.racquets.add(RacquetRow(customer_id=customer.id, nickname="the blue one", sport="tennis"))
        stringing = unit.jobs.add(StringJobRow(racquet_id=racquet.id, **job))
        unit.commit()
    return Counter(customer, racquet, stringing)


@pytest.fixture
def counter(store: Store) -> Counter:
    """One customer with one racquet on the bench, in each kind of database."""
    return bring_racquet(store)


@pytest.fixture
def known(store: Store) -> Counter:
    """A customer of whom something is stored in every table."""
    found = bring_racquet(store, notes="heirloom of Fenwick's aunt", wish="no crosses, says Fenwick")
    with store.unit("anna") as unit:
        unit.customers.change(found.customer.id, email="marlo@fenwick.example", notes="tennis elbow")
        unit.racquets.change(found.racquet.id, nickname="Fenwick blue", frame_notes="Fenwick's scratch")
        unit.readings.add(
            ReadingRow(job_id=found.job.id, role="check", values=(27.0,), taken_on=TODAY, note="Fenwick: feels boardy")
        )
        talk = unit.conversations.save(
            ConversationRow(sender_id="kiosk-1", events=({"text": "it's Marlo Fenwick, just for fun"},))
        )
        unit.conversations.save(ConversationRow(sender_id="phone-2", customer_id=found.customer.id))
        unit.rulebooks.keep("abc123", "rows: []")
        unit.consultations.add(
            ConsultationRow(
                today=TODAY,
                facts={"level": "recreational", "words": {"level": "just for fun, says Fenwick"}},
                decision={"verdict": "play_on"},
                rulebook="abc123",
                job_id=found.job.id,
                conversation_id=talk.id,
            )
        )
        league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
        unit.leagues.join(league.id, found.customer.id)
        unit.reminders.draft(found.job.id, TODAY, "Marlo Fenwick, your strings are due.")
        unit.commit()
    return found
