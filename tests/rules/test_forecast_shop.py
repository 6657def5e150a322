"""What a shop's own jobs teach the forecast, as data with a date."""

from __future__ import annotations

import datetime as dt
import json
import math
import random
from dataclasses import replace

import pytest

from rules.facts import Kind, Material, Reading, Span
from rules.forecast import forecast_loss
from rules.forecast_book import load_forecast_book
from rules.forecast_history import Job
from rules.forecast_prior import ShopPrior, expect_from_book
from rules.forecast_shop import learn_shop_prior
from tests.rules.simulated_shops import STRUNG_ON, SimulatedShop

LEARNT_ON = dt.date(2026, 1, 1)
NYLON = (Material.SYNTHETIC_GUT, Material.SYNTHETIC_GUT)
SLOPE, PLAYER_SD, JOB_SD, WEAR = 5.5, 0.8, 0.4, 0.02


def _string_lawful_jobs(players: int, jobs_each: int) -> list[Job]:
    """Return jobs drawn from the forecast's own law, with a slope, a player's and a job's spread that are known."""
    draw = random.Random(3)  # noqa: S311 - a simulation, not a secret
    found = []
    for player in range(players):
        own = draw.gauss(SLOPE, PLAYER_SD)
        for _ in range(jobs_each):
            slope = draw.gauss(own, JOB_SD)
            readings = []
            for number in sorted({draw.randint(2, 150) for _ in range(3)}):
                loss = slope * math.log10(number * 24 * 6) + WEAR * 2 * number / 7
                value = 40 * (1 - loss / 100) + draw.gauss(0, 0.3)
                readings.append(Reading((value,), Kind.STIFFNESS, taken_on=STRUNG_ON + dt.timedelta(days=number)))
            baseline = (Reading((40 + draw.gauss(0, 0.3),), Kind.STIFFNESS),)
            found.append(
                Job(STRUNG_ON, *NYLON, baseline, tuple(readings), Span(2, 2), player=f"player {player}"),
            )
    return found


LAWFUL = _string_lawful_jobs(players=60, jobs_each=6)


@pytest.fixture(scope="module")
def learnt() -> ShopPrior:
    """Return what 360 lawful jobs teach."""
    return learn_shop_prior(LAWFUL, LEARNT_ON)


def test_a_shop_whose_strings_follow_the_law_is_learnt_as_it_was_made(learnt: ShopPrior) -> None:
    """Slope, spread between players and between jobs come out as they went in; the day and the number are kept."""
    assert (learnt.learnt_on, learnt.jobs, learnt.left_out) == (LEARNT_ON, 360, 0)
    population = learnt.populations[NYLON, Kind.STIFFNESS]
    assert population.jobs == 360
    assert population.mean[0] == pytest.approx(SLOPE, abs=0.35)
    assert population.mean[1] == pytest.approx(WEAR, abs=0.03)
    assert math.sqrt(population.player[0]) == pytest.approx(PLAYER_SD, abs=0.25)
    assert math.sqrt(population.job[0]) == pytest.approx(JOB_SD, abs=0.25)
    assert all(0.7 < steepness < 1.3 for steepness in population.course.steepness)
    assert population.drift_percent < load_forecast_book().figures.drift_percent.value


def test_what_a_shop_learnt_makes_its_forecasts_narrower_and_is_named(learnt: ShopPrior) -> None:
    """The range narrows, and the forecast says how many jobs stand behind it and of which day."""
    job = replace(LAWFUL[0], reading=LAWFUL[0].reading[:1])
    today = STRUNG_ON + dt.timedelta(days=150)
    alone, taught = forecast_loss(job, today), forecast_loss(job, today, shop=learnt)
    narrow, wide = taught.loss_today_percent, alone.loss_today_percent
    assert narrow.high - narrow.low < 0.7 * (wide.high - wide.low)
    assert (taught.shop_jobs, taught.shop_learnt_on) == (360, LEARNT_ON)
    said = next(remark.says for remark in taught.remarks if remark.key == "from_shop")
    assert "360" in said
    assert "2026-01-01" in said
    assert (alone.shop_jobs, alone.shop_learnt_on) == (0, None)


