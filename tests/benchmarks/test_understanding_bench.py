"""How long a turn takes to be understood: 2 ms of processor time at the median, 5 ms for 95 of 100."""

from __future__ import annotations

import statistics
import time

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY, read_corpus

MEDIAN_SECONDS, MOST_SECONDS = 0.002, 0.005
KILOBYTE_SECONDS = 0.020
PIECES = ("twice a week ", "1 ", "one to two or ", "not poly ", "( ", "<b>", "55/53 ", "a ", "'", "who is ")


def test_a_turn_is_understood_in_milliseconds(benchmark: BenchmarkFixture) -> None:
    """Every line of the corpus, said to its question."""
    lines = read_corpus()
    taken: list[float] = []

    def understand_all() -> None:
        taken.clear()
        for line in lines:
            start = time.process_time()
            understand(line.text, asked=line.asked, channel=line.channel, today=REFERENCE_DAY)
            taken.append(time.process_time() - start)

    benchmark.pedantic(understand_all, rounds=3, warmup_rounds=1)
    assert statistics.median(taken) <= MEDIAN_SECONDS
    assert statistics.quantiles(taken, n=20)[-1] <= MOST_SECONDS


@pytest.mark.benchmark(timer=time.process_time)
@pytest.mark.parametrize("piece", PIECES)
def test_a_long_text_takes_twenty_milliseconds_a_kilobyte(benchmark: BenchmarkFixture, piece: str) -> None:
    """The longest that is read, 2000 characters, made of one piece over and over."""
    text = (piece * 2000)[:2000]
    benchmark.pedantic(understand, [text], {"today": REFERENCE_DAY}, rounds=5, warmup_rounds=1)
    assert benchmark.stats.stats.min <= KILOBYTE_SECONDS * (1 + len(text) / 1024)
