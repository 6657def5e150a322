"""Moving a whole database to another one, of the same kind or another, and proving row by row that it arrived."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from itertools import zip_longest
from typing import Any

from sqlalchemy import Column, Connection, Select, Table, bindparam, func, insert, null, select, text, update
from sqlalchemy.exc import DBAPIError

from storage.columns import Base
from storage.database import Store
from storage.errors import CopyRefused, explain

BATCH = 2000
"""Rows read and written at a time."""
Progress = Callable[[int, int], None]
"""Called with the rows done and the rows there are; a row counts when written and again when compared."""


@dataclass(frozen=True, kw_only=True)
class Copied:
    """What arrived."""

    source: str
    target: str
    """Where the rows were and where they are now, without a password."""
    rows: Mapping[str, int]
    """How many rows of each table were written and read back the same."""


def copy_database(source: Store, target: Store, progress: Progress | None = None) -> Copied:
    """Copy every row into an empty database, read each back, and keep the copy only when all are the same.

    Keys stay, so tags, labels and the audit trail go on meaning what they meant; a number that was given once
    is not given again. The source is read in one transaction: what is written meanwhile is not in the copy.

    Raises:
        CopyRefused: when the target holds rows, or a row does not come back as it was.
        StoreUnusable: when one of the two cannot be read or written.
    """
    tables = Base.metadata.sorted_tables
    try:
        with _reading(source) as old, target.engine.begin() as new:
            _check_empty(new, tables, target.where)
            counts = {table.name: old.scalar(select(func.count()).select_from(table)) or 0 for table in tables}
            count = _counter(2 * sum(counts.values()), progress)
            for table in tables:
                _write(old, new, table, count)
            for table in tables:
                _link(old, new, table)
                _carry_number(old, new, table)
            for table in tables:
                _compare(old, new, table, count)
    except DBAPIError as error:
        raise explain(error, target.where) from error
    return Copied(source=source.where, target=target.where, rows=counts)


def _reading(store: Store) -> Connection:
    """Return a connection whose every look shows the same moment."""
    connection = store.engine.connect()
    if store.engine.dialect.name == "postgresql":
        return connection.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)
    return connection


def _check_empty(new: Connection, tables: list[Table], where: str) -> None:
    for table in tables:
        if new.execute(select(table).limit(1)).first() is not None:
            message = f"{where} is in use already; name an empty database, so that no two shops are mixed."
            raise CopyRefused(where, table.name, message)


def _counter(total: int, progress: Progress | None) -> Callable[[int], None]:
    done = 0

    def count(more: int) -> None:
        nonlocal done
        done += more
        if progress:
            progress(done, total)

    return count


def _ordered(table: Table) -> Select[Any]:
    return select(table).order_by(*table.primary_key.columns)


def _batches(connection: Connection, query: Select[Any]) -> Iterator[list[dict[str, Any]]]:
    for part in connection.execution_options(yield_per=BATCH).execute(query).mappings().partitions(BATCH):
        yield [dict(row) for row in part]


def _late(table: Table) -> list[Column[Any]]:
    """Return the columns that point to a row written only later, because two tables point to each other."""
    return [column for column in table.columns if any(key.use_alter for key in column.foreign_keys)]


def _write(old: Connection, new: Connection, table: Table, count: Callable[[int], None]) -> None:
    late = [column.name for column in _late(table)]
    for rows in _batches(old, _ordered(table)):
        new.execute(insert(table), [row | dict.fromkeys(late) for row in rows])
        count(len(rows))


def _link(old: Connection, new: Connection, table: Table) -> None:
    """Fill in the columns that could not be written at first."""
    (*keys,) = table.primary_key.columns
    for column in _late(table):
        change = update(table).values({column: bindparam("to")})
        for key in keys:
            change = change.where(key == bindparam(f"of_{key.name}"))
        for rows in _batches(old, select(*keys, column).where(column.is_not(null()))):
            new.execute(
                change, [{"to": row[column.name], **{f"of_{key.name}": row[key.name] for key in keys}} for row in rows]
            )


def _carry_number(old: Connection, new: Connection, table: Table) -> None:
    """Let the target go on numbering where the source is."""
    key = table.autoincrement_column
    if key is None:
        return
    last = max(_last_number(old, table, key), old.scalar(select(func.max(key))) or 0)
    if not last:
        return
    if new.dialect.name == "postgresql":
        new.execute(
            text("SELECT setval(pg_get_serial_sequence(:table, :key), :last)"),
            {"table": table.name, "key": key.name, "last": last},
        )
    elif table.dialect_options["sqlite"]["autoincrement"]:
        changed = new.execute(
            text("UPDATE sqlite_sequence SET seq = :last WHERE name = :table"), {"last": last, "table": table.name}
        )
        if not changed.rowcount:
            new.execute(
                text("INSERT INTO sqlite_sequence (name, seq) VALUES (:table, :last)"),
                {"last": last, "table": table.name},
            )


def _last_number(old: Connection, table: Table, key: Column[Any]) -> int:
    """Return the last number given, also to a row that is gone."""
    if old.dialect.name == "postgresql":
        found = old.scalar(
            text("SELECT pg_sequence_last_value(pg_get_serial_sequence(:table, :key)::regclass)"),
            {"table": table.name, "key": key.name},
        )
    elif table.dialect_options["sqlite"]["autoincrement"]:
        found = old.scalar(text("SELECT seq FROM sqlite_sequence WHERE name = :table"), {"table": table.name})
    else:
        found = None
    return int(found or 0)


def _compare(old: Connection, new: Connection, table: Table, count: Callable[[int], None]) -> None:
    """Read both tables in the order of their keys and stop at the first row that differs."""
    sent, arrived = (_batches(connection, _ordered(table)) for connection in (old, new))
    none: list[dict[str, Any]] = []
    for here, there in zip_longest(sent, arrived, fillvalue=none):
        if here != there:
            row = next((one for one, other in zip_longest(here, there) if one != other), None)
            key = {column.name: (row or {}).get(column.name) for column in table.primary_key.columns}
            message = f"{table.name} {key} did not arrive as it was; nothing was kept. Report this as a fault."
            raise CopyRefused(str(new.engine.url.database), table.name, message)
        count(len(here))