def test_the_players_own_jobs_narrow_it_further(learnt: ShopPrior) -> None:
    """Between players the strings differ by more than between one player's jobs, so his own jobs tell more."""
    job = replace(LAWFUL[0], reading=())
    today = STRUNG_ON + dt.timedelta(days=150)
    shop = forecast_loss(job, today, shop=learnt).loss_today_percent
    both = forecast_loss(job, today, earlier=LAWFUL[1:6], shop=learnt).loss_today_percent
    assert both.high - both.low < shop.high - shop.low


def test_a_shop_prior_goes_to_json_and_back(learnt: ShopPrior) -> None:
    """It is data: written as JSON and read again it is the same, and broken data is refused."""
    data = json.loads(json.dumps(learnt.to_dict(), allow_nan=False))
    assert ShopPrior.from_dict(data) == learnt
    bare = ShopPrior(LEARNT_ON, 1, 0, {((None, None), None): expect_from_book((None, None), load_forecast_book())})
    assert ShopPrior.from_dict(bare.to_dict()) == bare
    for key, value in (("course", [1.0]), ("mean", [float("nan"), 0]), ("job", [-1, 0])):
        broken = json.loads(json.dumps(data))
        broken["populations"][0][key] = value
        with pytest.raises(ValueError, match=r"population|course"):
            ShopPrior.from_dict(broken)


def test_jobs_of_other_strings_or_instruments_are_learnt_apart() -> None:
    """Polyester teaches nothing about gut, and Hz nothing about kgf/cm; strings never seen stay with the book."""
    shop = SimulatedShop("maxwell", random.Random(5))  # noqa: S311 - a simulation, not a secret
    jobs = [shop.string([5, 30]).job for _ in range(40)]
    hertz = replace(
        jobs[0],
        baseline=(Reading((600.0,), Kind.FREQUENCY),),
        reading=(Reading((580.0,), Kind.FREQUENCY, taken_on=STRUNG_ON + dt.timedelta(days=9)),),
    )
    prior = learn_shop_prior([*jobs, hertz], LEARNT_ON)
    assert {kind for _, kind in prior.populations} == {Kind.STIFFNESS, Kind.FREQUENCY}
    assert sum(population.jobs for population in prior.populations.values()) == prior.jobs == 41
    unseen = forecast_loss(Job(STRUNG_ON, Material.ARAMID), STRUNG_ON, shop=prior)
    assert unseen.shop_jobs == 0


def test_nonsense_is_not_learnt_from_but_counted() -> None:
    """An impossible reading is left out and counted; no reading, or an estimated baseline, teaches nothing."""
    good = LAWFUL[:30]
    absurd = replace(LAWFUL[30], reading=(Reading((0.4,), Kind.STIFFNESS, taken_on=STRUNG_ON + dt.timedelta(days=3)),))
    silent = replace(LAWFUL[31], reading=())
    guessed = replace(LAWFUL[32], baseline=(replace(LAWFUL[32].baseline[0], estimated=True),))
    prior = learn_shop_prior([*good, absurd, silent, guessed], LEARNT_ON)
    assert (prior.jobs, prior.left_out) == (30, 1)
    assert prior.populations == learn_shop_prior(good, LEARNT_ON).populations


def test_a_shop_with_no_jobs_learns_nothing() -> None:
    """Nothing to learn from is no error: the book stays."""
    prior = learn_shop_prior([], LEARNT_ON)
    assert (prior.jobs, prior.populations) == (0, {})


def test_a_few_jobs_move_the_book_only_a_little() -> None:
    """Three jobs leave slope and range near the book's."""
    start = expect_from_book(NYLON, load_forecast_book())
    few = learn_shop_prior(LAWFUL[:3], LEARNT_ON).populations[NYLON, Kind.STIFFNESS]
    many = learn_shop_prior(LAWFUL, LEARNT_ON).populations[NYLON, Kind.STIFFNESS]
    assert abs(few.mean[0] - start.mean[0]) < abs(SLOPE - start.mean[0])
    assert few.shop[0] > 5 * many.shop[0]
    assert few.drift_percent == pytest.approx(start.drift_percent, rel=0.35)


def test_the_order_of_jobs_does_not_matter() -> None:
    """Jobs in any order teach the same slope."""
    turned = learn_shop_prior(LAWFUL[::-1], LEARNT_ON).populations[NYLON, Kind.STIFFNESS]
    straight = learn_shop_prior(LAWFUL, LEARNT_ON).populations[NYLON, Kind.STIFFNESS]
    assert turned.mean == pytest.approx(straight.mean, rel=0.02)
