"""Rows match their tables field by field, and every one can be written as JSON."""

from __future__ import annotations

import dataclasses
import inspect
import json

import pytest

from storage import models, rows
from storage.database import Store
from storage.repositories.base import Repository
from storage.rows import StaffRow
from tests.storage.test_audit import write_everything

DERIVED = {"name_key", "phone_tail", "keys", "words"}
"""Columns that no row shows: search keys, and the words that a consultation shows among its facts."""
PAIRS = [
    (kind, getattr(models, name.removesuffix("Row").replace("Audit", "AuditEntry")))
    for name, kind in inspect.getmembers(rows, inspect.isclass)
    if name.endswith("Row") and name != "Row"
]


@pytest.mark.parametrize(("kind", "model"), PAIRS, ids=lambda kind: kind.__name__)
def test_a_row_shows_every_column_of_its_table(kind: type[rows.Row], model: type[models.Base]) -> None:
    """A row shows every column of its table."""
    shown = {part.name for part in dataclasses.fields(kind)}
    assert shown == set(model.__table__.columns.keys()) - DERIVED
    assert kind.__dataclass_params__.frozen


def test_every_table_has_its_row() -> None:
    """Every table has its row."""
    assert {model for _, model in PAIRS} | {models.CustomerKey, models.Attempt} == {
        mapper.class_ for mapper in models.Base.registry.mappers
    }


def test_every_stored_row_can_be_written_as_json(store: Store) -> None:
    """Every stored row can be written as JSON."""
    with store.unit("anna") as unit:
        write_everything(unit)
        kept = [part for part in vars(unit).values() if isinstance(part, Repository)]
        written = [row.to_dict() for repository in kept for row in repository.all()]
    assert len(written) >= len(kept) - 1
    assert json.loads(json.dumps(written)) == written


def test_states_are_the_ones_the_database_allows() -> None:
    """States are the ones the database allows."""
    for table, states in (
        ("string_job", rows.JobStatus),
        ("reading", rows.ReadingRole),
        ("reminder", rows.ReminderState),
    ):
        (allowed,) = (
            str(constraint.sqltext)
            for constraint in models.Base.metadata.tables[table].constraints
            if hasattr(constraint, "sqltext")
        )
        assert all(f"'{state}'" in allowed for state in states)
        assert allowed.count("'") == 2 * len(states)


@pytest.mark.parametrize("name", ["Ma\0ya", "\ud83cMaya", "Maya\udfff"])
def test_half_a_letter_and_a_null_character_are_kept_as_a_mark(store: Store, name: str) -> None:
    """Whether stored or looked for: one database refuses them, another cannot even be asked."""
    with store.unit("anna") as unit:
        kept = unit.staff.add(StaffRow(name=name, pin_hash="x", role="front"))
        unit.commit()
    with store.view() as unit:
        found = unit.staff.named(name)
        assert found
        assert found.id == kept.id
        assert "\ufffd" in found.name
        assert unit.customers.named(name) == ()
