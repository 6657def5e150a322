"""A stringing gets its date from the rulebook, and readings go where they belong or are refused with why."""

from __future__ import annotations

import datetime as dt
import json
from dataclasses import replace
from typing import Any

import pytest

from dialogue.counter.bench import Strung, cancel_job, log_strung, mark_ready, redate
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, change_customer
from dialogue.counter.drop_off import Frame
from dialogue.counter.leagues import create_league, join_league
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import Measured, log_reading
from dialogue.counter.strings import Side, Strings
from rules.chain import decide
from rules.decision import Decision
from rules.intake import parse_facts
from rules.rulebook import build_book
from storage.errors import NotFound
from tests.dialogue.counter.conftest import MAYA, TODAY, bring, need, on, refused, tag_of

POLYESTER = Strings(mains=Side(material="polyester", tension=50))
DAY = dt.timedelta(days=1)


def test_the_date_and_its_reasons_are_kept_as_they_were_decided(counter: Counter) -> None:
    """Three plays a week with synthetic gut are twelve thirds of a month: four months (common practice)."""
    tag = tag_of(bring(counter))
    logged = need(log_strung(counter, Strung(tag=tag, machine="constant_pull", pieces=1, prestretch_percent=10)))
    job = logged.job
    assert (job.status, job.strung_on, job.restring_by, job.approximate) == (
        "strung",
        TODAY,
        dt.date(2026, 9, 4),
        False,
    )
    assert (job.machine, job.pieces, job.prestretch_percent) == ("constant_pull", 1, 10)
    with counter.look() as unit:
        assert job.consultation_id is not None
        stored = unit.consultations.get(job.consultation_id)
        book = build_book(json.loads(unit.rulebooks.get(stored.rulebook).content))
    assert Decision.from_dict(stored.decision) == logged.decision
    facts = parse_facts(stored.facts, today=stored.today, limits=book.limits)
    assert decide(facts, book) == logged.decision


@pytest.mark.parametrize(
    ("strings", "player", "restring_by", "window"),
    [
        (POLYESTER, {"level": "competitive"}, dt.date(2026, 6, 4), None),
        (
            Strings(mains=Side(material="natural_gut"), crosses=Side(material="polyester")),
            {"level": "competitive"},
            dt.date(2026, 8, 4),
            (dt.date(2026, 7, 4), dt.date(2026, 8, 4)),
        ),
        (Strings(mains=Side(material="natural_gut")), {"level": "recreational"}, dt.date(2027, 5, 4), None),
        (
            Strings(mains=Side(material="multifilament")),
            {"level": "recreational", "plays_per_week": (2, 3)},
            dt.date(2026, 11, 4),
            (dt.date(2026, 9, 4), dt.date(2026, 11, 4)),
        ),
    ],
)
def test_each_stringbed_gets_the_charts_date(
    counter: Counter, strings: Strings, player: dict[str, Any], restring_by: dt.date, window: tuple[dt.date, ...] | None
) -> None:
    """Window and last day stand on the stringing (common practice; 12 over plays a week)."""
    draft = CustomerDraft(**({"name": "Sam Brandt"} | player))
    tag = tag_of(bring(counter, new_customer=draft, strings=strings))
    job = need(log_strung(counter, Strung(tag=tag))).job
    assert job.restring_by == restring_by
    assert (job.window_first, job.window_last) == (window or (None, None))


def test_a_league_season_sets_the_date(counter: Counter) -> None:
    """A competitive player on synthetic gut is due five days before the season (house rule)."""
    taken = bring(counter, new_customer=replace(MAYA, level="competitive"))
    need(create_league(counter, "Hollow Winter League", (dt.date(2026, 10, 1),)))
    need(join_league(counter, "Hollow Winter League", taken.customer.id))
    assert need(log_strung(counter, Strung(tag=tag_of(taken)))).job.restring_by == dt.date(2026, 9, 26)


def test_without_what_the_chart_reads_there_is_no_date_until_it_is_said(counter: Counter) -> None:
    """The answer names what is missing and why; said later, the date is worked out again."""
    tag = tag_of(bring(counter, new_customer=CustomerDraft(name="Ines Marlow", level="recreational")))
    logged = need(log_strung(counter, Strung(tag=tag)))
    assert logged.job.restring_by is None
    assert [need_.fact for need_ in logged.decision.needs] == ["plays_per_week"]
    assert "as many times a year as you play a week" in counter.wording.remark(logged.remarks[0])
    with counter.look() as unit:
        customer = unit.customers.named("Ines Marlow")[0]
    need(change_customer(counter, customer.id, CustomerDraft(plays_per_week=1)))
    assert need(redate(counter, tag)).job.restring_by == dt.date(2027, 5, 4)


def test_a_fact_nobody_could_give_makes_the_date_an_about(counter: Counter) -> None:
    """Then the row's upper limit counts, and the label says about."""
    tag = tag_of(bring(counter, new_customer=CustomerDraft(name="Ines Marlow", level="recreational")))
    job = need(log_strung(counter, Strung(tag=tag, unknown=("plays_per_week",)))).job
    assert (job.restring_by, job.approximate) == (dt.date(2027, 5, 4), True)


