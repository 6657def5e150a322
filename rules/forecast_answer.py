"""The forecast as an answer: frozen, with its range and what it rests on, the same as JSON; computes nothing."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import Any

from rules.facts import Kind
from rules.forecast_book import ForecastRemark


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
