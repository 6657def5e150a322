"""The lists a counter looks at: what is due, what is on the bench, what became of one racquet."""

from __future__ import annotations

import datetime as dt

import pytest

from storage import queries
from storage.database import Store
from storage.errors import NotFound
from storage.rows import ConsultationRow, CustomerRow, LeagueRow, RacquetRow, ReadingRow, StringJobRow
from tests.storage.conftest import TODAY, Counter, bring_racquet

DAY = dt.timedelta(days=1)


def strung(store: Store, restring_by: dt.date, name: str = "Marlo Fenwick") -> Counter:
    """Bring a racquet that was strung, fetched and is due on a day."""
    return bring_racquet(store, name, status="collected", strung_on=restring_by - 120 * DAY, restring_by=restring_by)


def test_the_due_list_covers_today_to_the_last_day_and_no_more(store: Store) -> None:
    """The due list covers today to the last day and no more."""
    days = {ahead: strung(store, TODAY + ahead * DAY) for ahead in (-1, 0, 3, 7, 8)}
    with store.view() as unit:
        due = unit.queries.due(TODAY, within_days=7)
        overdue = unit.queries.overdue(TODAY)
    assert [(row.job.id, row.days_left) for row in due.rows] == [(days[ahead].job.id, ahead) for ahead in (0, 3, 7)]
    assert due.total == 3
    assert [(row.job.id, row.days_left) for row in overdue.rows] == [(days[-1].job.id, -1)]
    assert due.rows[0].customer == days[0].customer
    assert due.rows[0].racquet == days[0].racquet


def test_the_due_list_crosses_month_and_year_ends(store: Store) -> None:
    """The due list crosses month and year ends."""
    today = dt.date(2026, 12, 30)
    late = strung(store, dt.date(2027, 1, 2))
    with store.view() as unit:
        assert [row.days_left for row in unit.queries.due(today).rows] == [3]
        assert unit.queries.due(dt.date(2027, 2, 1)).rows == ()
        assert [row.days_left for row in unit.queries.overdue(dt.date(2028, 2, 29)).rows] == [-423]
        assert unit.queries.overdue(dt.date(2028, 2, 29), since=dt.date(2027, 1, 2)).rows[0].job.id == late.job.id
        assert unit.queries.overdue(dt.date(2028, 2, 29), since=dt.date(2027, 1, 3)).rows == ()


def test_a_racquet_restrung_or_brought_in_meanwhile_is_not_due(store: Store) -> None:
    """A racquet restrung or brought in meanwhile is not due."""
    again, inside, cancelled = (strung(store, TODAY) for _ in range(3))
    with store.unit() as unit:
        unit.jobs.add(
            StringJobRow(racquet_id=again.racquet.id, strung_on=TODAY - 3 * DAY, restring_by=TODAY + 90 * DAY)
        )
        unit.jobs.add(StringJobRow(racquet_id=inside.racquet.id))
        unit.jobs.cancel(unit.jobs.add(StringJobRow(racquet_id=cancelled.racquet.id)).id)
        unit.commit()
    with store.view() as unit:
        assert [row.job.id for row in unit.queries.due(TODAY).rows] == [cancelled.job.id]


def test_a_due_racquet_shows_its_reminder_and_needs_no_owner(store: Store) -> None:
    """A due racquet shows its reminder and needs no owner."""
    reminded = strung(store, TODAY)
    with store.unit() as unit:
        unit.reminders.draft(reminded.job.id, TODAY, "due")
        nobodys = unit.racquets.add(RacquetRow())
        unit.jobs.add(StringJobRow(racquet_id=nobodys.id, label_due=TODAY, restring_by=TODAY))
        unit.commit()
    with store.view() as unit:
        rows = unit.queries.due(TODAY).rows
    assert [(row.reminder, row.customer is None) for row in rows] == [("draft", False), (None, True)]


def test_a_long_list_is_cut_and_says_how_long_it_is(store: Store) -> None:
    """A long list is cut and says how long it is."""
    for _ in range(5):
        strung(store, TODAY)
    with store.view() as unit:
        due = unit.queries.due(TODAY, limit=2)
        overdue = unit.queries.overdue(TODAY + DAY, limit=2)
    assert (len(due.rows), due.total, overdue.total) == (2, 5, 5)
    assert [row.job.id for row in due.rows] == [1, 2]
    assert [row.job.id for row in overdue.rows] == [4, 5]


