"""One stringing with its readings as losses over time, like with like only; knows no prior and fits nothing."""

from __future__ import annotations

import datetime as dt
import math
from dataclasses import dataclass
from statistics import stdev

from rules.facts import Facts, Kind, Material, Reading, Span
from rules.forecast_book import ForecastBook, ForecastRemark
from rules.forecast_fit import Check, Noise
from rules.forecast_law import LN10
from rules.measurement import Comparison, compare

HOURS_PER_DAY = 24.0
HOURS_PER_WEEK = 168.0
_DAY_SD_HOURS = HOURS_PER_DAY / math.sqrt(12)
"""Standard deviation of a moment of which only the day is known."""
_MOST_DECADES_OFF = 0.5
"""An uncertain day blurs the loss at most like a threefold error in time."""


@dataclass(frozen=True)
class Job:
    """One stringing of one racquet, with all that was read from it."""

    strung_on: dt.date
    mains_material: Material | None = None
    crosses_material: Material | None = None
    """None beside known mains is read as the same string throughout."""
    baseline: tuple[Reading, ...] = ()
    reading: tuple[Reading, ...] = ()
    """In any order; a reading without a day was taken today."""
    hours_per_week: Span | None = None
    """Hours of play a week."""
    strung_on_sd_days: float = 0.0
    """How far the stringing day may be off, as a standard deviation, where it is approximate."""
    player: str | None = None
    """Anything that tells players apart; only compared, never shown."""

    @property
    def strings(self) -> tuple[Material | None, Material | None]:
        """Return what the mains and the crosses are made of."""
        return self.mains_material, self.crosses_material or self.mains_material


@dataclass(frozen=True)
class LeftOut:
    """A reading that could not be used, and why."""

    reading: Reading
    why: ForecastRemark


@dataclass(frozen=True)
class History:
    """The losses of one job as one instrument saw them."""

    kind: Kind | None
    baseline: Reading | None
    """The one baseline every loss is counted from."""
    checks: tuple[Check, ...]
    readings: tuple[Reading, ...]
    """The readings behind the checks, in the same order, by day."""
    noise: Noise
    hours_per_week: Span
    left_out: tuple[LeftOut, ...] = ()
    play_known: bool = True

    @property
    def mean_hours_per_week(self) -> float:
        """Return the middle of the weekly hours of play."""
        return (self.hours_per_week.low + self.hours_per_week.high) / 2


def job_from_facts(facts: Facts, book: ForecastBook) -> Job | None:
    """Return the job that the facts describe, or None while the stringing day is not known."""
    if facts.strung_on is None:
        return None
    weekly, plays = facts.hours_per_week, facts.plays_per_week
    if weekly is None and plays is not None:
        hours = facts.hours_per_play or Span(book.figures.hours_per_play.value, book.figures.hours_per_play.value)
        weekly = Span(plays.low * hours.low, plays.high * hours.high)
    return Job(
        strung_on=facts.strung_on.day,
        mains_material=facts.mains_material,
        crosses_material=facts.crosses_material,
        baseline=facts.baseline,
        reading=facts.reading,
        hours_per_week=weekly,
        strung_on_sd_days=_days_off(facts, book),
    )


def _days_off(facts: Facts, book: ForecastBook) -> float:
    """Return how far the stringing day may be off, as a standard deviation in days."""
    strung = facts.strung_on
    if strung is None or not strung.approx:
        return 0.0
    if strung.named is None:
        return (facts.today - strung.day).days * book.figures.span_share_sd.value
    return (book.figures.month_days_sd if "-" in strung.named else book.figures.year_days_sd).value


def read_history(job: Job, today: dt.date, book: ForecastBook, slope: float) -> History:
    """Return the job's losses as its best documented instrument saw them.

    `slope` is the loss per tenfold time expected beforehand: it turns an uncertain hour into an uncertain loss.
    Losses count from the latest baseline of the instrument; an earlier baseline of the same instrument stays in as a
    reading. Of two instruments the one with more readings is taken, and the readings of the other are named.
    """
    usable, left_out = _sift(job, today)
    pairs = _best_series(job, usable)
    taken = {id(pair.reading) for pair in pairs}
    measured = any(min(one.values) > 0 for one in job.baseline)
    why = ForecastRemark.LEFT_OUT_UNLIKE if measured else ForecastRemark.NO_BASELINE
    left_out += [LeftOut(reading, why) for reading in usable if id(reading) not in taken]
    clock = _Clock(job, today, book, slope)
    weekly, share_sd, play_known = _play(job, book)
    baseline = pairs[0].baseline if pairs else next((one for one in job.baseline if min(one.values) > 0), None)
    zero, zero_sd = clock.time_baseline(baseline)
    rate = (weekly.low + weekly.high) / 2 / HOURS_PER_WEEK
    rows = []
    for pair in pairs:
        was_baseline = any(pair.reading is one for one in job.baseline)
        timed = clock.time_baseline if was_baseline else clock.time_reading
        hours, hours_sd = timed(pair.reading)
        scatter = math.hypot(_scatter_percent(pair.reading, baseline, book), hours_sd)
        rows.append((Check(hours, rate * (hours - zero), 100 * float(pair.loss), scatter), pair.reading))
    rows.sort(key=lambda row: row[0].hours)
    return History(
        kind=pairs[0].kind if pairs else (baseline.kind if baseline else None),
        baseline=baseline,
        checks=tuple(check for check, _ in rows),
        readings=tuple(reading for _, reading in rows),
        noise=Noise(
            zero_hours=zero,
            baseline_percent=math.hypot(_scatter_percent(baseline, baseline, book), zero_sd),
            played_share=share_sd,
            against_baseline=baseline is None or not baseline.estimated,
        ),
        hours_per_week=weekly,
        left_out=tuple(left_out),
        play_known=play_known,
    )


