"""What a customer hears at pick-up comes from stored evidence, and a racquet that comes back brings its history."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace

import pytest

from dialogue.counter.bench import Strung, log_strung
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import Frame
from dialogue.counter.history import show_history, undo
from dialogue.counter.labels import find_labels
from dialogue.counter.pickup import come_back, hand_over
from dialogue.counter.readings import Measured, log_reading
from dialogue.counter.strings import Side, Strings
from storage.errors import Conflict, NotFound
from tests.dialogue.counter.conftest import MAYA, TODAY, Clock, bring, need, on, refused, tag_of

DAY = dt.timedelta(days=1)


def test_the_pick_up_tells_what_was_done_what_the_label_means_and_why(counter: Counter, strung: str) -> None:
    """Every sentence rests on the stringing and its stored decision; the racquet counts as fetched."""
    handed = need(hand_over(counter, strung))
    assert handed.done == (
        "Your racquet (red frame) was strung on 4 May 2026 with synthetic gut at 54 lb. "
        "Fresh from the machine it read 38 kgf/cm."
    )
    assert handed.label.startswith("The label says restring by 4 September 2026:")
    assert any("every four months" in says for says in handed.why)
    assert handed.collected
    assert handed.job.status == "collected"


def test_a_racquet_is_handed_over_once_and_told_of_as_often_as_asked(
    counter: Counter, strung: str, clock: Clock
) -> None:
    """The second time names the day it was fetched."""
    need(hand_over(counter, strung, collect=False))
    need(hand_over(counter, strung))
    clock.day = TODAY + DAY
    refusal = refused(hand_over(counter, strung))
    assert refusal.reason == "already_collected"
    assert "4 May 2026" in counter.wording.remark(refusal)
    told = need(hand_over(counter, strung, collect=False))
    assert not told.collected
    assert told.why


def test_what_is_not_strung_is_not_handed_over(counter: Counter) -> None:
    """There is nothing to tell yet."""
    tag = tag_of(bring(counter))
    assert refused(hand_over(counter, tag)).reason == "not_strung"
    with pytest.raises(NotFound):
        hand_over(counter, "ZZZZZZ")


def test_a_window_an_about_and_no_date_are_told_apart(counter: Counter) -> None:
    """The label's sentence says how far the date can be relied on."""
    window = bring(counter, new_customer=replace(MAYA, plays_per_week=(2, 3)))
    about = bring(counter, new_customer=CustomerDraft(name="Ines Marlow", level="recreational"))
    none = bring(counter, new_customer=CustomerDraft(name="Bo Castellane"))
    need(log_strung(counter, Strung(tag=tag_of(window))))
    need(log_strung(counter, Strung(tag=tag_of(about), unknown=("plays_per_week",))))
    need(log_strung(counter, Strung(tag=tag_of(none))))
    told = [need(hand_over(counter, tag_of(one))).label for one in (window, about, none)]
    assert "any time from 4 September 2026 on" in told[0]
    assert "by about 4 May 2027" in told[1]
    assert "no restring-by date yet" in told[2]


def test_a_wish_is_told_again(counter: Counter) -> None:
    """What was asked for against the printed range stands in the story."""
    hard = Strings(mains=Side(material="polyester", tension=62))
    tag = tag_of(bring(counter, strings=hard, wish="Harder than printed, as told."))
    need(log_strung(counter, Strung(tag=tag)))
    assert "On record as your wish: Harder than printed, as told." in need(hand_over(counter, tag)).done


def four_months_on(counter: Counter, clock: Clock) -> Counter:
    """Return the counter of the tenth of September."""
    clock.day = dt.date(2026, 9, 10)
    return on(counter, clock.day)


