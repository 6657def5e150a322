"""The understander beside two general-purpose peers on the same lines, in one run.

The cues were written with these lines at hand; the peers see four fifths of them as examples.
"""

from __future__ import annotations

import math
import re
import statistics
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any

import pytest
from rapidfuzz import fuzz, process

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY, Line, Score, read_corpus, score

FOLDS = 5
Answer = tuple[str, Mapping[str, Any]]
Reader = Callable[[Line], Answer]


def read_by_cues(_: Sequence[Line]) -> Reader:
    """Return the project's understander, which learns nothing from examples."""

    def answer(line: Line) -> Answer:
        meant = understand(line.text, asked=line.asked, channel=line.channel, today=REFERENCE_DAY)
        return meant.intent, dict(meant.slots)

    return answer


def read_like_nearest(examples: Sequence[Line]) -> Reader:
    """Return a reader that answers as the most similar example was annotated."""
    texts = [example.text.lower() for example in examples]

    def answer(line: Line) -> Answer:
        _, _, place = process.extractOne(line.text.lower(), texts, scorer=fuzz.WRatio)
        return examples[place].intent, examples[place].slots

    return answer


def read_by_words(examples: Sequence[Line]) -> Reader:
    """Return a linear reader: naive Bayes over words and the open question; its slots are the nearest example's."""
    nearest = read_like_nearest(examples)
    lines = Counter(example.intent for example in examples)
    words: dict[str, Counter[str]] = defaultdict(Counter)
    for example in examples:
        words[example.intent].update(_features(example))
    known = {word for counts in words.values() for word in counts}

    def weigh(intent: str, features: Sequence[str]) -> float:
        total = words[intent].total() + len(known)
        seen = sum(math.log((words[intent][word] + 1) / total) for word in features if word in known)
        return math.log(lines[intent]) + seen

    def answer(line: Line) -> Answer:
        features = _features(line)
        return max(lines, key=lambda intent: weigh(intent, features)), nearest(line)[1]

    return answer


def _features(line: Line) -> list[str]:
    return [*re.findall(r"[a-z]+|\d+", line.text.lower()), f"asked:{line.asked}"]


READERS: Mapping[str, Callable[[Sequence[Line]], Reader]] = {
    "cues and context": read_by_cues,
    "nearest example": read_like_nearest,
    "naive Bayes": read_by_words,
}


def _cross_read(make: Callable[[Sequence[Line]], Reader], lines: Sequence[Line], spent: list[float]) -> Score:
    """Return the score where each fifth of the lines is read by what the others taught."""

    def answers() -> Iterator[tuple[Line, str, dict[str, Any]]]:
        for fold in range(FOLDS):
            reader = make([line for place, line in enumerate(lines) if place % FOLDS != fold])
            for line in lines[fold::FOLDS]:
                started = time.perf_counter()
                intent, slots = reader(line)
                spent.append(time.perf_counter() - started)
                yield line, intent, dict(slots)

    return score(answers())


@pytest.mark.parametrize("name", READERS)
def test_read_the_corpus(benchmark: Any, name: str) -> None:
    """Print intent accuracy, mean recall, slot F1 and time a line; the peers learn from four fifths of the lines."""
    spent: list[float] = []
    figures = benchmark.pedantic(_cross_read, (READERS[name], read_corpus(), spent), rounds=1, iterations=1)
    print(  # noqa: T201 - a benchmark prints its table
        f"\n{name:18} intent {figures.intent:5.1f}  recall {figures.mean_recall:5.1f}  F1 {figures.f1:5.1f}"
        f"  precision {figures.precision:5.1f}  {1000 * statistics.median(spent):6.2f} ms a line"
    )
    assert figures.lines == len(read_corpus())
