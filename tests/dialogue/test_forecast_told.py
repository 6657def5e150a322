"""The forecast in the talk: the days that are said are those of the rules, and the verdict stays the rulebook's."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from assistant.channels.web.public import PublicServices
from dialogue.counter.counter import Counter
from dialogue.counter.labels import find_labels
from dialogue.counter.outcomes import Refusal
from dialogue.services import Foreseen, Services
from dialogue.telling import foreseen_values, move_offered
from dialogue.translate import day_phrase
from rules.facts import Kind, Material, Reading, Span
from rules.forecast import forecast_loss
from rules.forecast_history import Job
from rules.rulebook import load_book
from tests.dialogue.scripts import build_conversation, open_test_store, play, read_scripts, seed

TODAY = dt.date(2026, 11, 25)
STRUNG_ON = dt.date(2026, 9, 1)
CHART = dt.date(2027, 9, 1)
FORESEEN = Foreseen(
    today=TODAY,
    line_percent=20,
    earliest=dt.date(2027, 2, 20),
    expected=dt.date(2027, 3, 14),
    latest=dt.date(2027, 4, 20),
    horizon=dt.date(2028, 8, 31),
    readings=3,
    prior_percent=20,
    label_due=None,
    apart_days=31,
)


def read(on: dt.date, value: float) -> Reading:
    """Return a stiffness reading of one day."""
    return Reading((value,), Kind.STIFFNESS, taken_on=on)


def spoken(day: dt.date | None) -> str:
    """Return a day as people say it."""
    assert day is not None
    return f"{day.day} {day:%B %Y}"


def keys(foreseen: Foreseen, by: dt.date | None = None, verdict: str = "play_on") -> list[str]:
    """Return the keys of what is told."""
    decision = {"verdict": verdict, "restring_by": by and by.isoformat()}
    return [key for key, _ in foreseen_values(foreseen, decision)]


def test_the_days_told_are_those_of_the_forecast() -> None:
    """Two readings on the card and one just said make three, none of them counted twice."""
    checks = {dt.date(2026, 9, 20): 33.2, dt.date(2026, 10, 20): 32.2, TODAY: 31.4}
    job = Job(
        strung_on=STRUNG_ON,
        mains_material=Material.SYNTHETIC_GUT,
        crosses_material=Material.SYNTHETIC_GUT,
        baseline=(read(STRUNG_ON, 38),),
        reading=tuple(read(on, value) for on, value in checks.items()),
        hours_per_week=Span(1.5, 1.5),
    )
    reach = forecast_loss(job, TODAY).reach(20)
    assert reach is not None
    script = next(one for one in read_scripts() if one.data["name"] == "three readings end in a range of days")
    with open_test_store() as store:
        seed(store, script.data["record"])
        ((_, reply),) = play(script.data, build_conversation(store))
    days = f"{spoken(reach.earliest)} and {spoken(reach.latest)}"
    assert f"about {spoken(reach.expected)}, somewhere between {days}" in " ".join(reply.text)


@pytest.mark.parametrize(
    ("changes", "key"),
    [
        ({}, "utter_forecast_between"),
        ({"latest": None}, "utter_forecast_open"),
        ({"latest": None, "expected": None}, "utter_forecast_perhaps"),
        ({"latest": None, "expected": None, "earliest": None}, "utter_forecast_not_before"),
        ({"expected": TODAY}, "utter_forecast_perhaps_reached"),
        ({"expected": TODAY, "latest": TODAY}, "utter_forecast_reached"),
    ],
)
def test_every_range_has_its_phrase(changes: dict[str, Any], key: str) -> None:
    """A day that is not within the horizon is never named, and a day gone by is not told as one to come."""
    assert keys(replace(FORESEEN, **changes)) == [key]


def test_forecast_and_chart_part_by_more_than_a_month() -> None:
    """Thirty-one days apart are not told, thirty-two are, on either side."""
    for days, key in ((31, None), (-31, None), (32, "sooner"), (-32, "later")):
        chart = dt.date(2027, 3, 14) + dt.timedelta(days)
        parted = [f"utter_forecast_{key}"] if key else []
        assert keys(FORESEEN, chart) == ["utter_forecast_between", *parted], days


def test_one_reading_tells_what_it_leans_on() -> None:
    """Only one reading leans so much on what was expected that it is said."""
    assert keys(replace(FORESEEN, readings=1)) == ["utter_forecast_between", "utter_forecast_leans"]


def test_the_label_is_named_before_the_chart() -> None:
    """The label on the throat is what a person sees."""
    label = dt.date(2027, 3, 31)
    told = foreseen_values(replace(FORESEEN, label_due=label), {"verdict": "play_on", "restring_by": CHART.isoformat()})
    assert next(told)[1]["beside"] == {"key": "utter_forecast_label", "date": day_phrase(label)}


MOVE = replace(FORESEEN, handling="offer")


@pytest.mark.parametrize(
    ("changes", "verdict", "chart", "offered"),
    [
        ({}, "play_on", CHART, True),
        ({}, "restring_soon", CHART, True),
        ({}, "restring_now", CHART, False),
        ({"handling": "tell"}, "play_on", CHART, False),
        ({"handling": "silent"}, "play_on", CHART, False),
        ({"readings": 1}, "play_on", CHART, False),
        ({"readings": 2}, "play_on", CHART, True),
        ({}, "play_on", dt.date(2027, 4, 14), False),
        ({}, "play_on", dt.date(2027, 4, 15), True),
        ({}, "play_on", dt.date(2026, 12, 24), False),
        ({"expected": TODAY}, "play_on", CHART, False),
        ({"expected": None}, "play_on", CHART, False),
    ],
)
def test_a_move_is_offered_only_to_an_earlier_day_well_before_the_chart(
    changes: dict[str, Any],
    verdict: str,
    chart: dt.date,
    offered: bool,  # noqa: FBT001 - a table's column
) -> None:
    """31 days apart and no day behind us or after the chart's; with two readings, and where the shop wants it."""
    move = move_offered(replace(MOVE, **changes), {"verdict": verdict, "restring_by": chart.isoformat()})
    assert (move is not None) == offered
    if move:
        assert (move["old"], move["new"]) == (chart.isoformat(), "2027-03-14")


