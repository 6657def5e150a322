"""One customer's data is handed out whole and erased for good."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from storage.database import Store
from storage.errors import Conflict, NotFound
from storage.privacy import erase_customer, export_customer
from storage.rows import CustomerRow
from tests.storage.conftest import Counter, bring_racquet

TRACES = ("Fenwick", "fenwick", "555-0143", "3410555202", "heirloom", "tennis elbow", "just for fun", "feels boardy")


def test_an_export_holds_everything_as_json(store: Store, known: Counter) -> None:
    """An export holds everything as JSON."""
    bring_racquet(store, "Tobias Ashgrove")
    exported = export_customer(store, known.customer.id)
    written = json.dumps(exported.to_dict())
    for trace in ("Marlo Fenwick", "555-0143", "heirloom", "tennis elbow", "feels boardy", "just for fun", "kiosk-1"):
        assert trace in written
    assert "Ashgrove" not in written
    counts = {name: len(rows) for name, rows in vars(exported).items() if isinstance(rows, tuple)}
    assert counts == {
        "racquets": 1,
        "jobs": 1,
        "readings": 1,
        "consultations": 1,
        "conversations": 2,
        "reminders": 1,
        "leagues": 1,
        "trail": 2,
    }
    with pytest.raises(NotFound):
        export_customer(store, 999)


def test_erasing_leaves_the_work_and_no_person(store: Store, known: Counter) -> None:
    """Erasing leaves the work and no person."""
    other = bring_racquet(store, "Tobias Ashgrove")
    erased = erase_customer(store, known.customer.id, "boss")
    assert erased.to_dict() == {
        "customer_id": known.customer.id,
        "conversations_removed": 2,
        "reminders_removed": 1,
        "racquets_kept": 1,
        "jobs_kept": 1,
        "consultations_kept": 1,
    }
    with store.view() as unit:
        assert unit.customers.all() == (other.customer,)
        assert unit.customers.sounding_like("Fenwick") == unit.conversations.all() == unit.reminders.all() == ()
        assert unit.jobs.get(known.job.id).tag == known.job.tag
        assert unit.readings.of_job(known.job.id)[0].values == (27.0,)
        (talk,) = unit.consultations.all()
        assert talk.facts == {"level": "recreational"}
        assert talk.decision == {"verdict": "play_on"}
        assert (talk.customer_id, talk.conversation_id) == (None, None)
        (last,) = unit.trail.latest(limit=1)
        assert (last.who, last.action, last.entity_id) == ("boss", "erase", str(known.customer.id))
    with pytest.raises(NotFound):
        erase_customer(store, known.customer.id, "boss")


def test_no_column_of_any_table_names_an_erased_customer(store: Store, known: Counter) -> None:
    """No column of any table names an erased customer."""
    before = _dump(store)
    assert all(trace in before for trace in TRACES)
    erase_customer(store, known.customer.id, "boss")
    after = _dump(store)
    assert [trace for trace in TRACES if trace in after] == []


def test_not_even_the_bytes_of_the_file_name_an_erased_customer(shop: Store, path: Path) -> None:
    """SQLite keeps what it deletes in free pages and in the log unless it is told otherwise."""
    with shop.unit() as unit:
        customer = unit.customers.add(CustomerRow(name="Marlo Fenwick", notes="tennis elbow " * 2000))
        for number in range(50):
            unit.customers.add(CustomerRow(name=f"Tobias Ashgrove {number}"))
        unit.commit()
    assert b"Fenwick" in _bytes(path)
    erase_customer(shop, customer.id, "boss")
    left = _bytes(path)
    assert b"Ashgrove" in left
    assert [trace for trace in (b"Fenwick", b"fenwick", b"tennis elbow") if trace in left] == []


def test_an_erased_customer_does_not_come_back_by_undoing(store: Store, known: Counter) -> None:
    """An erased customer does not come back by undoing."""
    erase_customer(store, known.customer.id, "anna")
    for _ in range(5):
        try:
            with store.unit("anna") as unit:
                unit.undo_last("anna")
                unit.commit()
        except (Conflict, NotFound):
            break
    with store.view() as unit:
        assert unit.customers.all() == ()
    assert "Fenwick" not in _dump(store)


def _dump(store: Store) -> str:
    from sqlalchemy import MetaData  # noqa: PLC0415

    tables = MetaData()
    with store.engine.connect() as connection:
        tables.reflect(connection)
        return "\n".join(str(row) for table in tables.tables.values() for row in connection.execute(table.select()))


def _bytes(path: Path) -> bytes:
    return b"".join(part.read_bytes() for part in path.parent.glob(f"{path.name}*"))
