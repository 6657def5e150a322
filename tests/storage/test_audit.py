"""Every write leaves its trace, and what a person did last can be taken back."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from sqlalchemy import text

from storage.database import Store
from storage.errors import Conflict, NotFound
from storage.rows import (
    CatalogueProductRow,
    ConsultationRow,
    CustomerRow,
    LeagueRow,
    RacquetRow,
    ReadingRow,
    StaffRow,
    StringJobRow,
)
from tests.storage.conftest import TODAY, Counter, bring_racquet


def write_everything(unit: Any) -> None:
    """Write to every table that has a trail."""
    customer = unit.customers.add(CustomerRow(name="Marlo Fenwick"))
    racquet = unit.racquets.add(RacquetRow(customer_id=customer.id))
    job = unit.jobs.add(StringJobRow(racquet_id=racquet.id))
    unit.readings.add(ReadingRow(job_id=job.id, role="baseline", values=(38.0,), taken_on=TODAY))
    unit.rulebooks.keep("abc123", "rows: []")
    unit.consultations.add(ConsultationRow(today=TODAY, facts={"level": "x"}, decision={}, rulebook="abc123"))
    league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
    unit.leagues.add_season(league.id, TODAY)
    unit.leagues.join(league.id, customer.id)
    unit.reminders.draft(job.id, TODAY, "due")
    unit.catalogue.add(CatalogueProductRow(product="House soft", material="multifilament"))
    unit.settings.set("lead_days", 5)
    unit.staff.add(StaffRow(name="bela", pin_hash="scrypt$secret", role="stringer"))


def test_a_row_in_any_table_with_a_trail_is_traced(store: Store) -> None:
    """A row in any table with a trail is traced."""
    with store.unit("anna") as unit:
        write_everything(unit)
        unit.commit()
    with store.view() as unit:
        trail = unit.trail.latest()
    untraced = {
        "attempt",
        "audit_entry",
        "conversation",
        "customer_key",
        "practice_answer",
        "practice_card",
        "rulebook",
    }
    with store.engine.connect() as connection:
        tables = {table for table in _tables(connection) if table not in untraced}
    assert {entry.entity for entry in trail} == tables
    assert {(entry.who, entry.action, entry.before, entry.undoes) for entry in trail} == {
        ("anna", "create", None, None)
    }
    assert len({entry.unit for entry in trail}) == 1
    json.dumps([entry.to_dict() for entry in trail])


def _tables(connection: Any) -> list[str]:
    from sqlalchemy import inspect  # noqa: PLC0415

    return [name for name in inspect(connection).get_table_names() if name != "alembic_version"]


def test_a_change_is_traced_with_what_was_and_what_is(store: Store, counter: Counter) -> None:
    """A change is traced with what was and what is."""
    with store.unit("bela") as unit:
        unit.jobs.log_strung(counter.job.id, TODAY, mains_tension=52.0)
        unit.jobs.change(counter.job.id, notes=None)
        unit.commit()
    with store.view() as unit:
        entries = unit.trail.of("string_job", counter.job.id)
        assert unit.trail.latest(who="bela") == (entries[-1],)
    assert [entry.action for entry in entries] == ["create", "update"]
    before, after = entries[-1].before, entries[-1].after
    assert before["status"] == "received"
    assert before["strung_on"] is None
    assert (after["status"], after["strung_on"], after["mains_tension"]) == ("strung", "2026-05-04", 52.0)
    assert set(before) == set(after) == {"status", "strung_at", "strung_on", "mains_tension"}


def test_what_is_not_kept_is_not_traced(store: Store) -> None:
    """What is not kept is not traced."""
    with store.unit() as unit:
        unit.customers.add(CustomerRow(name="Marlo Fenwick"))
    with store.view() as unit:
        assert unit.trail.latest() == ()


def test_a_new_row_is_taken_back_whole(store: Store, counter: Counter) -> None:
    """Customer, racquet and stringing were written at once, so they go at once."""
    assert counter.customer.id
    with store.unit("boss") as unit:
        left = unit.undo_last("anna")
        unit.commit()
    assert [(entry.action, entry.entity) for entry in left] == [
        ("remove", "string_job"),
        ("remove", "racquet"),
        ("remove", "customer"),
    ]
    assert {entry.who for entry in left} == {"boss"}
    with store.view() as unit:
        assert unit.customers.all() == unit.racquets.all() == unit.jobs.all() == ()
        assert unit.customers.sounding_like("Fenwick") == ()


def test_a_change_is_taken_back_to_what_was_before(store: Store, counter: Counter) -> None:
    """A change is taken back to what was before."""
    with store.unit("anna") as unit:
        unit.customers.change(counter.customer.id, name="Juno Vantongeren", phone=None, plays_per_week_low=3.0)
        unit.jobs.log_strung(counter.job.id, TODAY)
        unit.commit()
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    with store.view() as unit:
        assert unit.customers.get(counter.customer.id) == counter.customer
        assert unit.jobs.get(counter.job.id) == counter.job
        assert unit.customers.sounding_like("Fenwick")[0].customer == counter.customer
        assert unit.customers.by_phone_tail("0143") == (counter.customer,)


def test_a_removed_row_comes_back(store: Store) -> None:
    """A removed row comes back."""
    with store.unit("anna") as unit:
        product = unit.catalogue.add(CatalogueProductRow(product="House soft", material="multifilament", gauge_mm=1.3))
        unit.commit()
    with store.unit("anna") as unit:
        unit.catalogue.remove(product.id)
        unit.commit()
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    with store.view() as unit:
        assert unit.catalogue.get(product.id) == product


def test_undoing_goes_back_one_step_at_a_time_and_then_ends(store: Store, counter: Counter) -> None:
    """Undoing goes back one step at a time and then ends."""
    for notes in ("first", "second"):
        with store.unit("anna") as unit:
            unit.jobs.change(counter.job.id, notes=notes)
            unit.commit()
    seen = []
    for _ in range(2):
        with store.unit("anna") as unit:
            unit.undo_last("anna")
            seen.append(unit.jobs.get(counter.job.id).notes)
            unit.commit()
    assert seen == ["first", None]
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    with store.unit("anna") as unit, pytest.raises(NotFound):
        unit.undo_last("anna")


def test_each_takes_back_only_his_own(store: Store, counter: Counter) -> None:
    """Each takes back only his own."""
    with store.unit("bela") as unit:
        unit.jobs.change(counter.job.id, notes="by bela")
        unit.commit()
    with store.unit("anna") as unit:
        unit.customers.change(counter.customer.id, notes="by anna")
        unit.commit()
    with store.unit("bela") as unit:
        (entry,) = unit.undo_last("bela")
        unit.commit()
    assert (entry.entity, entry.undoes is not None) == ("string_job", True)
    with store.unit("nobody") as unit, pytest.raises(NotFound):
        unit.undo_last("nobody")


def test_what_somebody_changed_since_is_not_taken_back(store: Store, counter: Counter) -> None:
    """What somebody changed since is not taken back."""
    for who in ("anna", "bela"):
        with store.unit(who) as unit:
            unit.jobs.change(counter.job.id, notes=f"by {who}")
            unit.commit()
    with pytest.raises(Conflict, match="changed again since"), store.unit("anna") as unit:
        unit.undo_last("anna")
    with store.view() as unit:
        assert unit.jobs.get(counter.job.id).notes == "by bela"


def test_a_stringing_that_was_measured_is_cancelled_not_removed(store: Store, counter: Counter) -> None:
    """A stringing that was measured is cancelled not removed."""
    with store.unit("anna") as unit:
        job = unit.jobs.add(StringJobRow(racquet_id=counter.racquet.id))
        unit.commit()
    with store.unit("bela") as unit:
        unit.readings.add(ReadingRow(job_id=job.id, role="baseline", values=(38.0,), taken_on=TODAY))
        unit.commit()
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    with store.view() as unit:
        assert unit.jobs.get(job.id).status == "cancelled"
        assert len(unit.readings.of_job(job.id)) == 1


def test_a_customer_somebody_brought_a_racquet_for_stays(store: Store) -> None:
    """A customer somebody brought a racquet for stays."""
    with store.unit("anna") as unit:
        customer = unit.customers.add(CustomerRow(name="Marlo Fenwick"))
        unit.commit()
    with store.unit("bela") as unit:
        unit.racquets.add(RacquetRow(customer_id=customer.id))
        unit.commit()
    with pytest.raises(Conflict, match="rests on it"), store.unit("anna") as unit:
        unit.undo_last("anna")
    with store.view() as unit:
        assert unit.customers.get(customer.id) == customer


def test_a_consultation_outlives_the_undoing_of_its_visit(store: Store) -> None:
    """A consultation outlives the undoing of its visit."""
    with store.unit("anna") as unit:
        write_everything(unit)
        racquet, job = unit.racquets.all()[0], unit.jobs.all()[0]
        visit = unit.consultations.add(
            ConsultationRow(today=TODAY, facts={}, decision={}, rulebook="abc123", racquet_id=racquet.id, job_id=job.id)
        )
        unit.jobs.change(job.id, consultation_id=visit.id)
        unit.commit()
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    with store.view() as unit:
        assert len(unit.consultations.all()) == 2
        kept = unit.consultations.get(visit.id)
        assert (kept.racquet_id, kept.job_id) == (None, None)
        assert unit.customers.all() == unit.jobs.all() == unit.leagues.all() == unit.staff.all() == ()


def test_a_removed_number_is_never_given_again(store: Store, counter: Counter) -> None:
    """The trail names rows by number, so a number must mean one row for ever."""
    with store.unit("anna") as unit:
        unit.undo_last("anna")
        unit.commit()
    assert bring_racquet(store).customer.id > counter.customer.id


changes = st.lists(
    st.tuples(
        st.sampled_from(["notes", "mains_material", "mains_tension", "promised_on", "strung_on_approx"]),
        st.integers(0, 2),
    ),
    min_size=1,
    max_size=8,
)
VALUES: dict[str, list[Any]] = {
    "notes": [None, "tight", ""],
    "mains_material": [None, "polyester", "natural_gut"],
    "mains_tension": [None, 50.0, 23.5],
    "promised_on": [None, TODAY, TODAY.replace(year=2027)],
    "strung_on_approx": [True, False, True],
}


@given(changes)
@settings(max_examples=40, deadline=None)
def test_undoing_every_step_leads_back_to_the_beginning(memory: Store, told: list[tuple[str, int]]) -> None:
    """Undoing every step leads back to the beginning."""
    job = bring_racquet(memory).job
    who = f"bela {job.id}"
    steps = 0
    for field, choice in told:
        with memory.unit(who) as unit:
            steps += unit.jobs.get(job.id) != unit.jobs.change(job.id, **{field: VALUES[field][choice]})
            unit.commit()
    for _ in range(steps):
        with memory.unit(who) as unit:
            unit.undo_last(who)
            unit.commit()
    with memory.unit(who) as unit:
        assert unit.jobs.get(job.id) == job
        with pytest.raises(NotFound):
            unit.undo_last(who)


def test_an_unchanged_value_leaves_no_trace(store: Store, counter: Counter) -> None:
    """An unchanged value leaves no trace."""
    with store.unit("anna") as unit:
        unit.jobs.change(counter.job.id, status="received", notes=None)
        unit.commit()
    with store.engine.connect() as connection:
        assert connection.scalar(text("SELECT count(*) FROM audit_entry WHERE action = 'update'")) == 0


def test_one_named_unit_is_taken_back_once_whoever_wrote_since(store: Store) -> None:
    """What others did meanwhile stays; a second time there is nothing left to take back."""
    with store.unit("anna") as unit:
        mine = unit.id
        customer = unit.customers.add(CustomerRow(name="Maya Okoro"))
        unit.commit()
    with store.unit("anna") as unit:
        unit.customers.add(CustomerRow(name="Tobias Wren"))
        unit.commit()
    with store.unit("anna") as unit:
        assert [entry.entity_id for entry in unit.undo(mine)] == [str(customer.id)]
        unit.commit()
    with store.unit("anna") as unit:
        assert [row.name for row in unit.customers.all()] == ["Tobias Wren"]
        with pytest.raises(NotFound):
            unit.undo(mine)
        with pytest.raises(NotFound):
            unit.undo("no such unit")


def test_what_cannot_be_taken_back_whole_is_not_taken_back_at_all(store: Store) -> None:
    """A later change of one row keeps the others of its unit too, and the unit of the attempt may be kept."""
    with store.unit("anna") as unit:
        mine = unit.id
        first, second = (unit.customers.add(CustomerRow(name=name)) for name in ("Maya Okoro", "Tobias Wren"))
        unit.commit()
    with store.unit("ben") as unit:
        unit.customers.change(first.id, notes="prefers mornings")
        unit.commit()
    with store.unit("anna") as unit:
        with pytest.raises(Conflict):
            unit.undo(mine)
        unit.customers.add(CustomerRow(name="Ines Marlow"))
        unit.commit()
    with store.view() as unit:
        assert {row.name for row in unit.customers.all()} == {"Maya Okoro", "Tobias Wren", "Ines Marlow"}
        assert unit.customers.get(second.id).name == "Tobias Wren"
