"""What may go wrong in storage, each error carrying what, where and what to do; holds no other package's errors."""

from __future__ import annotations

from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError


class StorageError(Exception):
    """Base of every error of this package; its text may be shown to a person."""


class StoreUnusable(StorageError):
    """The database cannot be opened or written: a broken disk, a foreign file, a newer version."""

    def __init__(self, where: str, reason: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        """The file or the server, without a password."""
        self.reason = reason
        """newer, foreign, damaged, locked, full, read_only, missing, unreachable, unknown, driver or broken."""
        self.message = message


class NotFound(StorageError):
    """Nothing is stored under the given key."""

    def __init__(self, entity: str, key: object) -> None:
        super().__init__(f"No {entity.replace('_', ' ')} is stored under {key!r}; look it up again.")
        self.entity = entity
        self.key = key


class Conflict(StorageError):
    """The change contradicts what is stored, or what somebody else stored meanwhile."""

    def __init__(self, entity: str, key: object, message: str) -> None:
        super().__init__(message)
        self.entity = entity
        self.key = key
        self.message = message


class BackupRefused(StorageError):
    """A backup file cannot be made or must not be restored."""

    def __init__(self, path: str, reason: str, message: str) -> None:
        super().__init__(message)
        self.path = path
        self.reason = reason
        self.message = message


class CopyRefused(StorageError):
    """A database must not be copied into another one, or did not arrive as it was; nothing of it was kept."""

    def __init__(self, where: str, table: str, message: str) -> None:
        super().__init__(message)
        self.where = where
        self.table = table
        self.message = message


_SIGNS = (
    (
        "locked",
        ("database is locked", "database table is locked", "lock timeout"),
        "is being written by another program; close that program or try again",
    ),
    (
        "read_only",
        ("readonly", "read-only", "permission denied"),
        "cannot be written; give this user the right to write the file and its folder",
    ),
    (
        "foreign",
        ("file is not a database", "file is encrypted"),
        "is not a database; name another file, or restore a backup",
    ),
    ("damaged", ("malformed", "disk image"), "is damaged; restore the latest backup"),
    ("full", ("disk is full", "no space left"), "has no room left; free some disk space and try again"),
    (
        "missing",
        ("unable to open database file",),
        "cannot be opened; check that the folder exists and may be written",
    ),
    (
        "unknown",
        ("does not exist", "authentication failed", "no password supplied", "no pg_hba.conf entry"),
        "knows no such database or user, or refuses the password; create them or check the address",
    ),
    (
        "unreachable",
        (
            "connection refused",
            "could not connect",
            "could not translate",
            "connection failed",
            "timeout expired",
            "connection is closed",
            "server closed",
        ),
        "does not answer; start the database server or check its address",
    ),
)


def explain(error: DBAPIError, where: str) -> StorageError:
    """Return the storage error that says in plain words what the database reported.

    Args:
        error: what SQLAlchemy raised.
        where: the file or server it was raised for, without a password.
    """
    reported = str(error.orig)
    if isinstance(error, IntegrityError):
        return Conflict("record", None, f"The change contradicts what is stored ({_first_line(reported)}).")
    for reason, signs, advice in _SIGNS:
        if any(sign in reported.lower() for sign in signs):
            return StoreUnusable(where, reason, f"{where} {advice}.")
    if isinstance(error, OperationalError):
        return StoreUnusable(
            where, "broken", f"{where} failed ({_first_line(reported)}); try again, then restore the latest backup."
        )
    return StorageError(f"{where}: {_first_line(reported)}")


def _first_line(text: str) -> str:
    return text.strip().splitlines()[0] if text.strip() else "no reason given"
