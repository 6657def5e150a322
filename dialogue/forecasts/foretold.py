"""The forecast of one stringing in short, for its label and for whoever hands the racquet over."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.counter import Counter
from dialogue.counter.evidence import Case, read_facts
from dialogue.counter.outcomes import Outcome
from dialogue.forecasts.foresee import foresee_loss
from rules.errors import FactRefused
from rules.forecast_book import load_forecast_book
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class Foretold(Outcome):
    """Between which days so much of the fresh tension will be lost, by the readings of this stringing."""

    line_percent: float
    earliest: dt.date
    expected: dt.date | None
    """None for this and the next: not within the forecast's two years."""
    latest: dt.date | None
    readings: int


def foretell(counter: Counter, unit: UnitOfWork, case: Case) -> Foretold | None:
    """Return the range, or None without a baseline and a reading, or where so much is not likely ever lost."""
    try:
        found = foresee_loss(unit, read_facts(counter, unit, case), counter.today, case.job.id)
    except FactRefused:  # something on the card is of a day after the counter's
        return None
    if found is None or not found.readings:
        return None
    reach = found.reach(load_forecast_book().figures.told_line_percent.value)
    if reach is None or reach.earliest is None:
        return None
    return Foretold(
        line_percent=reach.line_percent,
        earliest=reach.earliest,
        expected=reach.expected,
        latest=reach.latest,
        readings=found.readings,
    )


def say_foretold(counter: Counter, told: Foretold | None) -> str:
    """Return the range as a sentence; empty where there is none, or where it lies behind."""
    if told is None or (told.expected and told.expected <= counter.today):
        return ""
    key = "foretold" if told.latest else "foretold_open"
    return counter.wording.say(
        f"hand_over.{key}", line=told.line_percent, earliest=told.earliest, latest=told.latest or told.earliest
    )
