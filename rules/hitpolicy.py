"""Hit policies in the words of the DMN standard: what the fired rows of a table amount to."""

from __future__ import annotations

from collections.abc import Sequence

from rules.errors import BookError
from rules.tables import Row, Table


def apply_hit_policy(table: Table, fired: Sequence[Row]) -> tuple[Row, ...]:
    """Return the rows that count, in table order.

    unique: at most one row may fire. any: several may, if they give the same. first: the first counts.
    collect: all count.

    Raises:
        BookError: when rows fire together that may not; names them.
    """
    rows = tuple(sorted(fired, key=lambda row: row.order))
    if table.hit_policy == "collect" or len(rows) < 2:  # noqa: PLR2004 - two rows are several
        return rows
    if table.hit_policy == "first":
        return rows[:1]
    names = " and ".join(row.id for row in rows)
    if table.hit_policy == "unique":
        raise BookError(table.name, names, "fire together; narrow their conditions until one is left")
    if any(row.gives != rows[0].gives for row in rows):
        raise BookError(table.name, names, "fire together and give different results; make them agree")
    return rows[:1]
