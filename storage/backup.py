"""Copies of the database file, made beside writers, checked, and put back; knows no table."""

from __future__ import annotations

import datetime as dt
import os
import sqlite3
import time
from collections.abc import Mapping
from contextlib import closing, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import make_url
from sqlalchemy.exc import ArgumentError

from storage import schema
from storage.database import BUSY_MS, Store, file_of, open_store
from storage.errors import BackupRefused
from storage.places import default_file

KEPT = 14
"""How many backups a folder keeps."""
_NAME = "counterpull-"
_MOMENT = "%Y%m%d-%H%M%S-%f"


@dataclass(frozen=True, kw_only=True)
class Backup:
    """One copy of the database that passed its check."""

    path: Path
    version: str
    """Version of the database's form."""
    rows: Mapping[str, int]
    """How many rows each table holds."""


@dataclass(frozen=True, kw_only=True)
class Restored:
    """What was put back, and where the database from before is now."""

    backup: Backup
    former: Path | None
    """Copy of what was there before, None where nothing was."""


def back_up(store: Store, folder: Path, moment: dt.datetime, keep: int = KEPT) -> Backup:
    """Copy the open database into a folder beside its writers, check the copy and return it.

    Only a checked copy gets its name; then the oldest beyond `keep` are removed.

    Raises:
        BackupRefused: when the database is on a server, or the copy cannot be written or fails its check.
    """
    if store.engine.dialect.name != "sqlite":
        raise BackupRefused(store.where, "server", f"{store.where} is on a server; back it up with pg_dump.")
    path = folder / f"{_NAME}{moment:{_MOMENT}}.sqlite3"
    part = path.with_suffix(".part")
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        path = _name_after(backups(folder), path)
        os.close(os.open(part, os.O_CREAT | os.O_RDWR | os.O_TRUNC, 0o600))
        expected = _copy_open(store, part)
        copied = check(part)
        if copied.rows != expected:
            raise BackupRefused(str(part), "differs", f"{part} does not hold what the database holds; try again.")
        part.replace(path)
    except (OSError, sqlite3.Error) as error:
        message = f"{path} cannot be written ({error}); check the folder and its free space."
        raise BackupRefused(str(path), "unwritable", message) from error
    finally:
        with suppress(OSError):
            part.unlink()
    for old in backups(folder)[max(keep, 1) :]:
        old.unlink()
    return Backup(path=path, version=copied.version, rows=copied.rows)


def backups(folder: Path) -> tuple[Path, ...]:
    """Return the backups in a folder, the newest first."""
    return tuple(sorted(folder.glob(f"{_NAME}*.sqlite3"), reverse=True))


def _name_after(kept: tuple[Path, ...], path: Path) -> Path:
    """Return the name of a new copy, or the next one after the newest where the clock was set back.

    By its own name the new copy would be the oldest, and the first to be removed.
    """
    if not kept or kept[0].name < path.name:
        return path
    with suppress(ValueError):
        newest = dt.datetime.strptime(kept[0].stem, f"{_NAME}{_MOMENT}").replace(tzinfo=dt.UTC)
        return path.with_name(f"{_NAME}{newest + dt.timedelta(microseconds=1):{_MOMENT}}.sqlite3")
    return path


def check(path: Path) -> Backup:
    """Read a backup through and return what it holds.

    Raises:
        BackupRefused: missing, damaged, foreign or newer.
    """
    if not path.is_file():
        raise BackupRefused(str(path), "missing", f"{path} is not there; name a backup file.")
    try:
        with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as connection:
            return _examine(connection, path)
    except sqlite3.Error as error:
        message = f"{path} is damaged or no database ({error}); take another backup."
        raise BackupRefused(str(path), "damaged", message) from error


