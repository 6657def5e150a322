"""What the readings of a stringing say, beside its label and at the handing over."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import replace

import pytest

from dialogue.counter.bench import Strung, log_strung
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import DropOff, take_in
from dialogue.counter.labels import find_labels
from dialogue.counter.outcomes import Refusal
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import Measured, ReadingLogged, log_reading
from dialogue.counter.strings import Side, Strings
from rules.decision import Verdict
from rules.facts import Kind, Material, Reading, Span
from rules.forecast import forecast_loss
from rules.forecast_history import Job
from rules.rulebook import load_book
from storage.database import open_store

STRUNG_ON, TODAY = dt.date(2026, 9, 1), dt.date(2026, 11, 24)
CHECKS = {dt.date(2026, 9, 20): 33.2, dt.date(2026, 10, 20): 32.2, TODAY: 31.4}


@pytest.fixture
def counter() -> Iterator[Counter]:
    """A counter on the day the racquet was strung."""
    with open_store("sqlite://") as store:
        yield Counter(store, load_book(), STRUNG_ON)


def string(counter: Counter) -> str:
    """Return the tag of a racquet strung with synthetic gut at 55 lb."""
    player = CustomerDraft(name="Maya Quist", level="recreational", plays_per_week=1)
    strings = Strings(mains=Side(material="synthetic_gut", tension=55))
    taken = take_in(counter, DropOff(new_customer=player, frame_check="sound", strings=strings))
    assert not isinstance(taken, Refusal)
    assert taken.job is not None
    assert not isinstance(log_strung(counter, Strung(tag=taken.job.tag)), Refusal)
    return taken.job.tag


def log(counter: Counter, tag: str, role: str, value: float) -> ReadingLogged:
    """Log a stiffness reading."""
    logged = log_reading(counter, tag, role, Measured(values=(value,), kind="stiffness"))
    assert not isinstance(logged, Refusal), logged
    return logged


def test_label_and_pickup_tell_the_range_of_the_readings(counter: Counter) -> None:
    """With a baseline and readings the days are those of the forecast; with a baseline alone nothing is told."""
    tag = string(counter)
    log(counter, tag, "baseline", 38)
    bare = find_labels(counter, (tag,))
    assert not isinstance(bare, Refusal)
    assert bare.labels[0].foretold is None
    for day, value in CHECKS.items():
        log(replace(counter, today=day), tag, "check", value)
    later = replace(counter, today=TODAY)
    labels, handed = find_labels(later, (tag,)), hand_over(later, tag, collect=False)
    assert not isinstance(labels, Refusal)
    assert not isinstance(handed, Refusal)
    told = labels.labels[0].foretold
    assert told is not None
    job = Job(
        STRUNG_ON,
        Material.SYNTHETIC_GUT,
        Material.SYNTHETIC_GUT,
        (Reading((38.0,), Kind.STIFFNESS, taken_on=STRUNG_ON),),
        tuple(Reading((value,), Kind.STIFFNESS, taken_on=day) for day, value in CHECKS.items()),
        Span(1.5, 1.5),
    )
    reach = forecast_loss(job, TODAY).reach(20)
    assert reach is not None
    assert (told.earliest, told.expected, told.latest) == (reach.earliest, reach.expected, reach.latest)
    assert told.readings == 3
    words = counter.wording.words
    assert reach.earliest is not None
    assert reach.latest is not None
    for day in (reach.earliest, reach.latest):
        assert words.date(day) in handed.foretold


def test_a_check_without_a_baseline_is_told_beside_an_estimate_and_decides_nothing(counter: Counter) -> None:
    """The word estimated stands in the sentence, and the verdict is the one without it: even for strings long dead."""
    tag = string(counter)
    logged = log(replace(counter, today=TODAY), tag, "check", 15)
    assert [remark.reason for remark in logged.remarks] == ["not_comparable", "estimated_fresh"]
    assert "Estimated, not measured" in counter.wording.remark(logged.remarks[1])
    assert logged.before is not None
    assert logged.after is not None
    assert logged.before.verdict is logged.after.verdict is Verdict.PLAY_ON
    assert logged.after.loss_percent is None
