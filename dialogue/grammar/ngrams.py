"""Sentences as a small statistical grammar: in the ARPA form that recognisers read, and to judge words by."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

ORDER = 3
DISCOUNT = 0.5
"""Taken from each count and given to what was never seen (absolute discounting: Ney, Essen, Kneser 1994)."""
START, END = "<s>", "</s>"
NEVER = -99.0
"""The logarithm that the format uses for "cannot be"."""
UNKNOWN = 0.01
"""The chance of a word that is never said, as a share of that of the rarest."""
Gram = tuple[str, ...]


@dataclass(frozen=True)
class Trigrams:
    """A backed-off trigram model."""

    chances: Sequence[Mapping[Gram, float]]
    """The chance of the last word of a gram after the others, by order."""
    backoffs: Sequence[Mapping[Gram, float]]
    """What a history leaves for the order below."""

    def to_arpa(self) -> str:
        """Return the model as recognisers read it."""
        return _written(self.chances, [*self.backoffs, {}])

    def judge(self, words: Sequence[str]) -> float:
        """Return the mean natural logarithm of the chance of a word, the end being one."""
        said = [START, *words, END]
        logarithms = [
            math.log(self._chance(tuple(said[max(0, at - ORDER + 1) : at + 1]))) for at in range(1, len(said))
        ]
        return sum(logarithms) / len(logarithms)

    def _chance(self, gram: Gram) -> float:
        known = self.chances[len(gram) - 1].get(gram)
        if known is not None:
            return known
        if gram[-1:] not in self.chances[0]:
            return self._unknown  # whatever stands before it
        return self.backoffs[len(gram) - 2].get(gram[:-1], 1.0) * self._chance(gram[1:])

    @cached_property
    def _unknown(self) -> float:
        return UNKNOWN * min(chance for gram, chance in self.chances[0].items() if gram != (START,))


def count_trigrams(sentences: Iterable[str]) -> Trigrams:
    """Return a backed-off trigram model of some sentences."""
    counts: list[Counter[Gram]] = [Counter() for _ in range(ORDER)]
    for sentence in sentences:
        words = [START, *sentence.split(), END]
        for order in range(1, ORDER + 1):
            counts[order - 1].update(tuple(words[at : at + order]) for at in range(len(words) - order + 1))
    # No word is ever predicted to be the start.
    total = sum(count for gram, count in counts[0].items() if gram != (START,))
    unigrams = {gram: count / total for gram, count in counts[0].items()}
    chances: list[dict[Gram, float]] = [unigrams]
    backoffs: list[dict[Gram, float]] = []
    for order in range(2, ORDER + 1):
        higher, weights = _interpolated(counts[order - 1], chances[-1])
        chances.append(higher)
        backoffs.append(weights)
    return Trigrams(tuple(chances), tuple(backoffs))


def _interpolated(
    counts: Mapping[Gram, int], lower: Mapping[Gram, float]
) -> tuple[dict[Gram, float], dict[Gram, float]]:
    """Return the chances of one order and what each history leaves for the order below."""
    totals: Counter[Gram] = Counter()
    kinds: Counter[Gram] = Counter()
    for gram, count in counts.items():
        totals[gram[:-1]] += count
        kinds[gram[:-1]] += 1
    chances = {}
    for gram, count in counts.items():
        history = gram[:-1]
        left = DISCOUNT * kinds[history] / totals[history]
        chances[gram] = (count - DISCOUNT) / totals[history] + left * lower[gram[1:]]
    weights = {history: DISCOUNT * kinds[history] / totals[history] for history in totals}
    return chances, weights


def _written(chances: Sequence[Mapping[Gram, float]], backoffs: Sequence[Mapping[Gram, float]]) -> str:
    lines = ["\\data\\", *(f"ngram {order + 1}={len(grams)}" for order, grams in enumerate(chances))]
    for order, grams in enumerate(chances):
        lines += ["", f"\\{order + 1}-grams:"]
        for gram, chance in sorted(grams.items()):
            logarithm = NEVER if gram == (START,) else math.log10(chance)
            weight = backoffs[order].get(gram)
            tail = "" if order == ORDER - 1 else f"\t{math.log10(weight) if weight else 0.0:.4f}"
            lines.append(f"{logarithm:.4f}\t{' '.join(gram)}{tail}")
    return "\n".join([*lines, "", "\\end\\", ""])


def count_words(sentences: Iterable[str]) -> Mapping[str, int]:
    """Return how often each word is said, for tests and for tuning."""
    said: dict[str, int] = defaultdict(int)
    for sentence in sentences:
        for word in sentence.split():
            said[word] += 1
    return said
