"""Learning a shop's own prior from its past jobs, as data with a date; forecasts nothing."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from rules.facts import Kind
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_fit import KNOTS_HOURS, Belief, Course, LossFit, factor, solve, stretch_beyond
from rules.forecast_history import History, Job, read_history
from rules.forecast_levels import improve, locate_job
from rules.forecast_prior import (
    Information,
    Pair,
    Population,
    ShopPrior,
    Strings,
    expect_from_book,
    expect_of_any,
    inform,
)
from rules.ranges import EIGHTY_PERCENT

_TURNS = 3
_FIRST_TURN_JOBS = 5000
_ROUNDS = 6
"""Rounds of learning in each turn; more move no figure that matters."""
_PASSES = _ROUNDS + 2
"""How often a turn passes over its jobs."""
_DRIFT_TRIALS = 400
_WIDTH_TRIALS = 2000
"""Past jobs on which drift and width are tried; more would not change them."""
_DRIFT_SHARES = (0.5, 0.6, 0.7, 0.85, 1.0, 1.4)
_MOST_AWAY = 4.0
"""A reading further off than this counts as an outlier, which is not the drift's doing."""
_TRIAL_STRENGTH = 10


Tell = Callable[[float], None]
"""Called with the share of the learning that is done, once every job was read: 0 to 1."""


def learn_shop_prior(
    jobs: Iterable[Job], learnt_on: dt.date, book: ForecastBook | None = None, tell: Tell | None = None
) -> ShopPrior:
    """Return what the jobs teach about slope and wear, by strings and kind of instrument.

    In turn: how slope and wear scatter over the shop, its players and their jobs; where the course bends; how far beds
    drift from it. At last the width of the range, by how well later readings would have been foretold. Jobs without a
    usable reading or a measured baseline teach nothing.
    """
    book = book or load_forecast_book()
    starts: dict[Strings, tuple[Population, Belief]] = {}
    groups: dict[tuple[Strings, Kind | None], _Group] = {}
    count = left_out = 0
    for job in jobs:
        if job.strings not in starts:
            usual = expect_from_book(job.strings, book)
            starts[job.strings] = usual, expect_of_any(usual)
        start, nothing_read = starts[job.strings]
        history = read_history(job, learnt_on, book, start.mean[0])
        if history.baseline is None or history.baseline.estimated:
            continue  # an estimate teaches what was put into it
        history, dropped = _keep_plausible(history, nothing_read, book)
        left_out += dropped
        if history.checks:
            count += 1
            groups.setdefault((job.strings, history.kind), _Group(start)).add(job.player, history)
    steps = _Steps(tell, sum(group.steps for group in groups.values()))
    return ShopPrior(learnt_on, count, left_out, {key: _learn(group, book, steps) for key, group in groups.items()})


class _Steps:
    """How far the learning has come, told as it goes on."""

    def __init__(self, tell: Tell | None, total: int) -> None:
        self._tell, self._total, self._done = tell, total, 0

    def take(self, jobs: int) -> None:
        """Count one pass over so many jobs."""
        self._done += jobs
        if self._tell is not None:
            self._tell(self._done / self._total)


def _keep_plausible(history: History, belief: Belief, book: ForecastBook) -> tuple[History, int]:
    """Return the history without the checks that no string of the book could give, and how many those were."""
    limit = book.figures.implausible_sd.value
    nothing_read = LossFit((), belief, history.noise)
    good = []
    for check in history.checks:
        mean, sd = nothing_read.at(check.hours, check.played)
        if abs(check.loss_percent - mean) <= limit * math.hypot(sd, check.scatter_percent):
            good.append(check)
    dropped = len(history.checks) - len(good)
    return (replace(history, checks=tuple(good)) if dropped else history), dropped