def _sift(job: Job, today: dt.date) -> tuple[list[Reading], list[LeftOut]]:
    """Return the readings that may count, and those that may not with the reason."""
    usable, left_out = [], []
    for reading in job.reading:
        day = reading.taken_on or today
        if min(reading.values) <= 0:
            left_out.append(LeftOut(reading, ForecastRemark.LEFT_OUT_NO_NUMBER))
        elif day > today:
            left_out.append(LeftOut(reading, ForecastRemark.LEFT_OUT_AFTER_TODAY))
        elif day < job.strung_on and not job.strung_on_sd_days:
            left_out.append(LeftOut(reading, ForecastRemark.LEFT_OUT_BEFORE_STRINGING))
        else:
            usable.append(reading)
    return usable, left_out


def _best_series(job: Job, usable: list[Reading]) -> list[Comparison]:
    """Return the readings of one instrument beside its latest baseline, earlier baselines of it among them."""
    baselines = [one for one in job.baseline if min(one.values) > 0]
    series: dict[tuple[Kind | None, str | None, str | None], list[Comparison]] = {}
    for reading in usable:
        for pair in compare(baselines, (reading,)):
            series.setdefault((pair.kind, reading.unit, reading.instrument), []).append(pair)
    for one in baselines if len(baselines) > 1 else ():
        for pair in compare(baselines, (one,)):
            earlier = (one.taken_on or job.strung_on) < (pair.baseline.taken_on or job.strung_on)
            if earlier and not one.estimated:
                series.setdefault((pair.kind, one.unit, one.instrument), []).append(pair)
    return max(series.values(), key=len, default=[])


def _play(job: Job, book: ForecastBook) -> tuple[Span, float, bool]:
    """Return the weekly hours of play, how far off they may be as a share, and whether anybody said them."""
    figures = book.figures
    if job.hours_per_week is None:
        usual = figures.hours_per_week.value
        return Span(usual, usual), figures.hours_per_week_sd.value / usual, False
    weekly = job.hours_per_week
    middle = (weekly.low + weekly.high) / 2
    half = (weekly.high - weekly.low) / 2
    return weekly, math.hypot(figures.hours_share_sd.value, half / middle if middle else 0.0), True


def _scatter_percent(reading: Reading | None, baseline: Reading | None, book: ForecastBook) -> float:
    """Return the standard deviation of a reading's mean, in per cent of the tension the baseline stands for."""
    if reading is None or baseline is None:
        return 0.0
    if reading.estimated:
        return book.figures.estimated_baseline_percent.value
    level = sum(baseline.values) / len(baseline.values)
    usual = book.scatter.get(reading.kind) if reading.kind else None
    one = usual.value / level if usual else book.figures.unnamed_scatter_percent.value / 100
    if len(reading.values) > 1:
        one = max(one, stdev(reading.values) / level)
    squared = 2 if reading.kind is Kind.FREQUENCY else 1  # tension goes with the square, so errors count twice
    return 100 * squared * one / math.sqrt(len(reading.values))


@dataclass(frozen=True)
class _Clock:
    """Hours since stringing for a reading of which at best the day is known."""

    job: Job
    today: dt.date
    book: ForecastBook
    slope: float

    def time_reading(self, reading: Reading) -> tuple[float, float]:
        """Return the hours since stringing and what their uncertainty does to the loss, in per cent."""
        days = ((reading.taken_on or self.today) - self.job.strung_on).days
        figures = self.book.figures
        if days < 1:
            return figures.same_day_hours.value, self.slope * figures.same_day_decades_sd.value
        hours = days * HOURS_PER_DAY
        off = math.hypot(_DAY_SD_HOURS, self.job.strung_on_sd_days * HOURS_PER_DAY) / hours / LN10
        return hours, self.slope * min(off, _MOST_DECADES_OFF)

    def time_baseline(self, baseline: Reading | None) -> tuple[float, float]:
        """Return the same for a baseline: minutes after stringing unless it bears a later day."""
        if baseline is not None and baseline.taken_on is not None and baseline.taken_on > self.job.strung_on:
            return self.time_reading(baseline)
        figures = self.book.figures
        return figures.baseline_minutes.value / 60, self.slope * figures.baseline_decades_sd.value
