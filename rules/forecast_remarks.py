"""What a forecast says of itself, and beside the chart; every sentence comes from the data file."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator

from rules.forecast_answer import Forecast, Outlier, Reach, Remark
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_book import ForecastRemark as Key
from rules.forecast_history import History, Job


def remark_on(forecast: Forecast, job: Job, history: History, book: ForecastBook) -> tuple[Remark, ...]:
    """Return the forecast's remarks: first what it says, then what it rests on, then what is odd about the readings."""
    parts = (
        _say_reaches(forecast, book),
        _say_grounds(forecast, job, history, book),
        _say_readings(forecast, history, book),
    )
    return tuple(Remark(key, book.say(key, **values)) for part in parts for key, values in part)


Said = tuple[Key, dict[str, object]]


def _say_reaches(forecast: Forecast, book: ForecastBook) -> Iterator[Said]:
    for one in forecast.reaches:
        yield _say_reach(one, forecast, book)


def _say_reach(one: Reach, forecast: Forecast, book: ForecastBook) -> Said:
    line = f"{one.line_percent:g}"
    horizon = book.say_days(book.figures.horizon_days.value)
    if one.earliest is None:
        return Key.NOT_REACHED, {"line": line, "horizon": horizon}
    if one.latest is not None and one.latest <= forecast.today:
        return Key.REACHED, {"line": line}
    earliest = book.say_days((one.earliest - forecast.strung_on).days)
    if one.latest is None:
        return Key.REACHED_OR_NOT, {"line": line, "earliest": earliest, "horizon": horizon}
    latest = book.say_days((one.latest - forecast.strung_on).days)
    return Key.REACHED_BETWEEN, {"line": line, "earliest": earliest, "latest": latest}


def _say_grounds(forecast: Forecast, job: Job, history: History, book: ForecastBook) -> Iterator[Said]:
    if not forecast.readings:
        yield (Key.NO_BASELINE if history.baseline is None and job.reading else Key.NO_READINGS), {}
    elif forecast.readings == 1:
        yield Key.ONE_READING, {}
    if forecast.readings and forecast.rests_on_prior >= book.figures.leans_share.value:
        yield Key.LEANS_ON_PRIOR, {"share": round(100 * forecast.rests_on_prior)}
    if forecast.shop_learnt_on is not None:
        learnt_on = forecast.shop_learnt_on.isoformat()
        yield Key.FROM_SHOP, {"jobs": forecast.shop_jobs, "learnt_on": learnt_on}
    else:
        yield Key.FROM_BOOK, {}
    if forecast.player_jobs:
        yield Key.FROM_PLAYER, {"jobs": forecast.player_jobs}
    if None in job.strings:
        yield Key.MATERIAL_UNKNOWN, {}
    if not history.play_known:
        yield Key.PLAY_UNKNOWN, {"hours": f"{history.hours_per_week.low:g}"}
    if history.baseline is not None and history.baseline.estimated:
        yield Key.ESTIMATED_BASELINE, {}


def _say_readings(forecast: Forecast, history: History, book: ForecastBook) -> Iterator[Said]:
    settling_days = book.figures.settling_days.value
    lines = [one.line_percent for one in forecast.reaches]
    for check, reading in zip(history.checks, history.readings, strict=True):
        on = reading.taken_on or forecast.today
        zero_day = history.noise.zero_hours < check.hours
        if check.loss_percent < 0 and zero_day:
            yield Key.ABOVE_BASELINE, {"on": on.isoformat(), "rise": f"{-check.loss_percent:.1f}"}
        if (on - forecast.strung_on).days <= settling_days and lines[0] <= check.loss_percent < lines[1]:
            yield Key.SETTLING, {"loss": f"{check.loss_percent:.1f}"}
    for outlier in forecast.outliers:
        yield from _say_outlier(outlier, book)
    counts: dict[Key, int] = {}
    for one in history.left_out:
        counts[one.why] = counts.get(one.why, 0) + 1
    for why, number in counts.items():
        if why is not Key.NO_BASELINE:  # said above
            yield why, {"number": number}


def _say_outlier(outlier: Outlier, book: ForecastBook) -> Iterator[Said]:
    on = outlier.on.isoformat()
    key = Key.OUTLIER_SET_ASIDE if outlier.set_aside else Key.OUTLIER_KEPT
    yield key, {"on": on, "loss": f"{outlier.loss_percent:.1f}", "expected": f"{outlier.expected_percent:.1f}"}
    if outlier.sd_away > 0:
        drop = f"{outlier.loss_percent - outlier.expected_percent:.0f}"
        heat = f"{book.heat.nylon_percent_three_hours.value:g}"
        yield Key.SUDDEN_DROP, {"on": on, "drop": drop, "heat": heat}


def compare_with_chart(
    forecast: Forecast, restring_by: dt.date, line_percent: float = 20.0, book: ForecastBook | None = None
) -> Remark | None:
    """Return how the chart's date stands to the forecast's range for a loss, or None when that loss is not forecast.

    The chart's date stays what it is: this only sets the two side by side.
    """
    book = book or load_forecast_book()
    one = forecast.reach(line_percent)
    if one is None:
        return None
    line = f"{line_percent:g}"
    chart = book.say_days((restring_by - forecast.strung_on).days)
    if one.earliest is None:
        key, values = _say_reach(one, forecast, book)
        return Remark(key, book.say(key, **values))
    earliest = book.say_days((one.earliest - forecast.strung_on).days)
    if one.latest is not None and restring_by > one.latest:
        latest = book.say_days((one.latest - forecast.strung_on).days)
        key, values = Key.CHART_LATER, {"line": line, "chart": chart, "earliest": earliest, "latest": latest}
    elif restring_by < one.earliest:
        key, values = Key.CHART_EARLIER, {"line": line, "chart": chart, "earliest": earliest}
    else:
        key, values = Key.CHART_AGREES, {"line": line, "chart": chart}
    return Remark(key, book.say(key, **values))
