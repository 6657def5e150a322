"""When a stringbed will have lost so much: a range of days for one job; it never decides and overrides no verdict."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rules.facts import Kind
from rules.forecast_book import ForecastBook, ForecastRemark, load_forecast_book
from rules.forecast_fit import fit_without_outliers
from rules.forecast_history import Job, read_history
from rules.forecast_prior import ShopPrior, expect_from_book, expect_of_job

EIGHTY_PERCENT = 1.2815515655446004
"""Half the width, in standard deviations, that holds 80 % of a normal distribution."""
_POINTS_PER_DECADE = 8
_DEFAULT_LINES = Kind.STIFFNESS
"""An instrument nobody named is given the lines of this kind."""


@dataclass(frozen=True)
class Remark:
    """Something the forecast has to say of itself."""

    key: ForecastRemark
    says: str

    def to_dict(self) -> dict[str, str]:
        """Return the remark as JSON."""
        return {"key": self.key.value, "says": self.says}


@dataclass(frozen=True)
class Band:
    """An expected figure with the range that holds it four times in five."""

    low: float
    expected: float
    high: float

    def to_dict(self) -> dict[str, float]:
        """Return the band as JSON, rounded to two places."""
        return {"low": round(self.low, 2), "expected": round(self.expected, 2), "high": round(self.high, 2)}


@dataclass(frozen=True)
class CurvePoint:
    """The loss to expect on one day."""

    on: dt.date
    days: int
    """Since stringing."""
    loss_percent: Band

    def to_dict(self) -> dict[str, Any]:
        """Return the point as JSON."""
        return {"on": self.on.isoformat(), "days": self.days, "loss_percent": self.loss_percent.to_dict()}


@dataclass(frozen=True)
class Reach:
    """When a loss is reached: a range of days; None stands for not within the horizon."""

    line_percent: float
    earliest: dt.date | None
    """One time in ten it comes sooner."""
    expected: dt.date | None
    latest: dt.date | None
    """One time in ten it comes later, or never."""
    reached_chance: float
    """Chance that it has been reached by today, from 0 to 1."""

    def to_dict(self) -> dict[str, Any]:
        """Return the range as JSON."""
        days = {key: getattr(self, key) for key in ("earliest", "expected", "latest")}
        return {
            "line_percent": self.line_percent,
            **{key: day.isoformat() if day else None for key, day in days.items()},
            "reached_chance": round(self.reached_chance, 3),
        }


@dataclass(frozen=True)
class Outlier:
    """A reading that does not agree with the others, named and never silently dropped."""

    on: dt.date
    loss_percent: float
    expected_percent: float
    sd_away: float
    """Above zero when more was lost than expected."""
    set_aside: bool

    def to_dict(self) -> dict[str, Any]:
        """Return the outlier as JSON."""
        return {
            "on": self.on.isoformat(),
            "loss_percent": round(self.loss_percent, 2),
            "expected_percent": round(self.expected_percent, 2),
            "sd_away": round(self.sd_away, 2),
            "set_aside": self.set_aside,
        }


@dataclass(frozen=True)
class Forecast:
    """How one stringbed will lose tension, how sure that is, and what it rests on."""

    strung_on: dt.date
    today: dt.date
    kind: Kind | None
    readings: int
    """Readings of this job that count, the baseline not among them."""
    loss_today_percent: Band
    slope_percent_per_decade: Band
    """Loss per tenfold time since stringing."""
    curve: tuple[CurvePoint, ...]
    reaches: tuple[Reach, ...]
    rests_on_prior: float
    """Share of the answer that was expected beforehand: 1 with no reading, near 0 with many."""
    shop_jobs: int
    """Jobs of the shop behind what was expected; 0 when it is the book's own figure."""
    shop_learnt_on: dt.date | None
    player_jobs: int
    outliers: tuple[Outlier, ...] = ()
    remarks: tuple[Remark, ...] = ()

    def reach(self, line_percent: float) -> Reach | None:
        """Return the range for that loss, or None where it was not asked for."""
        return next((one for one in self.reaches if one.line_percent == line_percent), None)

    def to_dict(self) -> dict[str, Any]:
        """Return the forecast as JSON."""
        return {
            "strung_on": self.strung_on.isoformat(),
            "today": self.today.isoformat(),
            "kind": self.kind.value if self.kind else None,
            "readings": self.readings,
            "loss_today_percent": self.loss_today_percent.to_dict(),
            "slope_percent_per_decade": self.slope_percent_per_decade.to_dict(),
            "curve": [point.to_dict() for point in self.curve],
            "reaches": [one.to_dict() for one in self.reaches],
            "rests_on_prior": round(self.rests_on_prior, 3),
            "shop_jobs": self.shop_jobs,
            "shop_learnt_on": self.shop_learnt_on.isoformat() if self.shop_learnt_on else None,
            "player_jobs": self.player_jobs,
            "outliers": [one.to_dict() for one in self.outliers],
            "remarks": [one.to_dict() for one in self.remarks],
        }


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
    population = start
    if shop is not None:
        population = shop.populations.get((job.strings, history.kind), start)
    past = [read_history(one, today, book, start.mean[0]) for one in earlier if one.strings == job.strings]
    belief, player_jobs = expect_of_job(population, [one for one in past if one.kind == history.kind])
    limits = book.figures
    fit, misfits = fit_without_outliers(
        history.checks, belief, history.noise, limits.outlier_sd.value, int(limits.outlier_others.value)
    )
    view = _View(job, history, fit, population.widen, book)
    outliers = tuple(_name_outlier(one, history, today) for one in misfits)
    learnt_on = shop.learnt_on if shop is not None and population.jobs else None
    slope_sd = EIGHTY_PERCENT * math.sqrt(max(fit.slope_variance, 0.0))
    found = Forecast(
        strung_on=job.strung_on,
        today=today,
        kind=history.kind,
        readings=len(history.checks),
        loss_today_percent=view.band((today - job.strung_on).days),
        slope_percent_per_decade=Band(max(fit.slope - slope_sd, 0.0), fit.slope, fit.slope + slope_sd),
        curve=view.curve(today),
        reaches=tuple(view.reach(line, today) for line in _lines(history.kind, book)),
        rests_on_prior=view.weigh_prior(),
        shop_jobs=population.jobs,
        shop_learnt_on=learnt_on,
        player_jobs=player_jobs,
        outliers=outliers,
    )
    return found
