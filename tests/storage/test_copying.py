"""A shop that moves to another database takes every row and every number along, or nothing is moved."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import NullPool, create_engine, make_url, text

from storage import copying
from storage.copying import copy_database
from storage.database import Store, open_store
from storage.errors import CopyRefused
from storage.privacy import export_customer
from storage.rows import CustomerRow
from tests.storage.conftest import Clock, Counter, bring_racquet


@pytest.fixture(params=["file", "postgresql"])
def target(request: pytest.FixtureRequest, tmp_path: Path, clock: Clock) -> Iterator[Store]:
    """An open, empty database of another place, in each kind that keeps anything."""
    url = f"sqlite:///{tmp_path / 'moved.sqlite3'}"
    if request.param == "postgresql":
        server = request.getfixturevalue("postgresql_server")
        engine = create_engine(server, poolclass=NullPool, isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            connection.execute(text("DROP DATABASE IF EXISTS moved"))
            connection.execute(text("CREATE DATABASE moved"))
        url = make_url(server).set(database="moved").render_as_string(hide_password=False)
    with open_store(url, clock=clock) as opened:
        yield opened


def link_decision(store: Store, known: Counter) -> None:
    """Let the job point at the decision that points at the job."""
    with store.unit("anna") as unit:
        decided = unit.consultations.latest_of_job(known.job.id)
        assert decided is not None
        unit.jobs.change(known.job.id, consultation_id=decided.id)
        unit.commit()


def dump(path: Path) -> list[str]:
    """Return a database file as SQL, written by the standard library, its internal order left out."""
    with closing(sqlite3.connect(path)) as connection:
        return sorted(connection.iterdump())


def count_customers(store: Store) -> int:
    """Return how many customers are on record."""
    with store.view() as unit:
        return len(unit.customers.all())


def test_everything_arrives(store: Store, known: Counter, target: Store) -> None:
    """Whatever the kinds of the two databases, a customer's whole data is the same afterwards."""
    link_decision(store, known)
    seen: list[tuple[int, int]] = []
    copied = copy_database(store, target, lambda done, total: seen.append((done, total)))
    assert export_customer(target, known.customer.id) == export_customer(store, known.customer.id)
    assert (copied.rows["customer"], copied.rows["consultation"], copied.rows["setting"]) == (1, 1, 0)
    assert copied.rows["audit_entry"] > 5
    assert seen[-1] == (2 * sum(copied.rows.values()),) * 2
    with target.view() as unit:
        assert unit.jobs.get(known.job.id).consultation_id is not None


def test_a_file_copied_to_a_file_is_the_same_in_sql(
    shop: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The standard library writes both as the same statements, also where there are more rows than in a batch."""
    monkeypatch.setattr(copying, "BATCH", 3)
    for number in range(8):
        bring_racquet(shop, f"Marlo Fénwick {number}")
    moved = tmp_path / "moved.sqlite3"
    with open_store(f"sqlite:///{moved}") as target:
        copy_database(shop, target)
    assert dump(moved) == dump(Path(shop.where))


def test_a_number_that_was_given_is_not_given_again(store: Store, known: Counter, target: Store) -> None:
    """A number stays that of the row that is gone, for the audit trail names it."""
    with store.unit("anna") as unit:
        gone = unit.customers.add(CustomerRow(name="Tobias Ashgrove"))
        unit.commit()
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    copy_database(store, target)
    assert count_customers(target) == 1
    assert bring_racquet(target, "Edda Thorne").customer.id == (gone.id or 0) + 1
    assert known.customer.id != gone.id


def test_nothing_is_mixed_into_rows_that_are_there(store: Store, known: Counter, target: Store) -> None:
    """A database in use is refused, and stays as it was."""
    bring_racquet(target, "Tobias Ashgrove")
    with pytest.raises(CopyRefused, match="is in use already; name an empty database"):
        copy_database(store, target)
    assert count_customers(target) == 1
    assert known.customer.name == "Marlo Fenwick"


def test_a_row_that_arrives_otherwise_undoes_the_whole_copy(shop: Store, tmp_path: Path) -> None:
    """Here a trigger of the target's own changes a name on its way in."""
    bring_racquet(shop)
    moved = tmp_path / "moved.sqlite3"
    open_store(f"sqlite:///{moved}").close()
    with closing(sqlite3.connect(moved)) as connection, connection:
        connection.execute(
            """CREATE TRIGGER slip AFTER INSERT ON racquet
            BEGIN UPDATE racquet SET nickname = 'red' WHERE id = NEW.id; END"""
        )
    with open_store(f"sqlite:///{moved}") as target:
        with pytest.raises(CopyRefused, match=r"racquet \{'id': 1\} did not arrive as it was; nothing was kept"):
            copy_database(shop, target)
        assert count_customers(target) == 0
