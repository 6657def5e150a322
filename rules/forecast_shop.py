"""Learning a shop's own prior from its past jobs, as data with a date; forecasts nothing."""

from __future__ import annotations

import datetime as dt
import math
from collections import deque
from collections.abc import Iterable, Sequence
from dataclasses import replace

from rules.facts import Kind
from rules.forecast_book import ForecastBook, load_forecast_book
from rules.forecast_fit import Belief, Check, LossFit, Noise
from rules.forecast_history import History, Job, read_history
from rules.forecast_prior import (
    Information,
    Pair,
    Population,
    ShopPrior,
    Strings,
    blur,
    expect_from_book,
    expect_of_job,
    inform,
)

_MOST_ROUNDS = 40
_SETTLED = 0.01
"""Rounds end once no variance moves by more than this share."""
_MOST_TRIALS = 2000
"""Past jobs on which the width of the range is tried; more would not change it."""
_TRIAL_STRENGTH = 50
_EIGHTY_PERCENT = 1.2815515655446004
"""Half the width, in standard deviations, that holds 80 % of a normal distribution."""


def learn_shop_prior(jobs: Iterable[Job], learnt_on: dt.date, book: ForecastBook | None = None) -> ShopPrior:
    """Return what the jobs teach about slope and wear, by strings and kind of instrument.

    Three levels (shop, player, job) by expectation-maximisation, each variance held by the book's as if by a few jobs
    more (Gelman et al., "Bayesian Data Analysis", chapters 5 and 13). Then the width of the range is set by how well
    later readings would have been foretold. Jobs without a usable reading teach nothing.
    """
    book = book or load_forecast_book()
    starts: dict[Strings, Population] = {}
    groups: dict[tuple[Strings, Kind | None], _Group] = {}
    count = left_out = 0
    for job in jobs:
        start = starts.get(job.strings)
        if start is None:
            start = starts[job.strings] = expect_from_book(job.strings, book)
        history, dropped = _keep_plausible(read_history(job, learnt_on, book, start.mean[0]), start, book)
        left_out += dropped
        if history.checks:
            count += 1
            groups.setdefault((job.strings, history.kind), _Group(start)).add(job.player, history)
    return ShopPrior(learnt_on, count, left_out, {key: _learn(group, book) for key, group in groups.items()})


def _keep_plausible(history: History, start: Population, book: ForecastBook) -> tuple[History, int]:
    """Return the history without the checks that no string of the book could give, and how many those were."""
    limit = book.figures.implausible_sd.value
    belief, _ = expect_of_job(start, ())
    nothing_read = LossFit((), belief, history.noise)
    good = []
    for check in history.checks:
        mean, sd = nothing_read.at(check.hours, check.played)
        if abs(check.loss_percent - mean) <= limit * math.hypot(sd, check.scatter_percent):
            good.append(check)
    dropped = len(history.checks) - len(good)
    return (replace(history, checks=tuple(good)) if dropped else history), dropped


class _Group:
    """The jobs with the same strings, read by the same kind of instrument."""

    def __init__(self, start: Population) -> None:
        self.start = start
        self.players: list[list[Information]] = []
        self.trials: deque[History] = deque(maxlen=_MOST_TRIALS)
        self._known: dict[str, list[Information]] = {}

    def add(self, player: str | None, history: History) -> None:
        told = inform(history, self.start.mean[1])
        if told is None:
            return
        self.trials.append(history)
        jobs = self._known.get(player) if player is not None else None
        if jobs is None:
            jobs = []
            self.players.append(jobs)
            if player is not None:
                self._known[player] = jobs
        jobs.append(told)


def _learn(group: _Group, book: ForecastBook) -> Population:
    strength = book.figures.shop_strength.value
    found = replace(group.start, jobs=sum(map(len, group.players)))
    for _ in range(_MOST_ROUNDS):
        before = found
        found = _improve(group, before, strength)
        moved = max(abs(a / b - 1) for a, b in zip(_variances(found), _variances(before), strict=True))
        if moved < _SETTLED:
            break
    return replace(found, widen=_try_width(group.trials, found, book))


def _variances(population: Population) -> tuple[float, ...]:
    return (*population.player, *population.job)


