"""What the board's pages show, read off the cards in one look each; writes nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from assistant.channels.web.plot import Plot, draw, find_thresholds, group_readings
from assistant.channels.web.shop import Shop
from dialogue.counter.counter import Counter
from dialogue.counter.evidence import decide_facts, open_case, read_facts, with_label
from dialogue.counter.pickup import tell_strings
from dialogue.forecasts.foresee import foresee_loss

STRUNG = ("strung", "ready", "collected")


@dataclass(frozen=True)
class JobPage:
    """One stringing with everything around it."""

    job: Any
    racquet: Any
    customer: Any
    strings: str
    readings: tuple[Any, ...]
    plots: tuple[Plot, ...]
    forecast: Mapping[str, Any] | None
    decision: Mapping[str, Any] | None
    """What the rules say today, of strings that are in the racquet."""
    history: Any
    superseded_by: int | None


@dataclass(frozen=True)
class RacquetShown:
    """One racquet of a customer with its stringings, the newest first."""

    racquet: Any
    jobs: tuple[tuple[Any, str], ...]
    """Each stringing with its strings in words."""
    plots: tuple[Plot, ...]
    """Of the strings that are in it."""
    on_the_bench: bool


@dataclass(frozen=True)
class CustomerPage:
    """One customer with all racquets."""

    customer: Any
    racquets: tuple[RacquetShown, ...]
    leagues: tuple[str, ...]


@dataclass(frozen=True)
class Replay:
    """One consultation as it was: words, facts, decision."""

    consultation: Any
    facts: tuple[tuple[str, str, str], ...]
    """Fact, value and the words it was said in."""
    turns: tuple[tuple[str, str], ...]
    """Who said what; empty where the conversation is forgotten."""


def read_job(counter: Counter, job_id: int) -> JobPage:
    """Return one stringing.

    Raises:
        NotFound: when there is none of that number.
    """
    with counter.look() as unit:
        job = unit.jobs.get(job_id)
        case = open_case(unit, job)
        history = unit.queries.history(case.racquet.id)
        entry = next(one for one in history.jobs if one.job.id == job.id)
        decision, forecast = None, None
        if job.strung_on and entry.superseded_by is None:
            facts = with_label(read_facts(counter, unit, case), job, counter)
            decision = decide_facts(counter, facts).to_dict()
            forecast = _foresee(counter, unit, facts, job.id)
        return JobPage(
            job=job,
            racquet=case.racquet,
            customer=case.customer,
            strings=tell_strings(counter, job),
            readings=case.readings,
            plots=_draw_all(counter, job, case.readings, forecast),
            forecast=forecast,
            decision=decision,
            history=history,
            superseded_by=entry.superseded_by,
        )


def read_customer(counter: Counter, customer_id: int) -> CustomerPage:
    """Return one customer.

    Raises:
        NotFound: when there is none of that number.
    """
    with counter.look() as unit:
        customer = unit.customers.get(customer_id)
        shown = []
        for racquet in unit.racquets.of_customer(customer_id):
            history = unit.queries.history(racquet.id)
            current = next((one for one in history.jobs if one.job.status in STRUNG), None)
            plots: tuple[Plot, ...] = ()
            if current and current.job.strung_on:
                facts = read_facts(counter, unit, open_case(unit, current.job))
                forecast = _foresee(counter, unit, facts, current.job.id)
                plots = _draw_all(counter, current.job, current.readings, forecast)
            jobs = tuple((one.job, tell_strings(counter, one.job)) for one in history.jobs)
            bench = any(one.job.status in ("received", "strung", "ready") for one in history.jobs)
            shown.append(RacquetShown(racquet, jobs, plots, bench))
        leagues = [
            league.name
            for league in unit.leagues.all()
            if customer_id in {member.id for member in unit.leagues.members(league.id)}
        ]
        return CustomerPage(customer, tuple(shown), tuple(leagues))


def read_replay(shop: Shop, counter: Counter, consultation_id: int) -> Replay:
    """Return one consultation as it was.

    Raises:
        NotFound: when there is none of that number.
    """
    with counter.look() as unit:
        row = unit.consultations.get(consultation_id)
        events = unit.conversations.get(row.conversation_id).events if row.conversation_id else ()
    facts = {name: value for name, value in row.facts.items() if name != "words"}
    words = row.facts.get("words") or {}
    told = tuple((name, _told(shop, name, value), str(words.get(name, ""))) for name, value in facts.items())
    turns = tuple(
        (str(event["event"]), str(event["text"]))
        for event in events
        if event.get("event") in ("user", "bot") and event.get("text")
    )
    return Replay(row, told, turns)


def last_change(counter: Counter) -> int:
    """Return the number of the last entry anybody made, at whichever counter."""
    with counter.look() as unit:
        latest = unit.trail.latest(1)
        return latest[0].id if latest else 0


def _told(shop: Shop, name: str, value: Any) -> str:
    told = shop.tell_facts({name: value})
    return told[0] if told else str(value)


def _foresee(counter: Counter, unit: Any, facts: Any, job_id: int) -> Mapping[str, Any] | None:
    found = foresee_loss(unit, facts, counter.today, job_id)
    return found.to_dict() if found else None


def _draw_all(
    counter: Counter, job: Any, readings: tuple[Any, ...], forecast: Mapping[str, Any] | None
) -> tuple[Plot, ...]:
    strung: dt.date | None = job.strung_on
    if strung is None:
        return ()
    drawn = []
    for series in group_readings(readings, strung):
        alike = forecast is not None and forecast["kind"] == series.kind
        curve = forecast["curve"] if forecast and alike else ()
        drawn.append(draw(series, find_thresholds(series, counter.book.values), counter.today, curve))
    return tuple(drawn)
