"""Which edition of the rulebook a shop uses since when, read at no cost where the database is a file; knows no rule."""

from __future__ import annotations

import datetime as dt
import json
import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from storage.places import default_file

KEY = "rulebooks"
"""The setting that holds every switch."""
TEXTS = "rulebook_texts:"
"""With a hash behind it, the setting that holds an edition's files as the shop wrote them."""
SQLITE = "sqlite:///"


@dataclass(frozen=True)
class Switch:
    """One switch to another edition."""

    since: dt.date
    """The first day it holds."""
    rulebook: str | None
    """The edition's hash; None is the rulebook that comes along."""
    who: str
    at: str
    """The moment it was entered, in UTC."""

    def to_dict(self) -> dict[str, Any]:
        """Return the switch as JSON."""
        return {**asdict(self), "since": self.since.isoformat()}


@dataclass(frozen=True)
class StoredEdition:
    """An edition as it is kept."""

    hash: str
    content: str
    """The content of its files as JSON."""


def read_switches(value: Any) -> tuple[Switch, ...]:
    """Return the switches that the setting holds, in the order they were entered."""
    entries: Sequence[Any] = value or ()
    return tuple(Switch(**{**entry, "since": dt.date.fromisoformat(entry["since"])}) for entry in entries)


def in_use(switches: Sequence[Switch], today: dt.date) -> Switch | None:
    """Return the last switch entered that holds on this day; None where none does yet."""
    return next((switch for switch in reversed(switches) if switch.since <= today), None)


def read_edition(url: str | None, today: dt.date) -> StoredEdition | None:
    """Return the edition that is in use on this day, or None for the rulebook that comes along.

    A database that is not there yet is not made; a file is read without opening the whole database.

    Raises:
        StoreUnusable: when there is a database that cannot be read.
    """
    path = _file_of(url)
    if path is not None:
        if not path.exists() or path.stat().st_size == 0:
            return None
        try:
            return _peek(path, today)
        except sqlite3.Error:
            pass  # opened in full it says what is wrong with it, or is brought up to date
    elif url == "sqlite://":
        return None
    return _read_in_full(url, today)


def _file_of(url: str | None) -> Path | None:
    """Return the file of a plain SQLite address, or None for any other."""
    if url is None:
        return default_file()
    plain = url.startswith(SQLITE) and "?" not in url and not url.startswith(f"{SQLITE}file:")
    return Path(url.removeprefix(SQLITE)) if plain and url != SQLITE else None


def _peek(path: Path, today: dt.date) -> StoredEdition | None:
    with closing(sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=5)) as connection:
        found = connection.execute("SELECT value FROM setting WHERE key = ?", (KEY,)).fetchone()
        switch = in_use(read_switches(json.loads(found[0])) if found else (), today)
        if switch is None or switch.rulebook is None:
            return None
        query = "SELECT content FROM rulebook WHERE hash = ?"
        return StoredEdition(switch.rulebook, connection.execute(query, (switch.rulebook,)).fetchone()[0])


def _read_in_full(url: str | None, today: dt.date) -> StoredEdition | None:
    from storage.database import open_store  # noqa: PLC0415 - the database's library takes longer than a decision

    with open_store(url) as store, store.view() as unit:
        switch = in_use(read_switches(unit.settings.value(KEY)), today)
        if switch is None or switch.rulebook is None:
            return None
        return StoredEdition(switch.rulebook, unit.rulebooks.get(switch.rulebook).content)
