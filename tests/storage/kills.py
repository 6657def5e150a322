"""Kills a counter at random moments, again and again: whatever it had acknowledged must be on record.

A worker process runs the commands of a day one after the other and says after each that it is done. It is killed
(SIGKILL: no handler, no farewell) somewhere in between; then the database is read without the project's code.
`python -m tests.storage.kills --times 500` is the long run; `--postgresql` runs it on a server of its own.
"""

from __future__ import annotations

import argparse
import io
import os
import random
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing, nullcontext, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session
from sqlalchemy import Connection, NullPool, create_engine, text

from assistant.cli import main
from storage.backup import check
from tests.storage.conftest import run_postgresql

ROOT = Path(__file__).parents[2]
STRUNG, COLLECTED, DUE = "2026-05-04", "2026-05-06", "2026-09-01"
IMPORTED = 40
"""Customers in one list that is taken over."""
STEPS = 9
"""What a worker acknowledges of one customer, at the most."""
FIRST_PAUSE = 0.2
"""Seconds a command takes, until one has been seen to take longer."""
FRESH_EVERY = 20
"""So many kills one database has to bear; then a new one is made, so that kills also hit the making."""


@dataclass
class Post:
    """A mail server that counts the letters each address got."""

    letters: Counter[str] = field(default_factory=Counter)

    async def handle_DATA(self, _: SMTP, __: Session, envelope: Envelope) -> str:  # noqa: N802 - aiosmtpd's name
        """Take a letter, slowly enough to be killed between sending and marking."""
        self.letters.update(envelope.rcpt_tos)
        return "250 taken"


@dataclass(frozen=True)
class Place:
    """Where one worker works."""

    db: str
    folder: Path
    smtp: str


@dataclass
class Tally:
    """What was acknowledged in one database, and what a kill interrupted."""

    done: list[tuple[str, str]] = field(default_factory=list)
    kills: int = 0
    longest: float = FIRST_PAUSE
    """Seconds between two acknowledgements, at the most; on a busy machine everything takes longer, kills included."""
    faults: list[str] = field(default_factory=list)


def work(first: int, folder: Path) -> None:
    """Run a day's commands for one customer after the other, and acknowledge each when it has returned."""
    acknowledge("started", "")
    for number in range(first, first + 1000):
        person = ("--name", f"Player {number}", "--email", f"p{number}@club.example", "--consent")
        racquet = ("--level", "recreational", "--plays", "3", "--frame", "sound", "--mains", "synthetic_gut")
        command("job", "add", *person, *racquet, "--tension", "54", "--notes", f"n{number}", today=STRUNG)
        acknowledge("taken", str(number))
        tag = tag_of(number)
        command("job", "strung", tag, today=STRUNG)
        acknowledge("strung", tag)
        command("reading", tag, "62", "--baseline", "--kind", "deflection", today=STRUNG)
        acknowledge("read", tag)
        command("job", "ready", tag, today=STRUNG)
        command("job", "collect", tag, today=COLLECTED)
        acknowledge("collected", tag)
        command("remind", "draft", today=DUE)
        command("remind", "send", "--at", "10:00", today=DUE)
        acknowledge("reminded", tag)
        listed = folder / f"list-{number}.csv"
        rows = "".join(f"Guest {number} {place},g{number}-{place}@club.example\n" for place in range(IMPORTED))
        listed.write_text(f"name,email\n{rows}")
        command("import", "customers", str(listed), today=DUE)
        acknowledge("imported", str(number))
        if os.environ["COUNTERPULL_DB"].startswith("sqlite"):
            command("backup", str(folder / "backups"), "--keep", "5", today=DUE)
            acknowledge("kept", str(number))


def command(*words: str, today: str) -> None:
    """Run one command as the shell does; one that is refused ends the worker."""
    with redirect_stdout(io.StringIO()):
        code = main([*words, "--today", today])
    if code:
        sys.exit(f"{words} ended with {code}")


def acknowledge(what: str, key: str) -> None:
    """Tell the parent that something is done for good."""
    print(what, key, flush=True)  # noqa: T201 - this line is what the parent waits for


def tag_of(number: int) -> str:
    """Return the tag of a customer's job."""
    with opened(os.environ["COUNTERPULL_DB"]) as connection:
        return str(connection.scalar(text("SELECT tag FROM string_job WHERE notes = :note"), {"note": f"n{number}"}))


def opened(url: str) -> Connection:
    """Return a plain connection."""
    return create_engine(url, poolclass=NullPool).connect()


