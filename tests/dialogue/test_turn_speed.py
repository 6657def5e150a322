"""How long a turn takes with SQLite on disk; run with --benchmark-only."""

from __future__ import annotations

import datetime as dt
import itertools
import time
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from dialogue.messages import Message
from storage.database import open_store
from tests.dialogue.scripts import build_conversation

TODAY = dt.date(2026, 11, 25)
TALK = (
    "hi there",
    "I play league matches",
    "full bed of poly",
    "why do you need to know that?",
    "about six months ago",
    "why?",
    "what if I only played once a week?",
    "actually it was strung in October",
    "no thanks",
)
ROUNDS = 180
MOST_SECONDS = 0.015


# Time of the processor, so that a busy machine does not count; a commit to the disk comes on top.
@pytest.mark.benchmark(timer=time.process_time)
def test_a_turn_takes_fifteen_milliseconds_at_the_median(benchmark: BenchmarkFixture, tmp_path: Path) -> None:
    """A whole consultation over and over, each turn read, answered and committed to the file."""
    with open_store(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as store:
        conversation = build_conversation(store)
        turns = itertools.count()

        def take_turn() -> None:
            number = next(turns)
            talk, place = divmod(number, len(TALK))
            conversation.handle(Message(TALK[place], f"s{talk}", today=TODAY))

        for _ in TALK:
            take_turn()
        benchmark.pedantic(take_turn, rounds=ROUNDS)
    assert benchmark.stats.stats.median <= MOST_SECONDS
