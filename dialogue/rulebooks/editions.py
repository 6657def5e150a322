"""Which edition of the rulebook is in use: switched, taken back, listed; old decisions keep their own."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

from dialogue.counter.outcomes import Outcome
from rules.rulebook import Rulebook, build_book
from storage.database import Store
from storage.editions import KEY, TEXTS, Switch, in_use, read_switches
from storage.rows import ConsultationRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class EditionListed(Outcome):
    """One edition the shop has used or decided with."""

    rulebook: str
    since: tuple[dt.date, ...]
    """The days from which it was switched to, in the order they were entered."""
    in_use: bool
    decided: int
    """How many consultations it decided."""
    ours: bool
    """True for the rulebook that comes along."""


@dataclass(frozen=True, kw_only=True)
class EditionList(Outcome):
    """Every edition on record."""

    editions: tuple[EditionListed, ...]
    switches: tuple[Switch, ...]
    """In the order they were entered."""


def write_content(book: Rulebook) -> str:
    """Return a rulebook's content as it is stored under its hash."""
    return json.dumps(dict(book.content), sort_keys=True, ensure_ascii=False)


@lru_cache(maxsize=8)
def read_content(content: str) -> Rulebook:
    """Return the rulebook made of stored content.

    Raises:
        BookError: when this program can no longer read it; names the file, the row and what to do.
    """
    return build_book(json.loads(content))


def open_edition(unit: UnitOfWork, hash_: str) -> Rulebook:
    """Return a stored edition.

    Raises:
        NotFound: when none of this hash is stored.
        BookError: when this program can no longer read it.
    """
    return read_content(unit.rulebooks.get(hash_).content)


@dataclass(frozen=True)
class Shelf:
    """The editions of one shop."""

    store: Store
    ours: Rulebook
    """The rulebook that comes along."""
    who: str = "counter"

    def switches(self) -> tuple[Switch, ...]:
        """Return every switch in the order they were entered."""
        with self.store.view() as unit:
            return read_switches(unit.settings.value(KEY))

    def use(self, book: Rulebook, since: dt.date, texts: Mapping[str, str] | None = None) -> Switch:
        """Switch to an edition from a day on, and return the switch; it is kept with its content.

        Args:
            book: the edition; the one that comes along needs no keeping.
            since: the first day it holds.
            texts: its files as the shop wrote them, to be handed back with their comments.
        """
        with self.store.unit(self.who) as unit:
            unit.rulebooks.keep(book.hash, write_content(book))
            if texts and unit.settings.value(TEXTS + book.hash) is None:
                unit.settings.set(TEXTS + book.hash, dict(texts))
            hash_ = None if book.hash == self.ours.hash else book.hash
            switch = Switch(since, hash_, self.who, dt.datetime.now(dt.UTC).isoformat(timespec="seconds"))
            switches = (*read_switches(unit.settings.value(KEY)), switch)
            unit.settings.set(KEY, [one.to_dict() for one in switches])
            unit.commit()
        return switch

    def undo(self) -> Switch | None:
        """Take back the switch entered last and return it; None where there is none. The audit trail keeps it."""
        with self.store.unit(self.who) as unit:
            switches = read_switches(unit.settings.value(KEY))
            if not switches:
                return None
            unit.settings.set(KEY, [one.to_dict() for one in switches[:-1]])
            unit.commit()
        return switches[-1]

    def texts(self, hash_: str) -> Mapping[str, str] | None:
        """Return an edition's files as the shop wrote them, where they were kept."""
        with self.store.view() as unit:
            found: Mapping[str, str] | None = unit.settings.value(TEXTS + hash_)
            return found

    def open(self, hash_: str) -> Rulebook:
        """Return a stored edition.

        Raises:
            NotFound: when none of this hash is stored.
            BookError: when this program can no longer read it.
        """
        if hash_ == self.ours.hash:
            return self.ours
        with self.store.view() as unit:
            return open_edition(unit, hash_)

    def consultation(self, number: int) -> tuple[ConsultationRow, Rulebook]:
        """Return a stored consultation and the edition that decided it.

        Raises:
            NotFound: when there is no such consultation, or its edition is lost.
            BookError: when this program can no longer read the edition.
        """
        with self.store.view() as unit:
            stored = unit.consultations.get(number)
            return stored, open_edition(unit, stored.rulebook)

    def in_use(self, day: dt.date) -> str:
        """Return the hash of the edition that holds on a day."""
        switch = in_use(self.switches(), day)
        return (switch.rulebook if switch else None) or self.ours.hash

    def list(self, today: dt.date) -> EditionList:
        """Return every edition on record, and which one holds on this day."""
        with self.store.view() as unit:
            switches = read_switches(unit.settings.value(KEY))
            decided = unit.rulebooks.decided()
        now = in_use(switches, today)
        used = (now.rulebook if now else None) or self.ours.hash
        hashes = dict.fromkeys([self.ours.hash, *(one.rulebook or self.ours.hash for one in switches), *decided])
        return EditionList(
            switches=switches,
            editions=tuple(
                EditionListed(
                    rulebook=hash_,
                    since=tuple(one.since for one in switches if (one.rulebook or self.ours.hash) == hash_),
                    in_use=hash_ == used,
                    decided=decided.get(hash_, 0),
                    ours=hash_ == self.ours.hash,
                )
                for hash_ in hashes
            ),
        )