class _Group:
    """The jobs with the same strings, read by the same kind of instrument, player by player."""

    def __init__(self, start: Population) -> None:
        self.start = start
        self.players: list[list[History]] = []
        self._known: dict[str, list[History]] = {}

    def add(self, player: str | None, history: History) -> None:
        """Take in one job; a job of nobody in particular is a player of its own."""
        jobs = self._known.get(player) if player is not None else None
        if jobs is None:
            jobs = []
            self.players.append(jobs)
            if player is not None:
                self._known[player] = jobs
        jobs.append(history)

    @property
    def jobs(self) -> int:
        """Return how many jobs there are."""
        return sum(map(len, self.players))

    @property
    def steps(self) -> int:
        """Return over how many jobs the learning passes in all."""
        sampled = sum(map(len, self.sample(_FIRST_TURN_JOBS)))
        return _PASSES * ((_TURNS - 1) * sampled + self.jobs)

    def sample(self, most: int) -> list[list[History]]:
        """Return about so many jobs, evenly from all, player by player."""
        return self.players[:: max(self.jobs // most, 1)]

    def trials(self, most: int) -> list[History]:
        """Return up to so many jobs whose last reading lay well ahead of the one before, as a forecast's day does."""
        jobs = [history for jobs in self.players for history in jobs if len(history.checks) > 1]
        jobs.sort(key=lambda history: history.checks[-1].hours / history.checks[-2].hours)
        ahead = jobs[len(jobs) // 3 :]
        return ahead[:: max(len(ahead) // most, 1)][:most]


def _learn(group: _Group, book: ForecastBook, steps: _Steps) -> Population:
    """Return the group's population: in turn its course, its slopes and wear, its drift; at last the width."""
    strength = book.figures.shop_strength.value
    found = replace(group.start, jobs=group.jobs)
    for turn in range(_TURNS):
        # the first turns only find the way, which a part of a large shop shows as well
        players = group.sample(_FIRST_TURN_JOBS) if turn < _TURNS - 1 else group.players
        count = sum(map(len, players))
        belief = expect_of_any(found)
        told = [[one for job in jobs if (one := inform(job, found, belief))] for jobs in players]
        steps.take(count)
        for _ in range(_ROUNDS):
            found = improve(told, group.start, found, strength)
            steps.take(count)
        found = replace(found, course=_bend(players, told, found, book))
        steps.take(count)
        found = replace(found, drift_percent=_try_drift(group.trials(_DRIFT_TRIALS), found, book))
    return replace(found, widen=_try_width(group.trials(_WIDTH_TRIALS), found, book))


def _bend(
    players: Sequence[Sequence[History]],
    told: Sequence[Sequence[Information]],
    now: Population,
    book: ForecastBook,
) -> Course:
    """Return the course that the jobs follow, each at its own slope, held to the straight line by the book.

    Weighted least squares for the steepness after each knot. Each is tied to one and to the stretch before it, so
    that a course goes on much as it went where there are no readings.
    """
    size = len(KNOTS_HOURS)
    to_one, to_last = (1 / figure.value**2 for figure in (book.figures.bend_sd, book.figures.turn_sd))
    matrix = [[0.0] * size for _ in range(size)]
    right = [to_one + to_last] + [to_one] * (size - 1)
    for i in range(size):
        matrix[i][i] = to_one + (to_last if i == size - 1 else 2 * to_last)
        if i:
            matrix[i][i - 1] = -to_last
    for jobs, known in zip(players, told, strict=True):
        for history, one in zip(jobs, known, strict=True):
            for parts, left, weight in _stretch_out(history, locate_job(one, now), now.drift_percent):
                for i, part in enumerate(parts):
                    right[i] += weight * part * left
                    for j in range(i + 1):
                        matrix[i][j] += weight * part * parts[j]
    for i in range(size):
        for j in range(i):
            matrix[j][i] = matrix[i][j]
    return Course(tuple(max(value, 0.0) for value in solve(factor(matrix), right)))


def _stretch_out(history: History, location: Pair, drift_percent: float) -> Iterator[tuple[list[float], float, float]]:
    """Yield each reading past the first day: loss per stretch at steepness one, loss past the first day, weight."""
    slope, wear = location
    noise = history.noise
    start = math.log10(KNOTS_HOURS[0])
    zero_stretch, zero_first = stretch_beyond(noise.zero_hours), min(math.log10(noise.zero_hours), start)
    for check in history.checks:
        if check.hours > KNOTS_HOURS[0]:
            left = check.loss_percent - wear * check.played - slope * (start - zero_first)
            variance = check.scatter_percent**2 + noise.baseline_percent**2 + drift_percent**2
            stretch = stretch_beyond(check.hours)
            # the readings of one job share most of what is off, so together they weigh like one
            yield (
                [slope * (a - b) for a, b in zip(stretch, zero_stretch, strict=True)],
                left,
                1 / variance / len(history.checks),
            )


def _try_drift(trials: Sequence[History], now: Population, book: ForecastBook) -> float:
    """Return the drift under which the last reading of each past job would have been foretold best."""
    usual = book.figures.drift_percent.value
    scores = {}
    for share in _DRIFT_SHARES:
        belief = replace(expect_of_any(now), drift_percent=share * usual)
        # the book's drift has a small lead, so that a few jobs do not move it
        score = book.figures.shop_strength.value * 0.5 * math.log(share) ** 2
        for history in trials:
            away, sd = _last_reading(history, belief)
            score += math.log(sd) + 0.5 * min(abs(away / sd), _MOST_AWAY) ** 2
        scores[share] = score
    return min(scores, key=lambda share: scores[share]) * usual


def _try_width(trials: Iterable[History], population: Population, book: ForecastBook) -> float:
    """Return the factor on the range under which 80 % of the last readings lay inside it.

    Each past job's last reading is foretold from the ones before it; the 80 % point of the distances stands for all
    (the idea of split conformal prediction: Vovk et al., "Algorithmic Learning in a Random World", 2005). With few
    jobs the factor stays near one.
    """
    belief = expect_of_any(population)
    distances = sorted(abs(away) / sd for away, sd in (_last_reading(one, belief) for one in trials))
    if not distances:
        return 1.0
    point = distances[min(math.ceil(0.8 * (len(distances) + 1)), len(distances)) - 1]
    weight = len(distances) / (len(distances) + _TRIAL_STRENGTH)
    widen = 1 + weight * (point / EIGHTY_PERCENT - 1)
    return min(max(widen, book.figures.widen_least.value), book.figures.widen_most.value)


def _last_reading(history: History, belief: Belief) -> tuple[float, float]:
    """Return how far a job's last reading lay from what the ones before it foretold, and the standard deviation."""
    *before, last = history.checks
    mean, sd = LossFit(before, belief, history.noise).at(last.hours, last.played)
    return last.loss_percent - mean, math.hypot(sd, last.scatter_percent)
