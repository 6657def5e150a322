"""A shop whose record holds every worked situation as a consultation, each with the edition that decided it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

import pytest

from dialogue.rulebooks.editions import Shelf, write_content
from rules.casebook import Case, load_cases
from rules.chain import decide
from rules.rulebook import load_book
from storage.database import Store, open_store
from storage.rows import ConsultationRow
from tests.rules.editions import switch_on

TODAY = dt.date(2026, 11, 24)
Recorded = dict[int, Case]
"""The cases by the numbers of their consultations."""


@pytest.fixture
def store() -> Iterator[Store]:
    """A database in memory."""
    with open_store("sqlite://") as opened:
        yield opened


@pytest.fixture
def shelf(store: Store) -> Shelf:
    """The shop's editions."""
    return Shelf(store, load_book(), "ida")


@pytest.fixture(scope="module")
def recorded() -> Iterator[tuple[Store, Recorded]]:
    """A database with all cases on record."""
    numbers: Recorded = {}
    with open_store("sqlite://") as opened:
        with opened.unit() as unit:
            for case in load_cases():
                book = switch_on(*case.policies)
                facts = case.read_facts(book)
                unit.rulebooks.keep(book.hash, write_content(book))
                row = ConsultationRow(
                    today=case.today,
                    facts=facts.to_dict(),
                    decision=decide(facts, book).to_dict(),
                    rulebook=book.hash,
                )
                numbers[unit.consultations.add(row).id] = case
            unit.commit()
        yield opened, numbers
