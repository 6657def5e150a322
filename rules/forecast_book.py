"""The forecast's data file as a frozen model: priors, scatters, lines and sentences; computes nothing."""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Literal

from pydantic import Field, model_validator

from rules.facts import Kind, Material
from rules.physics_book import (
    BOOK_FOLDER,
    Figure,
    Saying,
    Spread,
    Strict,
    check_complete,
    check_sentences,
    read_physics,
)

FILE = "forecast.yaml"


class ForecastRemark(StrEnum):
    """What a forecast says of itself; the sentences stand in the data file."""

    NO_READINGS = "no_readings"
    NO_BASELINE = "no_baseline"
    ONE_READING = "one_reading"
    LEANS_ON_PRIOR = "leans_on_prior"
    FROM_BOOK = "from_book"
    FROM_SHOP = "from_shop"
    FROM_PLAYER = "from_player"
    ABOVE_BASELINE = "above_baseline"
    SETTLING = "settling"
    OUTLIER_SET_ASIDE = "outlier_set_aside"
    OUTLIER_KEPT = "outlier_kept"
    SUDDEN_DROP = "sudden_drop"
    LEFT_OUT_UNLIKE = "left_out_unlike"
    LEFT_OUT_BEFORE_STRINGING = "left_out_before_stringing"
    LEFT_OUT_AFTER_TODAY = "left_out_after_today"
    LEFT_OUT_NO_NUMBER = "left_out_no_number"
    PLAY_UNKNOWN = "play_unknown"
    MATERIAL_UNKNOWN = "material_unknown"
    ESTIMATED_BASELINE = "estimated_baseline"
    REACHED = "reached"
    REACHED_BETWEEN = "reached_between"
    REACHED_OR_NOT = "reached_or_not"
    NOT_REACHED = "not_reached"
    CHART_LATER = "chart_later"
    CHART_EARLIER = "chart_earlier"
    CHART_AGREES = "chart_agrees"


PLACEHOLDERS: dict[ForecastRemark, frozenset[str]] = {
    ForecastRemark.LEANS_ON_PRIOR: frozenset({"share"}),
    ForecastRemark.FROM_SHOP: frozenset({"jobs", "learnt_on"}),
    ForecastRemark.FROM_PLAYER: frozenset({"jobs"}),
    ForecastRemark.ABOVE_BASELINE: frozenset({"on", "rise"}),
    ForecastRemark.SETTLING: frozenset({"loss"}),
    ForecastRemark.OUTLIER_SET_ASIDE: frozenset({"on", "loss", "expected"}),
    ForecastRemark.OUTLIER_KEPT: frozenset({"on", "loss", "expected"}),
    ForecastRemark.SUDDEN_DROP: frozenset({"on", "drop", "heat"}),
    ForecastRemark.LEFT_OUT_UNLIKE: frozenset({"number"}),
    ForecastRemark.LEFT_OUT_BEFORE_STRINGING: frozenset({"number"}),
    ForecastRemark.LEFT_OUT_AFTER_TODAY: frozenset({"number"}),
    ForecastRemark.LEFT_OUT_NO_NUMBER: frozenset({"number"}),
    ForecastRemark.PLAY_UNKNOWN: frozenset({"hours"}),
    ForecastRemark.REACHED: frozenset({"line"}),
    ForecastRemark.REACHED_BETWEEN: frozenset({"line", "earliest", "latest"}),
    ForecastRemark.REACHED_OR_NOT: frozenset({"line", "earliest", "horizon"}),
    ForecastRemark.NOT_REACHED: frozenset({"line", "horizon"}),
    ForecastRemark.CHART_LATER: frozenset({"line", "chart", "earliest", "latest"}),
    ForecastRemark.CHART_EARLIER: frozenset({"line", "chart", "earliest"}),
    ForecastRemark.CHART_AGREES: frozenset({"line", "chart"}),
}
"""The values a remark's sentence may name in braces; a remark not listed takes none."""


class ForecastFigures(Strict):
    """The single numbers of the forecast."""

    baseline_minutes: Figure
    baseline_decades_sd: Figure
    same_day_hours: Figure
    same_day_decades_sd: Figure
    settling_days: Figure
    horizon_days: Figure
    drift_percent: Figure
    outlier_sd: Figure
    outlier_others: Figure
    estimated_baseline_percent: Figure
    month_days_sd: Figure
    year_days_sd: Figure
    span_share_sd: Figure
    hours_per_week: Figure
    hours_per_week_sd: Figure
    hours_per_play: Figure
    hours_share_sd: Figure
    reference_days: Figure
    told_line_percent: Figure
    apart_days: Figure
    move_readings: Figure
    leans_share: Figure
    shop_share: Figure
    player_share: Figure
    shop_strength: Figure
    shop_prior_days: Figure
    bend_sd: Figure
    turn_sd: Figure
    implausible_sd: Figure
    widen_least: Figure
    widen_most: Figure
    unnamed_scatter_percent: Figure


class StringFigures(Strict):
    """How one kind of string loses tension, before any reading."""

    slope: Spread
    wear: Spread


class Lines(Strict):
    """The losses in per cent whose days are forecast for one kind of instrument."""

    percent: list[float] = Field(min_length=1)
    source: str


class Heat(Strict):
    """What heat alone did in one experiment, for the sentence about a sudden drop."""

    nylon_percent_first_hour: Figure
    nylon_percent_three_hours: Figure


class ForecastBook(Saying[ForecastRemark]):
    """All that the forecast assumes, with unit and source."""

    figures: ForecastFigures
    scatter: dict[Kind, Figure]
    lines: dict[Kind, Lines]
    strings: dict[Material | Literal["unknown"], StringFigures]
    heat: Heat
    spans: dict[Literal["first_day", "day", "days", "weeks", "months"], str]

    @model_validator(mode="after")
    def _complete(self) -> ForecastBook:
        wanted = {
            "scatter": set(Kind),
            "lines": set(Kind),
            "strings": {*Material, "unknown"},
            "remarks": set(ForecastRemark),
            "spans": {"first_day", "day", "days", "weeks", "months"},
        }
        check_complete(self, wanted)
        check_sentences(self.remarks, PLACEHOLDERS)
        return self

    def say_days(self, days: float) -> str:
        """Return a length of time as people say it: days, weeks from two weeks on, months from three months on."""
        if days < 14:  # noqa: PLR2004 - whole weeks are how a counter talks
            if round(days) == 0:
                return self.spans["first_day"]
            return self.spans["day" if round(days) == 1 else "days"].format(n=round(days))
        if days < 91:  # noqa: PLR2004
            return self.spans["weeks"].format(n=round(days / 7))
        return self.spans["months"].format(n=round(days / 30.44))


@lru_cache(maxsize=4)
def load_forecast_book(folder: Path = BOOK_FOLDER) -> ForecastBook:
    """Return the forecast's data file.

    Raises:
        BookError: names the key and the remedy when the file cannot be used.
    """
    return read_physics(folder, FILE, ForecastBook)
