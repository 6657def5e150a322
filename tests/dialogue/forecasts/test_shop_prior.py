"""What the shop's own stringings teach: learnt from its record, kept with its date, used in every forecast."""

from __future__ import annotations

import datetime as dt
import json
import random
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dialogue.counter.counter import Counter
from dialogue.forecasts.foresee import foresee_loss
from dialogue.forecasts.shop_prior import KEY, KeptPrior, forget_prior, learn_prior, read_prior, show_prior
from dialogue.services import Services
from rules.facts import Kind, Material
from rules.forecast import forecast_loss
from rules.forecast_book import load_forecast_book
from rules.forecast_history import Job
from rules.forecast_prior import ShopPrior
from rules.forecast_shop import learn_shop_prior
from rules.rulebook import load_book
from storage.database import Store, open_store
from storage.rows import CustomerRow, RacquetRow, ReadingRow, StringJobRow
from tests.rules.simulated_shops import STRUNG_ON, SimulatedShop

TODAY = dt.date(2026, 1, 1)
BOOK = load_forecast_book()
SHOP = SimulatedShop("maxwell", random.Random(4), players=12)  # noqa: S311 - a simulation, not a secret
JOBS = [SHOP.string(SHOP.draw_days()).job for _ in range(60)]


@pytest.fixture
def store() -> Iterator[Store]:
    """A shop with sixty simulated stringings of twelve players on record, and strings nobody measured."""
    with open_store("sqlite://") as opened:
        with opened.unit("test") as unit:
            racquets: dict[str, int] = {}
            for job in JOBS:
                player = str(job.player)
                if player not in racquets:
                    hours = job.hours_per_week
                    assert hours is not None
                    row = CustomerRow(name=player, hours_per_week_low=hours.low, hours_per_week_high=hours.high)
                    owner = unit.customers.add(row).id
                    racquets[player] = unit.racquets.add(RacquetRow(customer_id=owner)).id
                _add(unit, racquets[player], job)
            unit.jobs.add(StringJobRow(racquet_id=1, mains_material="polyester", strung_on=STRUNG_ON))
            cancelled = _add(unit, 1, JOBS[0])
            unit.jobs.cancel(cancelled)
            unit.commit()
        yield opened


def _add(unit: Any, racquet_id: int, job: Job) -> int:
    material = job.mains_material
    row = StringJobRow(racquet_id=racquet_id, mains_material=material, strung_on=job.strung_on)
    number: int = unit.jobs.add(row).id
    for role, taken in (("baseline", job.baseline), ("check", job.reading)):
        for one in taken:
            day = one.taken_on or job.strung_on
            unit.readings.add(ReadingRow(job_id=number, role=role, kind="stiffness", values=one.values, taken_on=day))
    return number


@pytest.fixture
def counter(store: Store) -> Counter:
    """The counter of that shop."""
    return Counter(store, load_book(), TODAY, "anna")


def kept(counter: Counter, today: dt.date = TODAY) -> KeptPrior:
    """Return what is kept as of a day."""
    with counter.look() as unit:
        return read_prior(unit, today, BOOK)


def keep(counter: Counter, value: Any) -> None:
    """Put something into the setting as another program or a fault might."""
    with counter.work() as unit:
        unit.settings.set(KEY, value)


def test_the_record_teaches_what_the_jobs_themselves_teach(counter: Counter) -> None:
    """Each stringing arrives with its strings, readings and player; unmeasured and cancelled ones are left out."""
    found = learn_prior(counter)
    hours = {}
    for job in JOBS:  # a customer's card has one figure for the hours of play
        hours.setdefault(job.player, job.hours_per_week)
    dated = [replace(one, taken_on=STRUNG_ON) for job in JOBS for one in job.baseline]
    jobs = [
        replace(job, hours_per_week=hours[job.player], baseline=(fresh,))
        for job, fresh in zip(JOBS, dated, strict=True)
    ]
    wanted = learn_shop_prior(jobs, TODAY)
    prior = kept(counter).prior
    assert prior is not None
    assert prior.jobs == found.jobs == len(JOBS)
    assert set(prior.populations) == set(wanted.populations)
    for key, population in wanted.populations.items():
        assert prior.populations[key].mean == pytest.approx(population.mean)
        assert prior.populations[key].jobs == population.jobs
    assert [one.jobs for one in found.strings] == sorted((one.jobs for one in found.strings), reverse=True)
    assert all(one.loss_percent.low < one.loss_percent.expected < one.loss_percent.high for one in found.strings)
    json.dumps(found.to_dict(), allow_nan=False)