def restore(url: str | None, path: Path, moment: dt.datetime) -> Restored:
    """Put a backup in the place of the database at an address, and return what was done.

    What is there now is copied aside first. Programs that have the database open see the restored rows from
    their next unit of work on.

    Raises:
        BackupRefused: when the backup is missing, damaged, foreign or newer, or the address is no SQLite file.
        StoreUnusable: when the restored database cannot be opened.
    """
    target = _target(url)
    backup = check(path)
    if target.exists() and target.samefile(path):
        raise BackupRefused(str(path), "same", f"{path} is the database itself; name a backup of it.")
    try:
        former = _set_aside(target, moment) if target.exists() and target.stat().st_size else None
        os.close(os.open(target, os.O_CREAT | os.O_RDWR, 0o600))
        with (
            closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as source,
            closing(sqlite3.connect(target, timeout=BUSY_MS / 1000)) as place,
        ):
            _copy(source, place)
    except (OSError, sqlite3.Error) as error:
        message = f"{target} cannot be written ({error}); close the other programs that use it and try again."
        raise BackupRefused(str(target), "unwritable", message) from error
    open_store(f"sqlite:///{target}").close()
    return Restored(backup=backup, former=former)


def _copy(source: sqlite3.Connection, place: sqlite3.Connection) -> None:
    """Copy one database over another; left alone, the copying would wait for another writer for ever."""
    patience = time.monotonic() + BUSY_MS / 1000

    def wait(status: int, _: int, __: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > patience:
            message = "database is locked"
            raise sqlite3.OperationalError(message)

    source.backup(place, progress=wait, sleep=0.02)


def _copy_open(store: Store, part: Path) -> dict[str, int]:
    """Copy inside one read transaction, so that the rows counted are the rows copied."""
    with store.engine.connect() as connection:
        connection.exec_driver_sql("SELECT count(*) FROM alembic_version")
        source: Any = connection.connection.driver_connection
        expected = _count(source)
        with closing(sqlite3.connect(part)) as copy:
            _copy(source, copy)
            # A file that is carried away must be complete by itself, without a log beside it.
            copy.execute("PRAGMA journal_mode = DELETE")
        return expected


def _examine(connection: sqlite3.Connection, path: Path) -> Backup:
    verdict = connection.execute("PRAGMA integrity_check").fetchone()[0]
    if verdict != "ok" or connection.execute("PRAGMA foreign_key_check").fetchone():
        raise BackupRefused(str(path), "damaged", f"{path} is damaged; take another backup.")
    rows = _count(connection)
    if schema.VERSION_TABLE not in rows:
        raise BackupRefused(str(path), "foreign", f"{path} is another program's database; name a backup of this one.")
    version = connection.execute(f"SELECT version_num FROM {schema.VERSION_TABLE}").fetchone()  # noqa: S608
    if version is None or version[0] not in schema.revisions():
        message = f"{path} was made by a newer version of this program; install that version to restore it."
        raise BackupRefused(str(path), "newer", message)
    return Backup(path=path, version=version[0], rows=rows)


def _count(connection: sqlite3.Connection) -> dict[str, int]:
    names = connection.execute("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite%'")
    return {
        name: connection.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0]  # noqa: S608
        for (name,) in names.fetchall()
    }


def _target(url: str | None) -> Path:
    if url is None:
        default_file().parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        return default_file()
    try:
        path = file_of(make_url(url))
    except ArgumentError:
        path = None
    if path is None:
        raise BackupRefused(url, "server", "Only an SQLite file can be restored into; on a server use its own tools.")
    return path


def _set_aside(target: Path, moment: dt.datetime) -> Path:
    """Copy the present database to a name of its own; one too damaged to be copied is moved there as it is."""
    former = target.with_name(f"{target.stem}.before-restore-{moment:%Y%m%d-%H%M%S-%f}{target.suffix}")
    os.close(os.open(former, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
    try:
        with (
            closing(sqlite3.connect(target, timeout=BUSY_MS / 1000)) as source,
            closing(sqlite3.connect(former)) as copy,
        ):
            _copy(source, copy)
            copy.execute("PRAGMA journal_mode = DELETE")
    except sqlite3.DatabaseError as error:
        if "locked" in str(error) or "busy" in str(error):
            former.unlink()
            raise
        target.replace(former)
        for log in ("-wal", "-shm"):
            if target.with_name(target.name + log).exists():
                target.with_name(target.name + log).replace(former.with_name(former.name + log))
    return former