def test_a_shop_may_want_the_parting_told_or_not() -> None:
    """Silent says nothing of it; the days themselves are told all the same."""
    said = {one: keys(replace(FORESEEN, handling=one), CHART) for one in ("silent", "tell", "offer")}
    assert said["silent"] == ["utter_forecast_between"]
    assert said["tell"] == said["offer"] == ["utter_forecast_between", "utter_forecast_sooner"]


def test_a_moved_day_stands_on_record_with_who_and_why_and_can_be_taken_back() -> None:
    """Due list and label follow; the note says who moved it and why; undo brings the old day back."""
    script = next(one for one in read_scripts() if one.data["name"].startswith("a day on record is moved"))
    with open_test_store() as store:
        seed(store, script.data["record"])
        turns = {**script.data, "turns": script.data["turns"][:2]}
        list(play(turns, build_conversation(store)))
        moved = dt.date(2027, 3, 8)
        with store.view() as unit:
            job = unit.jobs.get(1)
            assert (job.restring_by, job.label_due) == (moved, moved)
            assert job.notes is not None
            for part in ("from 1 September 2027 to 8 March 2027 on 25 November 2026 (counter)", "20 %", "3 readings"):
                assert part in job.notes
            assert [row.job.restring_by for row in unit.queries.due(TODAY, 365).rows] == [moved]
            assert unit.trail.latest(1)[0].who == "counter"
            stored = unit.consultations.get(job.consultation_id or 0)
            assert stored.facts["label_due"] == "2027-03-08"
        labels = find_labels(Counter(store, load_book(), TODAY), (job.tag,))
        assert not isinstance(labels, Refusal)
        assert labels.labels[0].restring_by == moved
        with store.unit("counter") as unit:
            unit.undo_last("counter")
            unit.commit()
        with store.view() as unit:
            assert (unit.jobs.get(1).label_due, unit.jobs.get(1).notes) == (None, None)


def test_at_a_kiosk_nobodys_day_is_moved() -> None:
    """The public's services bring up no card and move no day."""
    assert Services.moves_dates
    assert not PublicServices.moves_dates


def test_no_day_is_told_beside_strings_to_come_out_now() -> None:
    """The verdict is the rulebook's; a day beside "now" would only weaken it."""
    assert keys(FORESEEN, CHART, "restring_now") == []
