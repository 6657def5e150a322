"""A stringing goes from drop-off to pick-up, and a later one takes its place."""

from __future__ import annotations

import datetime as dt
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from storage.database import Store
from storage.errors import Conflict, NotFound
from storage.rows import JobStatus, RacquetRow, ReadingRole, ReadingRow, StringJobRow
from tests.storage.conftest import TODAY, Counter, bring_racquet

WEEK = dt.timedelta(days=7)


def test_a_stringing_passes_through_its_states_with_their_moments(store: Store, counter: Counter) -> None:
    """A stringing passes through its states with their moments."""
    job = counter.job
    assert (job.status, job.received_at is not None, job.strung_at) == (JobStatus.RECEIVED, True, None)
    with store.unit("anna") as unit:
        strung = unit.jobs.log_strung(
            job.id, TODAY, mains_material="polyester", mains_tension=50.0, mains_tension_unit="lb", pieces=2
        )
        ready = unit.jobs.mark_ready(job.id)
        collected = unit.jobs.mark_collected(job.id)
        unit.commit()
    assert (strung.status, strung.strung_on, strung.mains_material) == ("strung", TODAY, "polyester")
    assert (ready.status, collected.status) == ("ready", "collected")
    moments = (collected.received_at, collected.strung_at, collected.ready_at, collected.collected_at)
    assert list(moments) == sorted(moments)
    assert all(moment.tzinfo is dt.UTC for moment in moments)


def test_a_moment_comes_back_in_utc_and_one_without_zone_is_refused(store: Store, counter: Counter) -> None:
    """A moment comes back in UTC and one without zone is refused."""
    tokyo = dt.timezone(dt.timedelta(hours=9))
    reading = ReadingRow(job_id=counter.job.id, role="check", values=(27.0,), taken_on=TODAY)
    with store.unit() as unit:
        taken = dt.datetime(2026, 5, 4, 18, 30, tzinfo=tokyo)
        unit.readings.add(ReadingRow(**{**vars(reading), "taken_at": taken}))
        unit.commit()
    with store.view() as unit:
        (stored,) = unit.readings.of_job(counter.job.id)
    assert stored.taken_at == taken
    assert stored.taken_at.isoformat() == "2026-05-04T09:30:00+00:00"
    naive = taken.replace(tzinfo=None)
    with pytest.raises(Exception, match="without a zone"), store.unit() as unit:
        unit.readings.add(ReadingRow(**{**vars(reading), "taken_at": naive}))


def test_a_cancelled_stringing_stays_cancelled_and_a_collected_one_collected(store: Store, counter: Counter) -> None:
    """A cancelled stringing stays cancelled and a collected one collected."""
    with store.unit() as unit:
        unit.jobs.cancel(counter.job.id)
        with pytest.raises(Conflict, match="cancelled and cannot become ready"):
            unit.jobs.mark_ready(counter.job.id)
        other = unit.jobs.add(StringJobRow(racquet_id=counter.racquet.id))
        unit.jobs.mark_collected(other.id)
        with pytest.raises(Conflict, match="collected and cannot become cancelled"):
            unit.jobs.cancel(other.id)


def test_a_stringing_of_an_unknown_racquet_or_a_second_tag_is_a_conflict(store: Store, counter: Counter) -> None:
    """A stringing of an unknown racquet or a second tag is a conflict."""
    with store.unit() as unit, pytest.raises(Conflict):
        unit.jobs.add(StringJobRow(racquet_id=999))
    with store.unit() as unit, pytest.raises(Conflict) as caught:
        unit.jobs.add(StringJobRow(racquet_id=counter.racquet.id, tag=counter.job.tag))
    assert caught.value.entity == "string_job"


def test_an_impossible_state_is_refused_by_the_database(store: Store, counter: Counter) -> None:
    """An impossible state is refused by the database."""
    with store.unit() as unit, pytest.raises(Conflict):
        unit.jobs.change(counter.job.id, status="lost")


def test_the_bench_is_ordered_by_promised_day(store: Store) -> None:
    """The bench is ordered by promised day."""
    unpromised = bring_racquet(store).job
    late = bring_racquet(store, promised_on=TODAY + WEEK).job
    soon = bring_racquet(store, promised_on=TODAY).job
    gone = bring_racquet(store, promised_on=TODAY).job
    with store.unit() as unit:
        unit.jobs.mark_collected(gone.id)
        unit.jobs.mark_ready(late.id)
        assert [job.id for job in unit.jobs.bench()] == [soon.id, late.id, unpromised.id]
        assert [job.id for job in unit.jobs.ready()] == [late.id]


def test_a_newer_stringing_takes_the_place_of_the_older_one(store: Store, counter: Counter) -> None:
    """A newer stringing takes the place of the older one."""
    with store.unit() as unit:
        unit.jobs.log_strung(counter.job.id, TODAY)
        assert unit.jobs.successor(counter.job.id) is None
        newer = unit.jobs.add(StringJobRow(racquet_id=counter.racquet.id))
        assert unit.jobs.successor(counter.job.id).id == newer.id
        assert unit.jobs.latest_of(counter.racquet.id).id == newer.id
        unit.jobs.cancel(newer.id)
        assert unit.jobs.successor(counter.job.id) is None
        assert unit.jobs.latest_of(counter.racquet.id).id == counter.job.id