def test_progress_rises_to_the_end(counter: Counter) -> None:
    """What is done never falls back and ends at all there is."""
    steps: list[tuple[int, int]] = []
    learn_prior(counter, lambda done, total: steps.append((done, total)))
    assert [done for done, _ in steps] == sorted(done for done, _ in steps)
    assert steps[-1] == (2 * len(JOBS), 2 * len(JOBS))


def test_a_forecast_uses_the_shops_and_the_players_jobs(counter: Counter, store: Store) -> None:
    """At the talk and on the board the same: what was learnt, by date and number, and the player's earlier strings."""
    learn_prior(counter)
    prior = kept(counter).prior
    assert prior is not None
    with store.unit("test") as unit:
        strings = Material.POLYESTER
        rows = [unit.jobs.get(number) for number in range(1, len(JOBS) + 1)]
        racquet, owner = next(
            (row.racquet_id, job.player) for row, job in zip(rows, JOBS, strict=True) if row.mains_material == strings
        )
        job = Job(dt.date(2025, 11, 1), strings, None, JOBS[0].baseline, ())
        number = _add(unit, racquet, job)
        unit.commit()
    raw = {
        "mains_material": "polyester",
        "strung_on": "2025-11-01",
        "baseline": {"value": 38, "kind": "stiffness", "taken_on": "2025-11-01"},
        "reading": {"value": 33, "kind": "stiffness", "taken_on": "2026-01-01"},
    }
    facts = Services(store, load_book()).facts(raw, TODAY)
    with store.view() as unit:
        found = foresee_loss(unit, facts, TODAY, number)
        alone = foresee_loss(unit, facts, TODAY, None)
    assert found is not None
    assert alone is not None
    same = prior.populations[(strings, strings), Kind.STIFFNESS]
    assert (found.shop_jobs, found.shop_learnt_on) == (alone.shop_jobs, alone.shop_learnt_on) == (same.jobs, TODAY)
    assert alone.player_jobs == 0
    assert found.player_jobs == sum(1 for one in JOBS if one.player == owner and one.mains_material is strings)
    assert {remark.key.value for remark in found.remarks} >= {"from_shop", "from_player"}


def test_the_talk_tells_another_day_once_the_shop_has_learnt(counter: Counter, store: Store) -> None:
    """The use case of the conversation reads what is kept: after forgetting it is the book's day again."""
    services = Services(store, load_book())
    raw = {
        "mains_material": "synthetic_gut",
        "strung_on": "2025-11-01",
        "plays_per_week": 2,
        "baseline": {"value": 38, "kind": "stiffness", "taken_on": "2025-11-01"},
        "reading": {"value": 34, "kind": "stiffness", "taken_on": "2026-01-01"},
    }
    by_the_book = services.foresee(raw, TODAY, None)
    learn_prior(counter)
    learnt = services.foresee(raw, TODAY, None)
    assert learnt is not None
    assert learnt != by_the_book
    assert forget_prior(counter)
    assert services.foresee(raw, TODAY, None) == by_the_book
    assert not forget_prior(counter)


def test_learning_is_an_entry_of_the_trail_and_can_be_taken_back(counter: Counter) -> None:
    """Whoever learnt stands in the audit trail, and undo brings back what was there before."""
    learn_prior(counter)
    first = kept(counter).prior
    assert first is not None
    later = replace(counter, today=dt.date(2026, 1, 5))
    learn_prior(later)
    with counter.look() as unit:
        assert unit.trail.latest(1)[0].who == "anna"
    with counter.work() as unit:
        unit.undo_last("anna")
    assert kept(counter).prior == first