def test_counting_a_very_long_list_stops(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    """Counting a very long list stops."""
    monkeypatch.setattr(queries, "COUNTED", 3)
    for _ in range(5):
        strung(store, TODAY)
    with store.view() as unit:
        assert unit.queries.due(TODAY, limit=2).total == 3
        assert unit.queries.due(TODAY, limit=4).total == 4
        assert unit.queries.due(TODAY, limit=6).total == 5


def test_the_board_shows_what_is_in_the_shop(store: Store) -> None:
    """The board shows what is in the shop."""
    unpromised = bring_racquet(store)
    late = bring_racquet(store, promised_on=TODAY - DAY)
    strung(store, TODAY)
    with store.unit() as unit:
        unit.readings.add(ReadingRow(job_id=late.job.id, role="baseline", values=(38.0,), taken_on=TODAY))
        unit.commit()
    with store.view() as unit:
        rows = unit.queries.board(TODAY)
    assert [(row.job.id, row.days_left, row.readings) for row in rows] == [
        (late.job.id, -1, 1),
        (unpromised.job.id, None, 0),
    ]
    assert rows[0].customer == late.customer


def test_a_history_tells_everything_of_one_racquet(store: Store) -> None:
    """A history tells everything of one racquet."""
    first = strung(store, TODAY)
    with store.unit() as unit:
        unit.rulebooks.keep("abc123", "rows: []")
        reading = unit.readings.add(ReadingRow(job_id=first.job.id, role="check", values=(27.0,), taken_on=TODAY))
        talk = unit.consultations.add(
            ConsultationRow(today=TODAY, facts={}, decision={}, rulebook="abc123", job_id=first.job.id)
        )
        second = unit.jobs.add(StringJobRow(racquet_id=first.racquet.id, strung_on=TODAY - DAY))
        third = unit.jobs.add(StringJobRow(racquet_id=first.racquet.id, strung_on=TODAY))
        unit.commit()
    with store.view() as unit:
        history = unit.queries.history(first.racquet.id)
    assert (history.racquet, history.customer) == (first.racquet, first.customer)
    assert [(entry.job.id, entry.superseded_by) for entry in history.jobs] == [
        (third.id, None),
        (second.id, third.id),
        (first.job.id, second.id),
    ]
    assert history.jobs[-1].readings == (reading,)
    assert history.jobs[-1].consultations == (talk,)
    with store.view() as unit, pytest.raises(NotFound):
        unit.queries.history(999)


def test_members_whose_strings_are_not_fresh_for_a_season_are_listed(store: Store) -> None:
    """Members whose strings are not fresh for a season are listed."""
    starts = TODAY + 10 * DAY
    stale, fresh = strung(store, TODAY, "Tobias Ashgrove"), bring_racquet(store, "Juno Vantongeren")
    with store.unit() as unit:
        unit.jobs.log_strung(fresh.job.id, TODAY - DAY)
        bare = unit.customers.add(CustomerRow(name="Wren Castellow"))
        league = unit.leagues.add(LeagueRow(name="Tuesday doubles"))
        season = unit.leagues.add_season(league.id, starts)
        for customer in (stale.customer, fresh.customer, bare):
            unit.leagues.join(league.id, customer.id)
        for ahead in (0, 0, 2, 11):
            unit.jobs.add(StringJobRow(racquet_id=unit.racquets.add(RacquetRow()).id, promised_on=TODAY + ahead * DAY))
        unit.commit()
    with store.view() as unit:
        found = unit.queries.season_due(season.id, TODAY, fresh_from=starts - 30 * DAY)
    assert [(member.customer.name, member.job and member.job.id) for member in found.members] == [
        ("Tobias Ashgrove", stale.job.id),
        ("Wren Castellow", None),
    ]
    assert (found.league, found.season) == (league, season)
    assert len(found.bench) == 11
    assert [day.promised for day in found.bench][:4] == [2, 0, 1, 0]
    with store.view() as unit, pytest.raises(NotFound):
        unit.queries.season_due(999, TODAY, TODAY)
