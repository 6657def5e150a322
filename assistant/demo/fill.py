"""Fills a database with the invented club, through the same use cases the counter works with."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from dialogue.counter.bench import Strung, log_strung, mark_ready
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import DropOff, Frame, TakenIn, take_in
from dialogue.counter.leagues import create_league, join_league
from dialogue.counter.outcomes import Refusal
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import Measured, log_reading
from dialogue.counter.staff import add_staff
from dialogue.counter.strings import Side, Strings
from dialogue.yaml_files import read_yaml

Answer = TypeVar("Answer")
CLUB = Path(__file__).with_name("club.yaml")
PIN_DIGITS = 6
STEPS = ("received", "strung", "ready", "collected")


class DemoRefused(Exception):
    """The counter refused something the demo data asks for; the data or the counter is wrong."""


@dataclass(frozen=True)
class Filled:
    """What was put in."""

    club: str
    customers: int
    racquets: int


def fill_demo(counter: Counter) -> Filled:
    """Put the invented club into the counter's database, dated back from the counter's day.

    Raises:
        DemoRefused: when the counter refuses an entry.
    """
    club = read_yaml(CLUB)
    with counter.work() as unit:
        here = counter.within(unit)
        for league in club["leagues"]:
            starts = counter.today + dt.timedelta(days=league["starts_in_days"])
            _need(create_league(here, league["name"], (starts,)))
        racquets = sum(_add_customer(here, entry) for entry in club["customers"])
    return Filled(club["club"], len(club["customers"]), racquets)


@dataclass(frozen=True)
class Invited:
    """Somebody invented who may sign in to the staff board."""

    name: str
    pin: str = field(repr=False)
    """Drawn anew each time and stored as a hash only: a demo opened to a network has no PIN that others know."""


def invite_staff(counter: Counter) -> Invited:
    """Let the club's own stringer sign in, and return the PIN."""
    member = read_yaml(CLUB)["staff"]
    pin = f"{secrets.randbelow(10**PIN_DIGITS):0{PIN_DIGITS}}"
    _need(add_staff(counter, member["name"], member["role"], pin))
    return Invited(member["name"], pin)


def _add_customer(counter: Counter, entry: Mapping[str, Any]) -> int:
    low, high = entry["plays_per_week"]
    draft = CustomerDraft(
        name=entry["name"],
        phone=entry["phone"],
        consent_to_contact=entry.get("consent_to_contact", False),
        level=entry["level"],
        plays_per_week=low if low == high else (low, high),
        season=entry.get("season"),
    )
    customer_id = None
    for racquet in entry["racquets"]:
        # A new customer comes in with the first racquet and brings the others later.
        taken = _take_in(counter, racquet, customer_id, draft if customer_id is None else None)
        if customer_id is None:
            customer_id = taken.customer.id
            for league in entry.get("leagues", ()):
                _need(join_league(counter, league, customer_id))
        if taken.job is not None:
            _bring_forward(counter, racquet, taken.job.tag)
    return len(entry["racquets"])


def _take_in(
    counter: Counter, racquet: Mapping[str, Any], customer_id: int | None, draft: CustomerDraft | None
) -> TakenIn:
    mains_count, crosses_count = _pattern(racquet.get("pattern"))
    low, high = racquet.get("tension_range", (None, None))
    mains, crosses = (
        Side(material=racquet[side][0], tension=racquet[side][1], gauge=racquet["gauge"])
        for side in ("mains", "crosses")
    )
    drop_off = DropOff(
        customer_id=customer_id,
        new_customer=draft,
        frame=Frame(
            nickname=racquet["nickname"],
            sport=racquet["sport"],
            head_size_in2=racquet.get("head_size_in2"),
            mains_count=mains_count,
            crosses_count=crosses_count,
            tension_min_lb=low,
            tension_max_lb=high,
        ),
        frame_check="sound",
        strings=Strings(mains=mains, crosses=crosses),
        promised_on=_day_after(counter, racquet.get("promised_in_days")),
    )
    return _need(take_in(_on(counter, racquet.get("strung_days_ago", 0)), drop_off))


def _pattern(text: str | None) -> tuple[int | None, int | None]:
    if text is None:
        return None, None
    mains, crosses = text.split("x")
    return int(mains), int(crosses)


def _day_after(counter: Counter, days: int | None) -> dt.date | None:
    return None if days is None else counter.today + dt.timedelta(days=days)


def _on(counter: Counter, days_ago: int) -> Counter:
    return replace(counter, today=counter.today - dt.timedelta(days=days_ago))


def _bring_forward(counter: Counter, racquet: Mapping[str, Any], tag: str) -> None:
    """String, measure, make ready and hand over a racquet, as far as its status says."""
    reached = STEPS.index(racquet["status"])
    if reached < STEPS.index("strung"):
        return
    then = _on(counter, racquet["strung_days_ago"])
    _need(log_strung(then, Strung(tag=tag, machine="constant_pull", pieces=2)))
    baseline = racquet.get("baseline")
    if baseline:
        measured = Measured(values=tuple(baseline["values"]), kind=baseline["kind"], minutes_after_stringing=10)
        _need(log_reading(then, tag, "baseline", measured))
    if reached >= STEPS.index("ready"):
        _need(mark_ready(then, tag))
    if reached >= STEPS.index("collected"):
        _need(hand_over(then, tag))
    for check in racquet.get("checks", ()):
        measured = Measured(values=tuple(check["values"]), kind=racquet["baseline"]["kind"])
        _need(log_reading(_on(counter, check["days_ago"]), tag, "check", measured))


def _need(outcome: Answer | Refusal) -> Answer:
    if isinstance(outcome, Refusal):
        raise DemoRefused(f"{outcome.reason} {outcome.fact} {dict(outcome.values)}")
    return outcome
