"""What somebody reads when a database refuses: a sentence with the place, never the driver's own page."""

from __future__ import annotations

import pytest
from sqlalchemy.exc import DBAPIError, IntegrityError, OperationalError, ProgrammingError

from storage.errors import Conflict, StorageError, StoreUnusable, explain

PLACE = "postgresql://shop@host/club"


@pytest.mark.parametrize(
    ("kind", "reported", "error", "told"),
    [
        (IntegrityError, "duplicate key\nDETAIL: name", Conflict, "contradicts what is stored (duplicate key)."),
        (OperationalError, "unknown trouble\nat page 7", StoreUnusable, "restore the latest backup"),
        (OperationalError, "  ", StoreUnusable, "(no reason given)"),
        (ProgrammingError, "syntax error\nLINE 1: SELECT", StorageError, f"{PLACE}: syntax error"),
    ],
)
def test_a_refusal_is_told_in_one_line(
    kind: type[DBAPIError], reported: str, error: type[StorageError], told: str
) -> None:
    """The first line of the reason, what it was raised for, and the way on where there is one."""
    found = explain(kind("SELECT secret", {}, Exception(reported)), PLACE)
    assert type(found) is error
    assert told in str(found)
    assert "SELECT" not in str(found)
    assert "\n" not in str(found)
