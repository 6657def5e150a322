"""How long a decision takes with either engine, beside the same rules written as if and else."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from typing import Any

import psutil
import pytest
from dateutil.relativedelta import relativedelta
from pytest_benchmark.fixture import BenchmarkFixture

from rules.casebook import load_cases
from rules.chain import decide
from rules.coverage import find_dead_rows, find_gaps_and_overlaps
from rules.engine import DurableEngine, Engine
from rules.evaluator import PlainEngine
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import BOOK_FILES, BOOK_FOLDER, build_book, load_book

TODAY = dt.date(2026, 6, 1)
RAW: dict[str, Any] = {
    "level": "recreational",
    "plays_per_week": 3,
    "mains_material": "synthetic_gut",
    "crosses_material": "synthetic_gut",
    "strung_on": "2026-01-10",
    "baseline": {"value": 40, "kind": "stiffness"},
    "reading": {"value": 34, "kind": "stiffness"},
}
ENGINES: dict[str, Engine] = {
    "durable-each-time": DurableEngine(most_answers=0),
    "durable": DurableEngine(),
    "plain": PlainEngine(),
}
"""The engine asked each time, the engine that remembers what its tables said, and the plain evaluator."""
DECISIONS = 20_000
each_engine = pytest.mark.parametrize("engine", ENGINES.values(), ids=list(ENGINES))


def decide_by_hand(facts: Facts) -> tuple[str, dt.date | None, float]:
    """Return verdict, day and loss for a full bed played for fun: what the rulebook does, without saying why."""
    verdict, due, loss = "need_more", None, 0.0
    if facts.level == "recreational" and facts.strung_on and facts.plays_per_week:
        if facts.mains_material == "natural_gut":
            months = 12.0
        elif facts.mains_material in {"polyester", "aramid"}:
            months = min(12 / facts.plays_per_week.low, 3)
        else:
            months = min(12 / facts.plays_per_week.low, 12)
        due = facts.strung_on.day + relativedelta(months=int(months))
        verdict = "play_on"
    if facts.baseline and facts.reading:
        loss = 100 * (1 - facts.reading[0].values[0] / facts.baseline[0].values[0])
    if loss >= 20 or (due and facts.today > due):
        verdict = "restring_now"
    elif loss >= 10 or (due and (due - facts.today).days <= 14):
        verdict = "restring_soon"
    return verdict, due, loss


def read(raw: dict[str, Any]) -> Facts:
    """Return facts on the day of these benchmarks."""
    return parse_facts(raw, today=TODAY, limits=load_book().limits)


def test_by_hand(benchmark: BenchmarkFixture) -> None:
    """The floor: if and else, no trail, no sentence, no source; and the same answer."""
    facts = read(RAW)
    verdict, due, loss = benchmark(decide_by_hand, facts)
    decision = decide(facts, load_book(), PlainEngine())
    assert (verdict, due, round(loss, 3)) == (decision.verdict, decision.restring_by, decision.loss_percent)


@each_engine
def test_one_decision(benchmark: BenchmarkFixture, engine: Engine) -> None:
    """A decision with chart, date, reading and its whole trail."""
    decision = benchmark(decide, read(RAW), load_book(), engine)
    assert decision.verdict == "restring_now"


@each_engine
def test_all_worked_situations(benchmark: BenchmarkFixture, engine: Engine) -> None:
    """The casebook from end to end."""
    book = load_book()
    known = [case.read_facts(book) for case in load_cases() if not case.policies]
    benchmark(lambda: [decide(facts, book, engine) for facts in known])


def test_taking_in_facts(benchmark: BenchmarkFixture) -> None:
    """From JSON to checked facts."""
    assert benchmark(read, RAW).plays_per_week


@pytest.mark.parametrize(
    "read_it",
    [lambda: load_book.__wrapped__(BOOK_FOLDER), lambda: build_book(load_book().content)],
    ids=["from files", "from content"],
)
def test_reading_a_book(benchmark: BenchmarkFixture, read_it: Callable[[], Any]) -> None:
    """From YAML files, or from an edition's stored content."""
    assert benchmark(read_it).hash == load_book().hash
    assert len(BOOK_FILES) == 7


def test_trying_every_combination(benchmark: BenchmarkFixture) -> None:
    """Gaps, overlaps and rows that never count over the whole book."""
    book = load_book()
    assert benchmark(lambda: (*find_gaps_and_overlaps(book), *find_dead_rows(book))) == ()


@each_engine
def test_memory_over_many_decisions(benchmark: BenchmarkFixture, engine: Engine) -> None:
    """Resident memory over 20,000 decisions grows by less than 10 MB."""
    book = load_book()
    known = [case.read_facts(book) for case in load_cases() if not case.policies]
    for facts in known:
        decide(facts, book, engine)
    process = psutil.Process()
    before = process.memory_info().rss

    def work() -> None:
        for number in range(DECISIONS):
            decide(known[number % len(known)], book, engine)

    benchmark.pedantic(work, rounds=1, iterations=1)
    grown = (process.memory_info().rss - before) / 1e6
    benchmark.extra_info["grown_mb"] = grown
    print(f"{engine.name}: {grown:.2f} MB over {DECISIONS} decisions")  # noqa: T201 - a figure for people
    assert grown < 10
