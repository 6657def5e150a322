"""How slope and wear scatter over a shop, its players and their jobs: one round of learning it; knows no reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rules.forecast_prior import Information, Pair, Population, blur


def improve(told: Sequence[Sequence[Information]], start: Population, now: Population, strength: float) -> Population:
    """Return the population after one round of expectation-maximisation over shop, players and jobs.

    `told` holds, player by player, what each job's readings tell. Every variance is held by the one it started from
    as if by `strength` jobs more (Gelman et al., "Bayesian Data Analysis", chapters 5 and 13).
    """
    (p, q), (slope, wear) = now.player, now.mean
    total = [0.0] * 5
    player_squares, job_squares = [0.0, 0.0], [0.0, 0.0]
    for jobs in told:
        a = b = c = x = y = 0.0
        for one_job in jobs:
            part = blur(one_job, now.job)
            a, b, c, x, y = a + part[0], b + part[1], c + part[2], x + part[3], y + part[4]
        # the player's own departure from the shop's mean
        one, two = a + 1 / p, c + 1 / q
        scale = 1 / (one * two - b * b)
        left_x, left_y = x - a * slope - b * wear, y - b * slope - c * wear
        away = ((two * left_x - b * left_y) * scale, (one * left_y - b * left_x) * scale)
        spread = (two * scale, -b * scale, one * scale)
        player_squares[0] += away[0] ** 2 + spread[0]
        player_squares[1] += away[1] ** 2 + spread[2]
        for one_job in jobs:
            _add_job(job_squares, one_job, now.job, ((slope + away[0], wear + away[1]), spread))
        for i, value in enumerate(blur((a, b, c, x, y), now.player)):
            total[i] += value
    mean, uncertain = _locate(start, total)
    return replace(
        now,
        mean=mean,
        shop=uncertain,
        player=_hold(start.player, player_squares, len(told), strength),
        job=_hold(start.job, job_squares, sum(map(len, told)), strength),
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


def locate_job(told: Information, now: Population) -> Pair:
    """Return the slope and wear of one job as its readings and the population have them."""
    a, b, c, x, y = told
    one, two = a + 1 / (now.player[0] + now.job[0]), c + 1 / (now.player[1] + now.job[1])
    scale = 1 / (one * two - b * b)
    left_x, left_y = x - a * now.mean[0] - b * now.mean[1], y - b * now.mean[0] - c * now.mean[1]
    return now.mean[0] + (two * left_x - b * left_y) * scale, now.mean[1] + (one * left_y - b * left_x) * scale