def test_nothing_to_learn_from_keeps_nothing() -> None:
    """An empty shop says so, and its forecasts rest on the book."""
    with open_store("sqlite://") as store:
        counter = Counter(store, load_book(), TODAY)
        found = learn_prior(counter)
        assert [remark.reason for remark in found.remarks] == ["nothing_to_learn"]
        assert kept(counter) == KeptPrior()


@pytest.mark.parametrize(
    ("today", "reason"),
    [
        (dt.date(2025, 12, 31), "prior_of_a_later_day"),
        (TODAY, None),
        (TODAY + dt.timedelta(days=730), None),
        (TODAY + dt.timedelta(days=731), "prior_too_old"),
    ],
)
def test_what_was_learnt_holds_for_two_years_and_for_no_day_before(
    counter: Counter, today: dt.date, reason: str | None
) -> None:
    """730 days is the figure of forecast.yaml; outside it the book is used, and why is said."""
    learn_prior(counter)
    found = kept(counter, today)
    assert (found.trouble and found.trouble.reason) == reason
    assert (found.prior is None) == (reason is not None)
    shown = show_prior(replace(counter, today=today))
    sentences = [counter.wording.remark(remark) for remark in shown.remarks]
    assert len(sentences) == (reason is not None)


@pytest.mark.parametrize("value", [[], "x", 7, {}, {"form": 0, "prior": {}}, {"form": 2, "prior": {}}])
def test_what_another_version_kept_is_not_used(counter: Counter, value: Any) -> None:
    """Anything without the form of this version is left alone."""
    keep(counter, value)
    found = kept(counter)
    assert found.trouble is not None
    assert found.trouble.reason == "prior_of_another_version"


PRIOR = learn_shop_prior(JOBS[:8], TODAY).to_dict()
PLACES = st.sampled_from(
    ["learnt_on", "jobs", "left_out", "populations"]
    + [f"populations.0.{key}" for key in PRIOR["populations"][0]]
    + [f"populations.0.{key}.{place}" for key in ("mean", "shop", "player", "job", "course") for place in (0, 1)]
)
JUNK = st.one_of(
    st.none(), st.booleans(), st.integers(), st.floats(), st.text(max_size=5), st.just([]), st.just({}), st.just([None])
)


@pytest.fixture(scope="module")
def bare() -> Iterator[Store]:
    """An empty database."""
    with open_store("sqlite://") as opened:
        yield opened


@settings(max_examples=300, deadline=None)
@given(place=PLACES, junk=JUNK, drop=st.booleans())
def test_damage_is_refused_or_does_no_harm(bare: Store, place: str, junk: Any, drop: bool) -> None:  # noqa: FBT001 - drawn
    """Whatever stands in one place of the data: either it is refused, or forecasts still come out in order."""
    data = json.loads(json.dumps(PRIOR))
    *way, last = place.split(".")
    node: Any = data
    for step in way:
        node = node[int(step) if step.isdigit() else step]
    key = int(last) if last.isdigit() else last
    if drop:
        del node[key]
    else:
        node[key] = junk
    counter = Counter(bare, load_book(), TODAY)
    keep(counter, {"form": 1, "prior": data})
    found = kept(counter)
    if found.prior is None:
        assert found.trouble is not None
        assert found.trouble.reason in {"prior_damaged", "prior_of_a_later_day", "prior_too_old"}
        return
    _forecast(found.prior)


def _forecast(prior: ShopPrior) -> None:
    for strings, kind in prior.populations:
        job = replace(JOBS[0], mains_material=strings[0], crosses_material=strings[1])
        forecast = forecast_loss(job, STRUNG_ON + dt.timedelta(days=100), shop=prior)
        band = forecast.loss_today_percent
        assert band.low <= band.expected <= band.high, kind