@pytest.mark.parametrize("said", ["Maya Okoro", "maya okorow", "5550143", "tag"])
def test_a_racquet_that_comes_back_is_found_with_its_history(
    counter: Counter, collected: str, clock: Clock, said: str
) -> None:
    """Tag, phone or name bring the racquet, the label's date, the baseline and what was done."""
    later = four_months_on(counter, clock)
    back = need(come_back(later, collected if said == "tag" else said))
    assert back.racquet is not None
    assert back.baseline is not None
    assert back.history is not None
    assert back.before is not None
    assert (back.label_date, back.about) == (dt.date(2026, 9, 4), False)
    assert back.baseline.values == (38,)
    assert [part.job.tag for part in back.history.jobs] == [collected]
    assert back.before.verdict == "restring_now"
    assert any("label" in step.says and "passed" in step.says for step in back.before.trail)


def test_a_check_reading_at_the_counter_is_weighed_and_kept(counter: Counter, collected: str, clock: Clock) -> None:
    """Before: the date has passed. After: the strings are dead in numbers."""
    later = four_months_on(counter, clock)
    back = need(come_back(later, "maya okoro", measured=Measured(values=(27,), kind="stiffness")))
    assert back.reading is not None
    assert back.reading.after is not None
    assert (back.reading.baseline, back.reading.mean, back.reading.after.loss_percent) == (38, 27, 28.947)
    assert [row.role for row in need(show_history(later, collected)).history.jobs[0].readings] == ["baseline", "check"]


def test_evidence_against_the_verdict_is_shown(counter: Counter, collected: str, clock: Clock) -> None:
    """Overdue, though the reading has only fallen a little: both are said."""
    later = four_months_on(counter, clock)
    back = need(come_back(later, collected, measured=Measured(values=(37,), kind="stiffness")))
    assert back.reading is not None
    assert back.reading.after is not None
    assert back.reading.after.verdict == "restring_now"
    assert any(step.against for step in back.reading.after.trail)


def test_several_people_or_racquets_are_asked_about_and_nothing_is_kept(counter: Counter) -> None:
    """A reading is kept only when it is plain which racquet it is of."""
    first = bring(counter)
    second = bring(counter, customer_id=first.customer.id, new_customer=None, frame=Frame(nickname="blue frame"))
    for taken in (first, second):
        need(log_strung(counter, Strung(tag=tag_of(taken))))
    measured = Measured(values=(30,), kind="stiffness")
    back = need(come_back(counter, "maya okoro", measured=measured))
    assert back.racquet is None
    assert [one.racquet.nickname for one in back.racquets] == ["red frame", "blue frame"]
    chosen = need(come_back(counter, "maya okoro", second.racquet.id, measured))
    assert chosen.job is not None
    assert chosen.job.tag == tag_of(second)
    bring(counter, new_customer=replace(MAYA, phone="202 555 0199"))
    both = need(come_back(counter, "maya okoro", measured=measured))
    assert (len(both.customers), both.racquets) == (2, ())
    with counter.look() as unit:
        assert len(unit.readings.all()) == 1
    nobody = need(come_back(counter, "Nobody Inparticular"))
    assert (nobody.customers, nobody.racquet) == ((), None)


def test_an_older_label_leads_to_the_strings_in_the_racquet(counter: Counter, collected: str, clock: Clock) -> None:
    """An old label that was left on does not bring up dead strings that are gone."""
    later = four_months_on(counter, clock)
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
    need(log_strung(later, Strung(tag=tag_of(again))))
    back = need(come_back(later, collected))
    assert back.job is not None
    assert back.job.tag == tag_of(again)
    assert [remark.reason for remark in back.remarks] == ["older_label"]
    assert "Take the old label off" in later.wording.remark(back.remarks[0])


def test_old_and_new_strings_are_told_in_numbers(counter: Counter, collected: str, clock: Clock) -> None:
    """Measured before cutting and after stringing by one instrument: the owner hears both figures."""
    later = four_months_on(counter, clock)
    back = need(come_back(later, collected, measured=Measured(values=(27,), kind="stiffness")))
    assert back.racquet is not None
    again = bring(
        later,
        customer_id=back.racquet.customer_id,
        new_customer=None,
        racquet_id=back.racquet.id,
        frame=Frame(),
        strings=None,
        same_as="last",
    )
    need(log_strung(later, Strung(tag=tag_of(again))))
    need(log_reading(later, tag_of(again), "baseline", Measured(values=(38.5,), kind="stiffness")))
    compared = need(hand_over(later, tag_of(again))).compared
    assert compared is not None
    assert (compared.before, compared.after) == (27, 38.5)