def test_other_strings_than_wanted_may_go_in(counter: Counter) -> None:
    """What went in is what stands on record and what the date is worked out from."""
    tag = tag_of(bring(counter))
    job = need(log_strung(counter, Strung(tag=tag, strings=POLYESTER))).job
    assert (job.mains_material, job.mains_tension, job.restring_by) == ("polyester", 50, dt.date(2026, 8, 4))
    beyond = Strings(mains=Side(material="polyester", tension=70))
    again = tag_of(bring(counter))
    assert refused(log_strung(counter, Strung(tag=again, strings=beyond))).reason == "outside_printed"


def test_a_stringing_is_logged_once_and_never_ahead(counter: Counter, strung: str) -> None:
    """A second log, a day to come, an unknown machine and an unknown tag are refused."""
    refusal = refused(log_strung(counter, Strung(tag=strung)))
    assert refusal.reason == "already_strung"
    assert "4 May 2026" in counter.wording.remark(refusal)
    tag = tag_of(bring(counter))
    assert refused(log_strung(counter, Strung(tag=tag, strung_on=TODAY + DAY))).reason == "in_the_future"
    assert refused(log_strung(counter, Strung(tag=tag, machine="hands"))).reason == "not_a_choice"
    assert refused(log_strung(counter, Strung(tag=tag, pieces=3))).reason == "not_a_choice"
    assert refused(log_strung(counter, Strung(tag=tag, prestretch_percent=31))).reason == "out_of_range"
    with pytest.raises(NotFound):
        log_strung(counter, Strung(tag="ZZZZZZ"))


def test_a_stringing_is_not_dated_before_the_one_it_replaces(counter: Counter, collected: str) -> None:
    """Otherwise the old one would count as the strings in the racquet."""
    later = on(counter, TODAY + 30 * DAY)
    with counter.look() as unit:
        job = unit.jobs.by_tag(collected)
        assert job is not None
        racquet = unit.racquets.get(job.racquet_id)
    again = bring(
        later,
        customer_id=racquet.customer_id,
        new_customer=None,
        racquet_id=racquet.id,
        frame=Frame(),
        strings=POLYESTER,
    )
    early = Strung(tag=tag_of(again), strung_on=TODAY - DAY)
    assert refused(log_strung(later, early)).reason == "strung_before_last"


def test_ready_says_what_is_missing(counter: Counter) -> None:
    """A racquet without a baseline may go, but somebody is told."""
    tag = tag_of(bring(counter))
    assert refused(mark_ready(counter, tag)).reason == "not_strung"
    need(log_strung(counter, Strung(tag=tag)))
    moved = need(mark_ready(counter, tag))
    assert (moved.job.status, [remark.reason for remark in moved.remarks]) == ("ready", ["no_baseline"])
    assert refused(mark_ready(counter, tag)).reason == "already_ready"


def test_a_cancelled_stringing_takes_nothing_more(counter: Counter) -> None:
    """Every later step is refused."""
    tag = tag_of(bring(counter))
    assert need(cancel_job(counter, tag)).job.status == "cancelled"
    for outcome in (
        log_strung(counter, Strung(tag=tag)),
        cancel_job(counter, tag),
        hand_over(counter, tag),
        log_reading(counter, tag, "baseline", Measured(values=(38,))),
    ):
        assert refused(outcome).reason == "cancelled"


# Readings.


def test_a_baseline_keeps_its_repeats(counter: Counter) -> None:
    """Mean and spread are told; the first one asks for a second after a day."""
    tag = tag_of(bring(counter))
    need(log_strung(counter, Strung(tag=tag)))
    measured = Measured(values=(62, 61, 63), kind="deflection", instrument="bench meter", minutes_after_stringing=10)
    logged = need(log_reading(counter, tag, "baseline", measured))
    assert (logged.mean, logged.spread, logged.settled) == (62, 2, False)
    assert logged.reading.values == (62, 61, 63)
    assert (logged.reading.instrument, logged.reading.minutes_after_stringing) == ("bench meter", 10)
    assert [remark.reason for remark in logged.remarks] == ["second_baseline"]


def test_a_second_baseline_after_a_day_is_the_one_that_counts(counter: Counter, strung: str) -> None:
    """The first day's loss is behind it, so 10 % under it is worn, not settling."""
    second = need(log_reading(on(counter, TODAY + DAY), strung, "baseline", Measured(values=(36,), kind="stiffness")))
    assert (second.settled, second.remarks) == (True, ())
    need(hand_over(counter, strung))
    check = need(log_reading(on(counter, TODAY + 60 * DAY), strung, "check", Measured(values=(32,), kind="stiffness")))
    assert check.baseline == 36
    assert check.after is not None
    assert check.after.loss_percent == pytest.approx(100 * (36 - 32) / 36, abs=0.001)