def _improve(group: _Group, now: Population, strength: float) -> Population:
    """Return the population after one round of expectation-maximisation."""
    start = group.start
    (p, q), (slope, wear) = now.player, now.mean
    total = [0.0] * 5
    player_squares, job_squares = [0.0, 0.0], [0.0, 0.0]
    for jobs in group.players:
        a, b, c, x, y = (sum(column) for column in zip(*(blur(one, now.job) for one in jobs), strict=True))
        # the player's own departure from the shop's mean
        one, two = a + 1 / p, c + 1 / q
        scale = 1 / (one * two - b * b)
        left_x, left_y = x - a * slope - b * wear, y - b * slope - c * wear
        away = ((two * left_x - b * left_y) * scale, (one * left_y - b * left_x) * scale)
        spread = (two * scale, -b * scale, one * scale)
        player_squares[0] += away[0] ** 2 + spread[0]
        player_squares[1] += away[1] ** 2 + spread[2]
        for told in jobs:
            _add_job(job_squares, told, now.job, ((slope + away[0], wear + away[1]), spread))
        for i, value in enumerate(blur((a, b, c, x, y), now.player)):
            total[i] += value
    mean, uncertain = _locate(start, total)
    players, count = len(group.players), now.jobs
    return replace(
        now,
        mean=mean,
        shop=uncertain,
        player=_hold(start.player, player_squares, players, strength),
        job=_hold(start.job, job_squares, count, strength),
    )


def _add_job(
    squares: list[float], told: Information, spread: Pair, player: tuple[Pair, tuple[float, float, float]]
) -> None:
    """Add the expected square of one job's departure from its player's mean, which is itself only known roughly."""
    a, b, c, x, y = told
    (slope, wear), (v11, v12, v22) = player
    one, two = a + 1 / spread[0], c + 1 / spread[1]
    scale = 1 / (one * two - b * b)
    left_x, left_y = x - a * slope - b * wear, y - b * slope - c * wear
    m1, m2 = (two * left_x - b * left_y) * scale, (one * left_y - b * left_x) * scale
    # how the job's departure answers to the player's mean: rows of the gain
    g11, g12 = (two * a - b * b) * scale, (two * b - b * c) * scale
    g21, g22 = (one * b - b * a) * scale, (one * c - b * b) * scale
    squares[0] += m1 * m1 + two * scale + g11 * g11 * v11 + 2 * g11 * g12 * v12 + g12 * g12 * v22
    squares[1] += m2 * m2 + one * scale + g21 * g21 * v11 + 2 * g21 * g22 * v12 + g22 * g22 * v22


def _locate(start: Population, total: Sequence[float]) -> tuple[Pair, Pair]:
    """Return the shop's mean and its variance from what all players told, with the book as the prior."""
    a, b, c, x, y = total
    a, c = a + 1 / start.shop[0], c + 1 / start.shop[1]
    x, y = x + start.mean[0] / start.shop[0], y + start.mean[1] / start.shop[1]
    scale = 1 / (a * c - b * b)
    return ((c * x - b * y) * scale, max((a * y - b * x) * scale, 0.0)), (c * scale, a * scale)


def _hold(start: Pair, squares: Sequence[float], count: int, strength: float) -> Pair:
    return (
        (strength * start[0] + squares[0]) / (strength + count),
        (strength * start[1] + squares[1]) / (strength + count),
    )


def _try_width(trials: Iterable[History], population: Population, book: ForecastBook) -> float:
    """Return the factor on the range under which 80 % of the last readings lay inside it.

    Each past job's last reading is foretold from the ones before it; the 80 % point of the distances stands for all
    (the idea of split conformal prediction: Vovk et al., "Algorithmic Learning in a Random World", 2005). With few
    jobs the factor stays near one.
    """
    belief, _ = expect_of_job(population, ())
    distances = sorted(_distance(history.checks, belief, history.noise) for history in trials)
    if not distances:
        return 1.0
    point = distances[min(math.ceil(0.8 * (len(distances) + 1)), len(distances)) - 1]
    weight = len(distances) / (len(distances) + _TRIAL_STRENGTH)
    factor = 1 + weight * (point / _EIGHTY_PERCENT - 1)
    return min(max(factor, book.figures.widen_least.value), book.figures.widen_most.value)


def _distance(checks: Sequence[Check], belief: Belief, noise: Noise) -> float:
    *before, last = checks
    mean, sd = LossFit(before, belief, noise).at(last.hours, last.played)
    return abs(last.loss_percent - mean) / math.hypot(sd, last.scatter_percent)
