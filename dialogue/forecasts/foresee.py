"""The forecast of one stringing: its readings on the card, its player's earlier ones, and what the shop has learnt."""

from __future__ import annotations

import datetime as dt
import logging
from dataclasses import replace

from dialogue.forecasts.shop_prior import read_prior
from dialogue.forecasts.stringings import job_of, reading_of
from rules.facts import Facts, Reading
from rules.forecast import forecast_loss
from rules.forecast_answer import Forecast
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_history import Job, job_from_facts
from storage.rows import ReadingRole
from storage.unit_of_work import UnitOfWork

logger = logging.getLogger(__name__)


def foresee_loss(unit: UnitOfWork, facts: Facts, today: dt.date, job_id: int | None) -> Forecast | None:
    """Return how the strings will lose tension, or None where their stringing day or their baseline is not known.

    Args:
        unit: the open unit of work.
        facts: what is known of the strings.
        today: the day of the forecast.
        job_id: the stringing's card, whose readings count beside those of the facts; None where there is none.
    """
    book = load_forecast_book()
    job = job_from_facts(facts, book)
    if job is None or not job.baseline:
        return None
    kept = read_prior(unit, today, book)
    if kept.trouble:
        logger.warning("shop_prior_not_used why=%s", kept.trouble.reason)
    known: tuple[Reading, ...] = ()
    earlier: tuple[Job, ...] = ()
    row = unit.jobs.get(job_id) if job_id is not None else None
    if row is not None and row.strung_on == job.strung_on:
        known = tuple(reading_of(one) for one in unit.readings.of_job(row.id, ReadingRole.CHECK))
        earlier = _earlier(unit, row.racquet_id, row.id, job, book)
    seen = {(one.kind, one.values, one.taken_on) for one in known}
    said = [one for one in job.reading if (one.kind, one.values, one.taken_on or today) not in seen]
    return forecast_loss(replace(job, reading=(*known, *said)), today, earlier=earlier, shop=kept.prior, book=book)


def _earlier(unit: UnitOfWork, racquet_id: int, job_id: int, job: Job, book: ForecastBook) -> tuple[Job, ...]:
    """Return the same player's stringings before this one."""
    customer_id = unit.racquets.get(racquet_id).customer_id
    if customer_id is None:
        return ()
    jobs = (job_of(one, book) for one in unit.measured.of_customer(customer_id, job_id))
    return tuple(one for one in jobs if one.strung_on <= job.strung_on)
