"""Whose strings are due before what, and the rush before a season spread over the days that count as fresh."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dialogue.counter.bench import Strung, log_strung
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, add_customer
from dialogue.counter.drop_off import Frame
from dialogue.counter.due import DueQuestion, list_due, list_of_customer
from dialogue.counter.leagues import (
    add_season,
    create_league,
    join_league,
    leave_league,
    list_leagues,
    plan_season,
    spread_rush,
)
from dialogue.counter.pickup import hand_over
from storage.errors import NotFound
from storage.queries import BenchDay, MemberDue
from storage.rows import CustomerRow
from tests.dialogue.counter.conftest import MAYA, SYNTHETIC, TODAY, bring, need, on, refused, tag_of

LEAGUE = "Hollow Winter League"
START = dt.date(2026, 10, 1)
DAY = dt.timedelta(days=1)


def strung_for(counter: Counter, name: str, *, fetched: bool = True) -> tuple[int, str]:
    """Bring a racquet of somebody, string it, hand it over, and return the customer's number and the tag."""
    taken = bring(counter, new_customer=replace(MAYA, name=name, phone=None))
    need(log_strung(counter, Strung(tag=tag_of(taken))))
    if fetched:
        need(hand_over(counter, tag_of(taken)))
    return taken.customer.id, tag_of(taken)


def test_who_is_due_is_listed_the_longest_overdue_first(counter: Counter) -> None:
    """Due on 4 September: in the list from a week before, and overdue from the day after."""
    _, tag = strung_for(counter, "Tobias Wren")
    assert need(list_due(on(counter, dt.date(2026, 8, 27)), DueQuestion())).entries == ()
    for today, days in ((dt.date(2026, 8, 28), 7), (dt.date(2026, 9, 4), 0), (dt.date(2026, 9, 10), -6)):
        listing = need(list_due(on(counter, today), DueQuestion()))
        assert [(entry.tag, entry.days_left) for entry in listing.entries] == [(tag, days)]
        assert listing.total == 1
    hidden = need(list_due(on(counter, dt.date(2026, 9, 10)), DueQuestion(overdue=False)))
    assert hidden.entries == ()


def test_the_league_a_player_must_be_ready_for_is_named(counter: Counter) -> None:
    """The next season of any league of the player, and only members where a league is asked for."""
    number, _ = strung_for(counter, "Tobias Wren")
    strung_for(counter, "Ines Marlow")
    need(create_league(counter, LEAGUE, (START, dt.date(2027, 4, 1))))
    need(join_league(counter, "hollow  winter league", number))
    today = on(counter, dt.date(2026, 9, 1))
    listed = {entry.customer: entry for entry in need(list_due(today, DueQuestion())).entries}
    assert (listed["Tobias Wren"].league, listed["Tobias Wren"].season_starts_on) == (LEAGUE, START)
    assert listed["Ines Marlow"].league is None
    members = need(list_due(today, DueQuestion(league=LEAGUE)))
    assert [entry.customer for entry in members.entries] == ["Tobias Wren"]
    with pytest.raises(NotFound):
        list_due(today, DueQuestion(league="No Such League"))
    assert refused(list_due(today, DueQuestion(within_days=-1))).reason == "days_out_of_range"


def test_a_long_list_says_how_much_was_cut(counter: Counter) -> None:
    """The total counts them all."""
    for name in ("Tobias Wren", "Ines Marlow", "Bo Castellane"):
        strung_for(counter, name)
    listing = need(list_due(on(counter, dt.date(2026, 9, 1)), DueQuestion(limit=2)))
    assert (len(listing.entries), listing.total) == (2, 3)


def test_a_customers_own_racquets_with_their_strings(counter: Counter) -> None:
    """What is on the bench without strings is not among them."""
    number, tag = strung_for(counter, "Tobias Wren")
    bring(counter, customer_id=number, new_customer=None, frame=Frame(nickname="spare frame"))
    assert [job.tag for _, job in list_of_customer(counter, number)] == [tag]


