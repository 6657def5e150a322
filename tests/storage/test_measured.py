"""Measured stringings in one pass, as every database hands them out."""

from __future__ import annotations

import datetime as dt

from storage.database import Store
from storage.measured import MeasuredReading
from storage.rows import CustomerRow, RacquetRow, ReadingRow, StringJobRow

STRUNG = dt.date(2026, 3, 2)


def _read(job_id: int, role: str, value: float, days: int = 0) -> ReadingRow:
    return ReadingRow(
        job_id=job_id, role=role, kind="stiffness", values=(value,), taken_on=STRUNG + dt.timedelta(days=days)
    )


def test_only_what_was_measured_fresh_and_later_comes_and_with_its_player(store: Store) -> None:
    """No baseline, no check, no day of stringing or a cancelled stringing: not yielded; readings come by day."""
    with store.unit() as unit:
        owner = unit.customers.add(
            CustomerRow(name="Marlo Fenwick", plays_per_week_low=2, hours_per_play_low=1, hours_per_play_high=2)
        ).id
        mine = unit.racquets.add(RacquetRow(customer_id=owner)).id
        nobodys = unit.racquets.add(RacquetRow()).id
        jobs = [
            unit.jobs.add(StringJobRow(racquet_id=racquet, mains_material="polyester", strung_on=day)).id
            for racquet, day in ((mine, STRUNG), (mine, STRUNG), (mine, STRUNG), (mine, None), (nobodys, STRUNG))
        ]
        whole, fresh_only, cancelled, undated, theirs = jobs
        for number in (whole, cancelled, undated, theirs):
            unit.readings.add(_read(number, "check", 31, 40))
            unit.readings.add(_read(number, "check", 33.5, 9))
        for number in jobs:
            unit.readings.add(_read(number, "baseline", 38))
        unit.jobs.cancel(cancelled)
        unit.commit()
    with store.view() as unit:
        found = list(unit.measured.all())
        assert unit.measured.count() == len(found) == 2
        assert [one.job_id for one in found] == [whole, theirs]
        assert unit.measured.of_customer(owner, whole) == ()
        assert unit.measured.of_customer(owner, fresh_only) == (found[0],)
    one, other = found
    assert (one.customer_id, other.customer_id) == (owner, None)
    assert (one.plays_per_week, one.hours_per_play, one.hours_per_week) == ((2, 2), (1, 2), None)
    assert (one.strung_on, one.strung_on_approx, one.mains_material) == (STRUNG, False, "polyester")
    assert [reading.values for reading in one.readings] == [(38,), (33.5,), (31,)]
    assert one.readings[1] == MeasuredReading("check", "stiffness", None, None, (33.5,), STRUNG + dt.timedelta(days=9))