def test_an_old_stringing_written_down_late_takes_nobodys_place(store: Store, counter: Counter) -> None:
    """An old stringing written down late takes nobody's place."""
    with store.unit() as unit:
        unit.jobs.log_strung(counter.job.id, TODAY)
        old = unit.jobs.add(StringJobRow(racquet_id=counter.racquet.id, strung_on=TODAY - 20 * WEEK))
        assert unit.jobs.latest_of(counter.racquet.id).id == counter.job.id
        assert unit.jobs.successor(old.id).id == counter.job.id
        assert [job.id for job in unit.jobs.of_racquet(counter.racquet.id)] == [counter.job.id, old.id]


def test_a_racquet_nobody_strung_has_no_latest_stringing(store: Store, counter: Counter) -> None:
    """A racquet nobody strung has no latest stringing."""
    with store.unit() as unit:
        unit.jobs.cancel(counter.job.id)
        assert unit.jobs.latest_of(counter.racquet.id) is None
        with pytest.raises(NotFound):
            unit.jobs.successor(999)


stringings = st.lists(
    st.tuples(st.dates(dt.date(2025, 12, 28), dt.date(2026, 1, 4)), st.booleans()), min_size=1, max_size=6
)


@given(stringings)
@settings(max_examples=60, deadline=None)
def test_exactly_one_stringing_is_current_and_it_is_the_last_one_strung(
    memory: Store, told: list[tuple[dt.date, bool]]
) -> None:
    """The days cross a year, where days compared as text of another form would fail."""
    with memory.unit() as unit:
        racquet = unit.racquets.add(RacquetRow())
        stored: list[Any] = []
        for day, cancelled in told:
            job = unit.jobs.add(StringJobRow(racquet_id=racquet.id, strung_on=day))
            stored.append(unit.jobs.cancel(job.id) if cancelled else job)
        kept = sorted((job for job in stored if job.status != "cancelled"), key=lambda job: (job.strung_on, job.id))
        assert unit.jobs.latest_of(racquet.id) == (kept[-1] if kept else None)
        assert [unit.jobs.successor(job.id) for job in kept] == [*kept[1:], None][: len(kept)]


def test_many_stringings_are_stored_together_each_with_its_tag(store: Store, counter: Counter) -> None:
    """Many stringings are stored together each with its tag."""
    with store.unit("anna") as unit:
        added = unit.jobs.add_all(StringJobRow(racquet_id=counter.racquet.id, notes=str(at)) for at in range(50))
        unit.commit()
    assert [job.notes for job in added] == [str(at) for at in range(50)]
    assert len({job.tag for job in added}) == 50
    with store.view() as unit:
        assert unit.jobs.all()[1:] == added
        assert len(unit.trail.latest(who="anna")) == 50
    with store.unit() as unit, pytest.raises(Conflict):
        unit.jobs.add_all([StringJobRow(racquet_id=counter.racquet.id), StringJobRow(racquet_id=999)])
    with store.view() as unit:
        assert len(unit.jobs.all()) == 51


def test_readings_keep_every_repeat_in_order(store: Store, counter: Counter) -> None:
    """Readings keep every repeat in order."""
    with store.unit() as unit:
        later = unit.readings.add(
            ReadingRow(job_id=counter.job.id, role="check", kind="stiffness", values=(27.0, 27.5, 26.0), taken_on=TODAY)
        )
        first = unit.readings.add(
            ReadingRow(
                job_id=counter.job.id,
                role="baseline",
                kind="stiffness",
                values=(38.0,),
                taken_on=TODAY - WEEK,
                minutes_after_stringing=10,
            )
        )
        unit.commit()
    with store.view() as unit:
        assert unit.readings.of_job(counter.job.id) == (first, later)
        assert unit.readings.of_job(counter.job.id, ReadingRole.BASELINE) == (first,)
        assert unit.readings.get(later.id).values == (27.0, 27.5, 26.0)
    with store.unit() as unit, pytest.raises(Conflict):
        unit.readings.add(ReadingRow(job_id=counter.job.id, role="guess", values=(1.0,), taken_on=TODAY))


def test_nothing_is_kept_without_a_commit(store: Store) -> None:
    """Nothing is kept without a commit."""
    with store.unit() as unit:
        unit.jobs.add(StringJobRow(racquet_id=_racquet(unit)))
    with store.view() as unit:
        assert unit.customers.all() == unit.jobs.all() == unit.trail.latest() == ()


def test_nothing_is_kept_when_the_work_fails(store: Store) -> None:
    """Nothing is kept when the work fails."""
    with pytest.raises(NotFound), store.unit() as unit:
        unit.jobs.mark_ready(_racquet(unit) + 1)
    with store.view() as unit:
        assert unit.racquets.all() == ()


def _racquet(unit: Any) -> int:
    return unit.racquets.add(RacquetRow()).id
