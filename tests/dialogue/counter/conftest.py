"""A counter on a real database in memory, and racquets at every stage of the day."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, TypeVar

import pytest

from dialogue.counter.bench import Strung, log_strung
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import DropOff, Frame, TakenIn, take_in
from dialogue.counter.outcomes import Refusal
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import Measured, log_reading
from dialogue.counter.strings import Side, Strings
from rules.rulebook import load_book
from storage.database import Store, open_store

Answer = TypeVar("Answer")
TODAY = dt.date(2026, 5, 4)
SYNTHETIC = Strings(mains=Side(material="synthetic_gut", tension=54))


@dataclass
class Clock:
    """A clock that stands at noon of a day a test sets."""

    day: dt.date = TODAY
    ticks: int = field(default=0)

    def __call__(self) -> dt.datetime:
        """Return noon of the day, a second later at each look."""
        self.ticks += 1
        return dt.datetime.combine(self.day, dt.time(12), dt.UTC) + dt.timedelta(seconds=self.ticks)


@pytest.fixture
def clock() -> Clock:
    """The store's clock."""
    return Clock()


@pytest.fixture
def store(clock: Clock) -> Iterator[Store]:
    """An open, empty database."""
    with open_store("sqlite://", clock=clock) as opened:
        yield opened


@pytest.fixture
def counter(store: Store) -> Counter:
    """The counter on the fourth of May, with Anna at it."""
    return Counter(store, load_book(), TODAY, "anna")


def need(outcome: Answer | Refusal) -> Answer:
    """Return an answer that is no refusal."""
    assert not isinstance(outcome, Refusal), outcome
    return outcome


def refused(outcome: object) -> Refusal:
    """Return an answer that is a refusal."""
    assert isinstance(outcome, Refusal), outcome
    return outcome


def on(counter: Counter, day: dt.date) -> Counter:
    """Return the same counter on another day."""
    return replace(counter, today=day)


MAYA = CustomerDraft(
    name="Maya Okoro",
    phone="(202) 555-0143",
    email="maya@example.org",
    consent_to_contact=True,
    level="recreational",
    plays_per_week=3,
)


def drop_off(**parts: Any) -> DropOff:
    """Return a plain drop-off of Maya's, with some parts replaced."""
    usual: dict[str, Any] = {
        "new_customer": MAYA,
        "frame": Frame(nickname="red frame", sport="tennis", tension_min_lb=48, tension_max_lb=60),
        "frame_check": "sound",
        "strings": SYNTHETIC,
    }
    return DropOff(**(usual | parts))


def bring(counter: Counter, **parts: Any) -> TakenIn:
    """Take in a racquet of Maya's."""
    return need(take_in(counter, drop_off(**parts)))


def tag_of(taken: TakenIn) -> str:
    """Return the tag of the stringing that was opened."""
    assert taken.job is not None
    return taken.job.tag


@pytest.fixture
def strung(counter: Counter) -> str:
    """The tag of Maya's racquet, strung today with a baseline of 38 kgf/cm."""
    tag = tag_of(bring(counter))
    need(log_strung(counter, Strung(tag=tag, machine="constant_pull", pieces=2)))
    need(log_reading(counter, tag, "baseline", Measured(values=(38,), kind="stiffness")))
    return tag


@pytest.fixture
def collected(counter: Counter, strung: str) -> str:
    """The tag of Maya's racquet, strung and fetched today."""
    need(hand_over(counter, strung))
    return strung
