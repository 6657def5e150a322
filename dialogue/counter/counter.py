"""The counter a use case works at: store, rulebook, day and person; opens and keeps units of work."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace

from dialogue.counter.wording import Wording, load_wording
from rules.rulebook import Rulebook
from storage.database import Store
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True)
class Counter:
    """Where, when and for whom a use case works."""

    store: Store
    book: Rulebook = field(repr=False)
    today: dt.date
    who: str = "counter"
    """Who is at the counter; the audit trail names this person, and undo is this person's."""
    region: str = "US"
    """Where a phone number without a country code belongs: two letters of ISO 3166."""
    unit: UnitOfWork | None = None
    """An open unit of work to join; whoever opened it keeps it."""

    @property
    def wording(self) -> Wording:
        """The sentences of the counter in the rulebook's words."""
        return load_wording(self.book)

    def within(self, unit: UnitOfWork) -> Counter:
        """Return the same counter inside an open unit of work."""
        return replace(self, unit=unit)

    @contextmanager
    def work(self) -> Iterator[UnitOfWork]:
        """Open a unit of work, or join the one that is open; kept at its end unless something is raised."""
        if self.unit is not None:
            yield self.unit
            return
        with self.store.unit(self.who) as unit:
            yield unit
            unit.commit()

    @contextmanager
    def look(self) -> Iterator[UnitOfWork]:
        """Open a unit of work for reading only, or join the one that is open."""
        if self.unit is not None:
            yield self.unit
            return
        with self.store.view() as unit:
            yield unit
