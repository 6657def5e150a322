"""From stringings on record to the jobs of a forecast; forecasts nothing."""

from __future__ import annotations

from enum import StrEnum
from typing import TypeVar

from rules.facts import Kind, Material, Reading, Span
from rules.forecast_book import ForecastBook
from rules.forecast_history import Job
from storage.measured import MeasuredJob, MeasuredReading, Weekly
from storage.rows import ReadingRole, ReadingRow

Word = TypeVar("Word", bound=StrEnum)


def job_of(stringing: MeasuredJob, book: ForecastBook) -> Job:
    """Return a measured stringing as a job of the forecast, its player told apart by number."""
    fresh = tuple(reading_of(one) for one in stringing.readings if one.role == ReadingRole.BASELINE)
    later = tuple(reading_of(one) for one in stringing.readings if one.role != ReadingRole.BASELINE)
    return Job(
        strung_on=stringing.strung_on,
        mains_material=known_word(Material, stringing.mains_material),
        crosses_material=known_word(Material, stringing.crosses_material),
        baseline=fresh,
        reading=later,
        hours_per_week=_hours(stringing, book),
        strung_on_sd_days=book.figures.month_days_sd.value if stringing.strung_on_approx else 0.0,
        player=None if stringing.customer_id is None else str(stringing.customer_id),
    )


def reading_of(row: MeasuredReading | ReadingRow) -> Reading:
    """Return a stored reading; one of a kind this version does not know stays apart from all others by its unit."""
    kind = known_word(Kind, row.kind)
    unit = row.unit if kind or row.kind is None else row.kind
    return Reading(row.values, kind, unit, row.instrument, row.taken_on)


def _hours(stringing: MeasuredJob, book: ForecastBook) -> Span | None:
    """Return the hours of play a week, from plays a week where nobody gave the hours."""
    weekly = stringing.hours_per_week
    if weekly is None and stringing.plays_per_week is not None:
        usual = book.figures.hours_per_play.value
        weekly = _times(stringing.plays_per_week, stringing.hours_per_play or (usual, usual))
    return None if weekly is None else Span(*weekly)


def _times(first: tuple[float, float], second: tuple[float, float]) -> Weekly:
    return first[0] * second[0], first[1] * second[1]


def known_word(words: type[Word], word: str | None) -> Word | None:
    """Return the member a stored word stands for, or None for a word of another version."""
    try:
        return None if word is None else words(word)
    except ValueError:
        return None
