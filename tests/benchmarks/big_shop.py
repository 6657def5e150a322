"""A shop of many years in one SQLite file, written past the project's own way in, which would take hours."""

from __future__ import annotations

import datetime as dt
import random
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from itertools import count
from pathlib import Path

from storage import spoken
from storage.database import Store, open_store

TODAY = dt.date(2026, 5, 4)
SYLLABLES = re.findall(
    "[a-z]+",
    "ba bel cor da den el fa fen gar hol il jo kan lo mar nor o pel quin ro sten ta ul ver wick yan zo",
)


@dataclass(frozen=True)
class Size:
    """How many of each a shop has."""

    customers: int
    racquets: int
    jobs: int


@dataclass(frozen=True)
class BigShop:
    """A shop of many years with its database open."""

    store: Store
    names: list[str]
    phones: list[str]
    tags: list[str]


@contextmanager
def open_big_shop(path: Path, size: Size) -> Iterator[BigShop]:
    """Fill a new file with all its years and open it; names follow each other in frequency as in life (Zipf)."""
    chance = random.Random(7)  # noqa: S311
    url = f"sqlite:///{path}"
    open_store(url).close()
    names, phones, tags = _people(chance, size.customers), _phones(chance, size.customers), _tags(size.jobs)
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA synchronous = OFF")
        _fill_people(connection, size, names, phones)
        _fill_jobs(connection, size, chance, tags)
        connection.commit()
    with open_store(url) as store:
        yield BigShop(store, names, phones, tags)


def _words(chance: random.Random, number: int, syllables: int) -> list[str]:
    found: set[str] = set()
    while len(found) < number:
        found.add("".join(chance.choices(SYLLABLES, k=syllables)).capitalize())
    return sorted(found)


def _people(chance: random.Random, number: int) -> list[str]:
    first, last = _words(chance, 400, 2), _words(chance, 9000, 3)
    chance.shuffle(first)
    chance.shuffle(last)
    return [
        f"{one} {other}"
        for one, other in zip(
            chance.choices(first, [1 / (rank + 3) for rank in range(len(first))], k=number),
            chance.choices(last, [1 / (rank + 10) for rank in range(len(last))], k=number),
            strict=True,
        )
    ]


def _phones(chance: random.Random, number: int) -> list[str]:
    return [f"+1 202 55{chance.randrange(10)} {chance.randrange(10_000):04}" for _ in range(number)]


def _tags(number: int) -> list[str]:
    found: set[str] = set()
    while len(found) < number:
        found.add(spoken.make_tag())
    return sorted(found)


def _fill_people(connection: sqlite3.Connection, size: Size, names: list[str], phones: list[str]) -> None:
    then = "2020-01-01 00:00:00.000000"
    connection.executemany(
        "INSERT INTO customer (id, created_at, name, name_key, phone, phone_tail, consent_to_contact)"
        " VALUES (?, ?, ?, ?, ?, ?, 1)",
        (
            (number, then, name, spoken.fold(name), phone, spoken.phone_tail(phone))
            for number, name, phone in zip(count(1), names, phones, strict=False)
        ),
    )
    connection.executemany(
        "INSERT INTO customer_key (key, customer_id) VALUES (?, ?)",
        ((key, number) for number, name in enumerate(names, 1) for key in spoken.keys(name)),
    )
    connection.executemany(
        "INSERT INTO racquet (id, created_at, customer_id) VALUES (?, ?, ?)",
        ((number, then, (number - 1) % size.customers + 1) for number in range(1, size.racquets + 1)),
    )


def _fill_jobs(connection: sqlite3.Connection, size: Size, chance: random.Random, tags: list[str]) -> None:
    """Every racquet is strung every four months or so, the last time within the last half year."""

    def jobs() -> Iterator[tuple[object, ...]]:
        for number, tag in enumerate(tags, 1):
            racquet, turn = (number - 1) % size.racquets + 1, (number - 1) // size.racquets
            strung = TODAY - dt.timedelta(days=(size.jobs // size.racquets - turn) * 120 + chance.randrange(120))
            status = "received" if number > size.jobs - 60 else "collected"
            due = strung + dt.timedelta(days=120)
            yield (number, racquet, tag, status, f"{strung} 09:00:00.000000", strung.isoformat(), due.isoformat())

    connection.executemany(
        "INSERT INTO string_job (id, racquet_id, tag, status, received_at, strung_on, restring_by,"
        " strung_on_approx, approximate) VALUES (?, ?, ?, ?, ?, ?, ?, 0, 0)",
        jobs(),
    )