def kill_once(place: Place, first: int, chance: random.Random, tally: Tally) -> None:
    """Start a worker, kill it at a random moment of a random step, and add what it had acknowledged."""
    env = {
        **os.environ,
        "COUNTERPULL_DB": place.db,
        "COUNTERPULL_SMTP": place.smtp,
        "COUNTERPULL_MAIL_FROM": "shop@club.example",
    }
    words = [sys.executable, "-m", "tests.storage.kills", "--work", str(first), "--folder", str(place.folder)]
    with subprocess.Popen(words, cwd=ROOT, env=env, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as worker:
        assert worker.stdout
        assert worker.stderr
        worker.stdout.readline()
        said = b""
        for _ in range(chance.randrange(STEPS)):
            began = time.monotonic()
            said += worker.stdout.readline()
            tally.longest = max(tally.longest, time.monotonic() - began)
        time.sleep(chance.uniform(0, tally.longest))
        worker.kill()
        said += worker.stdout.read()
        trouble = worker.stderr.read().decode()
        worker.wait()
    tally.kills += 1
    if trouble:
        tally.faults.append(f"the worker said: {trouble[-300:]}")
    for line in said.decode().splitlines(keepends=True):
        if line.endswith("\n"):
            what, _, key = line.strip().partition(" ")
            tally.done.append((what, key))


SEEN = {
    "taken": "SELECT count(*) FROM string_job WHERE notes = 'n' || :key",
    "strung": "SELECT count(*) FROM string_job WHERE tag = :key AND restring_by IS NOT NULL",
    "read": "SELECT count(*) FROM reading JOIN string_job ON string_job.id = job_id WHERE tag = :key",
    "collected": "SELECT count(*) FROM string_job WHERE tag = :key AND status = 'collected'",
    "reminded": "SELECT count(*) FROM reminder JOIN string_job ON string_job.id = job_id "
    "WHERE tag = :key AND state = 'sent'",
    "imported": "SELECT count(*) FROM customer WHERE name LIKE 'Guest ' || :key || ' %'",
}
"""How each acknowledged thing is found again, in SQL of its own."""


def examine(place: Place, post: Post, tally: Tally) -> None:
    """Look for what was acknowledged, for damage, and for letters sent twice."""
    with opened(place.db) as connection:
        if connection.dialect.name == "sqlite":
            if connection.scalar(text("PRAGMA integrity_check")) != "ok":
                tally.faults.append("the database is damaged")
            if connection.execute(text("PRAGMA foreign_key_check")).first():
                tally.faults.append("a row points nowhere")
        for what, key in tally.done:
            if what in SEEN:
                found = connection.scalar(text(SEEN[what]), {"key": key}) or 0
                if found != (IMPORTED if what == "imported" else 1):
                    tally.faults.append(f"{what} {key} is there {found} times")
    tally.faults += [f"{address} was written to {n} times" for address, n in post.letters.items() if n > 1]
    for kept in (place.folder / "backups").glob("*.sqlite3"):
        check(kept)


def run_kills(times: int, folder: Path, server: str | None = None, seed: int = 1) -> list[Tally]:
    """Kill a worker so many times, each database examined after its last kill; returns what was seen.

    Args:
        times: kills.
        folder: where files may be made.
        server: address of an empty PostgreSQL database; None for SQLite files.
        seed: of the random moments.
    """
    chance, tallies = random.Random(seed), list[Tally]()  # noqa: S311 - no secret
    post = Post()
    with closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    controller = Controller(post, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        for number in range(times):
            if number % FRESH_EVERY == 0 and (server is None or not tallies):
                home = folder / f"shop-{number}"
                home.mkdir()
                db = server or f"sqlite:///{home / 'shop.sqlite3'}"
                place, tally = Place(db, home, f"smtp://127.0.0.1:{port}"), Tally()
                tallies.append(tally)
            kill_once(place, 1000 * (number + 1), chance, tally)
            if (number + 1) % FRESH_EVERY == 0 or number + 1 == times:
                examine(place, post, tally)
                if server is None:
                    post.letters.clear()
    finally:
        controller.stop()
    return tallies


def tell(tallies: list[Tally], seconds: float) -> str:
    """Return the figures in a line."""
    done = Counter(what for tally in tallies for what, _ in tally.done)
    kills, faults = sum(tally.kills for tally in tallies), [fault for tally in tallies for fault in tally.faults]
    return f"{kills} kills in {seconds:.0f} s; acknowledged {dict(done)}; lost or broken: {faults or 'none'}"


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--work", type=int)
    parser.add_argument("--folder", type=Path)
    parser.add_argument("--times", type=int, default=500)
    parser.add_argument("--postgresql", action="store_true")
    given = parser.parse_args()
    if given.work is not None:
        work(given.work, given.folder)
    else:
        began = time.monotonic()
        with tempfile.TemporaryDirectory() as made, run_postgresql() if given.postgresql else nullcontext() as url:
            found = run_kills(given.times, Path(made), url)
        print(tell(found, time.monotonic() - began))  # noqa: T201 - the figure is what it is for
        sys.exit(any(tally.faults for tally in found))
