"""One unit of work a turn, shared by all that is asked of the shop in it; holds no use case."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.errors import ValueRefused
from rules.errors import FactRefused
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import Rulebook
from storage.database import Store
from storage.errors import StoreUnusable
from storage.unit_of_work import UnitOfWork


@dataclass
class _Turn:
    """The unit of work of one turn, opened when something is first read or written in it."""

    stack: ExitStack
    unit: UnitOfWork | None = None
    conversation_id: int | None = None


class TurnWork:
    """A shop with its rulebook, and the unit of work of the turn that is being taken."""

    def __init__(self, store: Store, book: Rulebook, region: str = "US") -> None:
        self.store = store
        self.book = book
        self.region = region
        """Where a phone number without a country code belongs."""
        self._turn: ContextVar[_Turn | None] = ContextVar("turn", default=None)

    @contextmanager
    def turn(self, conversation_id: int | None = None) -> Iterator[None]:
        """Make all services called inside share one unit of work, kept by `save`."""
        with ExitStack() as stack:
            token = self._turn.set(_Turn(stack, conversation_id=conversation_id))
            try:
                yield
            finally:
                self._turn.reset(token)

    @contextmanager
    def work(self) -> Iterator[UnitOfWork]:
        """Give the turn's unit of work, or one of its own that is kept at the end."""
        turn = self._turn.get()
        if turn is None:
            with self.store.unit() as unit:
                yield unit
                unit.commit()
            return
        if turn.unit is None:
            turn.unit = turn.stack.enter_context(self.store.unit())
        yield turn.unit

    def facts(self, raw: Mapping[str, Any], today: dt.date) -> Facts:
        """Return facts JSON as facts.

        Raises:
            ValueRefused: when a value cannot be; so do all that read facts.
        """
        try:
            return parse_facts(raw, today=today, limits=self.book.limits)
        except FactRefused as refused:
            raise ValueRefused(refused.fact, refused.message) from refused

    def trouble(self, error: Exception) -> str | None:
        """Return what is wrong with the database and what to do about it, or None for any other error."""
        return error.message if isinstance(error, StoreUnusable) else None

    def written_in(self) -> str | None:
        """Return what names the unit of work of this turn, so that it can be taken back; None where there is none."""
        turn = self._turn.get()
        return turn.unit.id if turn and turn.unit else None

    def _counter(self, unit: UnitOfWork, today: dt.date) -> Counter:
        return Counter(self.store, self.book, today, region=self.region, unit=unit)
