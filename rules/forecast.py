"""When a stringbed will have lost so much: a range of days for one job; it never decides and overrides no verdict."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import replace

from rules.facts import Kind
from rules.forecast_answer import Band, Forecast, Outlier
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_fit import LossFit, Misfit, Noise, fit_without_outliers
from rules.forecast_history import HOURS_PER_DAY, HOURS_PER_WEEK, History, Job, read_history
from rules.forecast_prior import Population, ShopPrior, expect_from_book, expect_of_any, expect_of_job
from rules.forecast_remarks import remark_on
from rules.forecast_view import FitView
from rules.ranges import EIGHTY_PERCENT

_UNNAMED_LINES = Kind.STIFFNESS
"""An instrument nobody named is given the lines of this kind."""


def forecast_loss(
    job: Job,
    today: dt.date,
    *,
    earlier: Sequence[Job] = (),
    shop: ShopPrior | None = None,
    book: ForecastBook | None = None,
) -> Forecast:
    """Return how the job's stringbed will lose tension, from its readings and from what was expected beforehand.

    `earlier` are the same player's earlier jobs: those with the same strings and the same kind of instrument count.
    Works with no reading at all; then everything rests on what was expected.

    Raises:
        BookError: when the forecast's data file cannot be used.
    """
    book = book or load_forecast_book()
    start = expect_from_book(job.strings, book)
    history = read_history(job, today, book, start.mean[0])
    past = [read_history(one, today, book, start.mean[0]) for one in earlier if one.strings == job.strings]
    kind = history.kind if history.baseline is not None else _usual_kind(job, past, shop)
    population = shop.populations.get((job.strings, kind), start) if shop is not None else start
    belief, player_jobs = expect_of_job(population, [one for one in past if one.kind == kind])
    figures = book.figures
    fit, misfits = fit_without_outliers(
        history.checks, belief, history.noise, figures.outlier_sd.value, int(figures.outlier_others.value)
    )
    view = FitView(fit, job.strung_on, history.mean_hours_per_week, population.widen, int(figures.horizon_days.value))
    slope_sd = EIGHTY_PERCENT * math.sqrt(max(fit.slope_variance, 0.0))
    lines = book.lines[kind or _UNNAMED_LINES].percent
    found = Forecast(
        strung_on=job.strung_on,
        today=today,
        kind=kind,
        readings=len(history.checks),
        loss_today_percent=view.band((today - job.strung_on).days),
        slope_percent_per_decade=Band(max(fit.slope - slope_sd, 0.0), fit.slope, fit.slope + slope_sd),
        curve=view.curve(today),
        reaches=tuple(view.reach(line, today) for line in lines),
        rests_on_prior=view.weigh_prior(figures.reference_days.value),
        shop_jobs=population.jobs,
        shop_learnt_on=shop.learnt_on if shop is not None and population.jobs else None,
        player_jobs=player_jobs,
        outliers=tuple(_name_outlier(one, history, today) for one in misfits),
    )
    return replace(found, remarks=remark_on(found, job, history, book))


def usual_loss(population: Population, days: float, book: ForecastBook) -> Band:
    """Return the loss, in per cent, to expect of any job of the population that day, for the usual hours of play."""
    figures = book.figures
    zero, hours = figures.baseline_minutes.value / 60, days * HOURS_PER_DAY
    played = figures.hours_per_week.value * (hours - zero) / HOURS_PER_WEEK
    mean, sd = LossFit((), expect_of_any(population), Noise(zero, 0.0, 0.0)).at(hours, played)
    half = EIGHTY_PERCENT * sd * population.widen
    return Band(mean - half, mean, mean + half)


def _usual_kind(job: Job, past: Sequence[History], shop: ShopPrior | None) -> Kind | None:
    """Return the kind of instrument a job will be read with that nobody has measured yet: player's or shop's."""
    if kinds := [one.kind for one in past if one.checks]:
        return max(kinds, key=kinds.count)
    jobs = (
        {kind: one.jobs for (strings, kind), one in shop.populations.items() if strings == job.strings} if shop else {}
    )
    return max(jobs, key=lambda kind: jobs[kind], default=None)


def _name_outlier(misfit: Misfit, history: History, today: dt.date) -> Outlier:
    return Outlier(
        on=history.readings[misfit.index].taken_on or today,
        loss_percent=history.checks[misfit.index].loss_percent,
        expected_percent=misfit.expected_percent,
        sd_away=misfit.sd_away,
        set_aside=misfit.set_aside,
    )
