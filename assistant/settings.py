"""Settings of one run: which database, which day; from options first, then the environment."""

from __future__ import annotations

import datetime as dt
import os
from dataclasses import dataclass


@dataclass(frozen=True)
class Settings:
    """What a command needs to know of its surroundings."""

    db: str | None
    """Address of the database; None is an SQLite file in the user's data folder."""
    today: dt.date
    book: str | None = None
    """Folder of the shop's own rulebook; None is the one that comes with the package."""

    @classmethod
    def build(cls, db: str | None, today: dt.date | None, book: str | None = None) -> Settings:
        """Return the settings, filling gaps from the environment and the clock."""
        return cls(
            db or os.environ.get("COUNTERPULL_DB") or None,
            today or dt.datetime.now().astimezone().date(),
            book or os.environ.get("COUNTERPULL_BOOK") or None,
        )