def test_leagues_are_taken_down_once(counter: Counter) -> None:
    """A second league of a name, a second season of a day, a second membership are refused."""
    customer = need(add_customer(counter, MAYA)).customer
    need(create_league(counter, LEAGUE, (START,)))
    need(add_season(counter, LEAGUE, dt.date(2027, 4, 1), "Spring"))
    shown = need(join_league(counter, LEAGUE, customer.id))
    assert [season.name for season in shown.seasons] == [None, "Spring"]
    assert [member.name for member in shown.members] == ["Maya Okoro"]
    for outcome, reason in (
        (create_league(counter, LEAGUE), "league_exists"),
        (create_league(counter, " "), "name_missing"),
        (add_season(counter, LEAGUE, START), "season_exists"),
        (join_league(counter, LEAGUE, customer.id), "member_already"),
    ):
        assert refused(outcome).reason == reason
    assert need(leave_league(counter, LEAGUE, customer.id)).members == ()
    assert [one.league.name for one in need(list_leagues(counter)).leagues] == [LEAGUE]


def test_the_rush_before_a_season_is_spread(counter: Counter) -> None:
    """Nine racquets go on the emptiest days from 30 to 5 days before the start; promised ones keep their day."""
    need(create_league(counter, LEAGUE, (START,)))
    numbers = [strung_for(counter, f"Player {letter}")[0] for letter in "ABCDEFGH"]
    later = on(counter, dt.date(2026, 9, 20))
    promised = bring(
        later, new_customer=CustomerDraft(name="Player I"), strings=SYNTHETIC, promised_on=dt.date(2026, 9, 21)
    )
    fresh = bring(later, new_customer=CustomerDraft(name="Player J"))
    need(log_strung(later, Strung(tag=tag_of(fresh))))
    for number in (*numbers, promised.customer.id, fresh.customer.id):
        need(join_league(counter, LEAGUE, number))
    plan = need(plan_season(later, LEAGUE))
    assert (plan.fresh_from, plan.ready_by) == (dt.date(2026, 9, 1), dt.date(2026, 9, 26))
    assert "Player J" not in [entry.customer for entry in plan.entries]
    planned = [entry.planned_on for entry in plan.entries if entry.planned_on]
    assert len(planned) == 8
    assert all(later.today <= day <= plan.ready_by for day in planned)
    assert [entry.promised_on for entry in plan.entries if entry.customer == "Player I"] == [dt.date(2026, 9, 21)]
    # Nine stringings on the seven days from the 20th to the 26th: two at most on any day.
    assert plan.busiest == 2
    assert sum(day.planned for day in plan.days) == 8
    assert sum(day.promised for day in plan.days) == 1
    closed = need(plan_season(later, LEAGUE, closed=frozenset({5, 6})))
    assert all(entry.planned_on.weekday() < 5 for entry in closed.entries if entry.planned_on)


def test_a_season_that_cannot_be_planned_says_why(counter: Counter) -> None:
    """None ahead, one that has begun, one that is not on record, and one without a day left."""
    need(create_league(counter, LEAGUE))
    assert refused(plan_season(counter, LEAGUE)).reason == "no_season_ahead"
    need(add_season(counter, LEAGUE, START))
    with pytest.raises(NotFound):
        plan_season(counter, LEAGUE, START + DAY)
    need(join_league(counter, LEAGUE, strung_for(counter, "Tobias Wren")[0]))
    assert refused(plan_season(on(counter, START + DAY), LEAGUE, START)).reason == "season_begun"
    assert refused(plan_season(on(counter, START - DAY), LEAGUE)).reason == "no_day_left"


@given(
    loads=st.lists(st.integers(0, 6), min_size=1, max_size=14),
    racquets=st.integers(0, 40),
)
def test_no_day_is_fuller_than_it_must_be(loads: list[int], racquets: int) -> None:
    """The fullest day is the least that is possible: the mean rounded up, or what was promised already."""
    free = [BenchDay(day=TODAY + at * DAY, promised=load) for at, load in enumerate(loads)]
    members = tuple(
        MemberDue(customer=CustomerRow(id=at + 1, name=f"Player {at}"), racquet=None, job=None)
        for at in range(racquets)
    )
    entries, planned = spread_rush(members, free, TODAY)
    assert sum(planned.values()) == racquets == sum(1 for entry in entries if entry.planned_on)
    totals = [load + planned.get(TODAY + at * DAY, 0) for at, load in enumerate(loads)]
    least = next(
        level for level in range(100) if sum(max(level - load, 0) for load in loads) >= racquets and level >= max(loads)
    )
    assert max(totals) == least