# Labels.


def test_a_label_knows_what_stands_on_it(counter: Counter, strung: str) -> None:
    """Date, strings, tension, day, baseline and tag; a stringing without a date gets no label."""
    (label,) = need(find_labels(counter, (strung,))).labels
    assert label.to_dict() == {
        "tag": strung,
        "restring_by": "2026-09-04",
        "about": False,
        "strung_on": "2026-05-04",
        "strings": "synthetic gut",
        "tension": "54 lb",
        "baseline": "38 kgf/cm",
        "foretold": None,
    }
    waiting = tag_of(bring(counter))
    assert refused(find_labels(counter, (waiting,))).reason == "not_strung"
    unsaid = tag_of(bring(counter, new_customer=CustomerDraft(name="Bo Castellane")))
    need(log_strung(counter, Strung(tag=unsaid)))
    assert refused(find_labels(counter, (unsaid,))).reason == "no_date"
    assert [one.tag for one in need(find_labels(counter, bench=True)).labels] == [strung]
    assert refused(find_labels(counter)).reason == "no_labels"


@pytest.mark.parametrize(
    ("mains", "crosses", "strings", "tension"),
    [
        (
            Side(material="polyester", tension=50),
            Side(material="natural_gut", tension=52),
            "polyester / natural gut",
            "50/52 lb",
        ),
        (Side(material="polyester", tension=24.5, unit="kg"), None, "polyester", "24.5 kg"),
        (Side(material="polyester"), None, "polyester", ""),
        (
            Side(material="polyester", tension=50),
            Side(material="polyester", tension=22, unit="kg"),
            "polyester",
            "50 lb/22 kg",
        ),
    ],
)
def test_both_sides_stand_on_a_label(
    counter: Counter, mains: Side, crosses: Side | None, strings: str, tension: str
) -> None:
    """A hybrid names both strings, two tensions stand side by side."""
    wanted = Strings(mains=mains, crosses=crosses)
    tag = tag_of(bring(counter, strings=wanted))
    need(log_strung(counter, Strung(tag=tag)))
    (label,) = need(find_labels(counter, (tag,))).labels
    assert (label.strings, label.tension) == (strings, tension)


# Undo and history.


def test_undo_takes_back_the_last_entry_of_this_person(counter: Counter, strung: str) -> None:
    """The reading goes, then the stringing is back on the bench without a date, then the drop-off is gone."""
    undo(counter)
    assert need(show_history(counter, strung)).history.jobs[0].readings == ()
    undo(counter)
    job = need(show_history(counter, strung)).history.jobs[0].job
    assert (job.status, job.strung_on, job.restring_by) == ("received", None, None)
    undo(counter)
    with counter.look() as unit:
        assert unit.customers.all() == ()
    with pytest.raises(NotFound):
        undo(counter)


def test_undo_is_each_persons_own_and_never_overwrites_somebody_else(counter: Counter, strung: str) -> None:
    """Another person has nothing to take back; what was changed since is left alone."""
    ben = replace(counter, who="ben")
    with pytest.raises(NotFound):
        undo(ben)
    need(hand_over(ben, strung))
    undo(counter)
    with pytest.raises(Conflict):
        undo(counter)
    assert need(show_history(counter, strung)).history.jobs[0].job.status == "collected"


def test_the_history_says_who_wrote_what(counter: Counter, strung: str) -> None:
    """Every write on the racquet, its stringings and readings has a name and a moment."""
    need(hand_over(replace(counter, who="ben"), strung))
    trail = need(show_history(counter, strung)).trail
    assert {entry.who for entry in trail} == {"anna", "ben"}
    assert [entry.entity for entry in trail][:2] == ["racquet", "string_job"]
    assert trail[-1].after is not None
    assert trail[-1].after["status"] == "collected"