def test_a_check_tells_the_verdict_before_and_after(counter: Counter, collected: str) -> None:
    """38 kgf/cm, then 27: a loss of 28.947 % (common practice's worked value), so the strings are dead."""
    month = on(counter, TODAY + 30 * DAY)
    logged = need(log_reading(month, collected, "check", Measured(values=(27,), kind="stiffness")))
    assert logged.before is not None
    assert logged.after is not None
    assert (logged.before.verdict, logged.after.verdict) == ("play_on", "restring_now")
    assert (logged.baseline, logged.mean, logged.after.loss_percent) == (38, 27, 28.947)
    with counter.look() as unit:
        job = unit.jobs.by_tag(collected)
        assert job is not None
        latest = unit.consultations.latest_of_job(job.id)
        assert latest is not None
        assert latest.decision == logged.after.to_dict()
        assert job.consultation_id != latest.id


def test_a_check_by_another_instrument_is_kept_and_not_compared(counter: Counter, collected: str) -> None:
    """Unlike instruments are never compared."""
    month = on(counter, TODAY + 30 * DAY)
    logged = need(log_reading(month, collected, "check", Measured(values=(41,), kind="deflection")))
    assert logged.baseline is None
    assert logged.after is not None
    assert (logged.after.loss_percent, logged.after.verdict) == (None, "play_on")
    assert [remark.reason for remark in logged.remarks] == ["not_comparable"]


def test_of_several_checks_the_latest_day_counts(counter: Counter, collected: str) -> None:
    """A better reading of today stands against an older worse one."""
    need(log_reading(on(counter, TODAY + 30 * DAY), collected, "check", Measured(values=(27,), kind="stiffness")))
    logged = need(
        log_reading(on(counter, TODAY + 31 * DAY), collected, "check", Measured(values=(37,), kind="stiffness"))
    )
    assert logged.after is not None
    assert logged.after.verdict == "play_on"


def test_a_racquet_restrung_meanwhile_takes_no_reading_of_the_old_strings(counter: Counter, collected: str) -> None:
    """The refusal names the tag that is in the racquet now; nothing is lost and nothing is mixed up."""
    later = on(counter, TODAY + 90 * DAY)
    with counter.look() as unit:
        job = unit.jobs.by_tag(collected)
        assert job is not None
        owner = unit.racquets.get(job.racquet_id).customer_id
    again = bring(
        later,
        customer_id=owner,
        new_customer=None,
        racquet_id=job.racquet_id,
        frame=Frame(),
        strings=None,
        same_as="last",
    )
    before = need(log_reading(later, collected, "check", Measured(values=(30,), kind="stiffness")))
    assert before.after is not None, "while the new strings lie on the bench, the old ones are in the racquet"
    waiting = refused(log_reading(later, tag_of(again), "check", Measured(values=(30,), kind="stiffness")))
    assert waiting.reason == "not_strung_but_old"
    assert collected in later.wording.remark(waiting)
    need(log_strung(later, Strung(tag=tag_of(again))))
    refusal = refused(log_reading(later, collected, "check", Measured(values=(30,), kind="stiffness")))
    assert refusal.reason == "restrung_meanwhile"
    assert tag_of(again) in later.wording.remark(refusal)
    yesterday = Measured(values=(31,), kind="stiffness", taken_on=later.today - DAY)
    assert need(log_reading(later, collected, "check", yesterday)).reading.taken_on == later.today - DAY


def test_a_baseline_is_of_fresh_strings_alone(counter: Counter, strung: str) -> None:
    """Not after a week, and not after the racquet was fetched."""
    late = refused(log_reading(on(counter, TODAY + 8 * DAY), strung, "baseline", Measured(values=(36,))))
    assert late.reason == "baseline_too_late"
    need(log_reading(on(counter, TODAY + 7 * DAY), strung, "baseline", Measured(values=(36,))))
    need(hand_over(counter, strung))
    gone = refused(log_reading(counter, strung, "baseline", Measured(values=(36,))))
    assert gone.reason == "baseline_after_collection"
    assert "as a check" in counter.wording.remark(gone)


BAD = [
    ("values_missing", Measured(values=())),
    ("fact", Measured(values=(121,), kind="stiffness")),
    ("fact", Measured(values=(0,), kind="deflection")),
    ("fact", Measured(values=(50,), kind="guess")),
    ("fact", Measured(values=(float("inf"),))),
    ("fact", Measured(values=(38,), taken_on=TODAY + DAY)),
    ("before_stringing", Measured(values=(38,), taken_on=TODAY - DAY)),
    ("out_of_range", Measured(values=(38,), minutes_after_stringing=-1)),
    ("too_long", Measured(values=(38,), note="x" * 501)),
]


@pytest.mark.parametrize(("reason", "measured"), BAD)
def test_a_reading_that_cannot_be_is_refused(counter: Counter, strung: str, reason: str, measured: Measured) -> None:
    """Limits are the rulebook's; the sentence says what would do, and nothing is written."""
    refusal = refused(log_reading(counter, strung, "baseline", measured))
    assert refusal.reason == reason
    assert counter.wording.remark(refusal)
    with counter.look() as unit:
        assert len(unit.readings.all()) == 1
