"""The form of the database: which version it has, and bringing it to this one; knows no row."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from storage.errors import StoreUnusable

FOLDER = Path(__file__).parent / "migrations"
VERSION_TABLE = "alembic_version"
_ONE_AT_A_TIME = 7_410_221
"""Number of the lock under which PostgreSQL lets one program at a time change the form."""


def revisions() -> tuple[str, ...]:
    """Return the versions this program knows, the oldest first: the numbers its migration files begin with."""
    return tuple(sorted(path.name.split("_")[0] for path in (FOLDER / "versions").glob("[0-9]*.py")))


def stored_version(connection: Connection) -> str | None:
    """Return the database's version, or None when it has no table at all.

    Raises:
        StoreUnusable: when it holds another program's tables.
    """
    tables = set(inspect(connection).get_table_names())
    if VERSION_TABLE in tables:
        found: str | None = connection.scalar(text(f"SELECT version_num FROM {VERSION_TABLE}"))  # noqa: S608
        if found is not None:
            return found
        tables.remove(VERSION_TABLE)
    if tables:
        where = connection.engine.url.render_as_string(hide_password=True)
        raise StoreUnusable(where, "foreign", f"{where} holds another program's tables; name another database.")
    return None


def bring_up_to_date(engine: Engine, where: str) -> None:
    """Create the tables in an empty database, or change an older one to this version.

    Raises:
        StoreUnusable: when a newer program wrote the database, or another one altogether.
    """
    known = revisions()
    with engine.connect() as connection:
        if _judge(stored_version(connection), known, where) == known[-1]:
            return
    # Alembic takes longer to import than an up-to-date database takes to open.
    from alembic import command  # noqa: PLC0415
    from alembic.config import Config  # noqa: PLC0415

    with engine.connect() as connection:
        _alone(connection)
        if _judge(stored_version(connection), known, where) != known[-1]:
            settings = Config()
            settings.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
            settings.set_main_option("path_separator", "os")
            settings.attributes["connection"] = connection
            command.upgrade(settings, "head")
        connection.commit()


def _judge(stored: str | None, known: tuple[str, ...], where: str) -> str | None:
    if stored is None or stored in known:
        return stored
    message = f"{where} was written by a newer version of this program ({stored}); install that version to open it."
    raise StoreUnusable(where, "newer", message)


def _alone(connection: Connection) -> None:
    """Begin the change so that a second program that opens the same new database waits, and then finds it done."""
    if connection.dialect.name == "sqlite":
        connection.execution_options(counterpull_begin="BEGIN IMMEDIATE")
        connection.begin()
    elif connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({_ONE_AT_A_TIME})"))
