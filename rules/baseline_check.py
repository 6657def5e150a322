"""Spots a baseline that cannot be right, and what may have gone wrong; never corrects it and knows no verdict."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from rules.facts import Kind, Reading
from rules.stringbed import FreshEstimate, Stringbed, estimate_fresh
from rules.stringbed_book import StringbedBook, load_stringbed_book
from rules.stringbed_book import StringbedRemark as Key


class BaselineFit(StrEnum):
    """How a baseline stands to what the model expects."""

    FITS = "fits"
    UNLIKELY = "unlikely"
    IMPOSSIBLE = "impossible"
    NOT_CHECKED = "not_checked"


@dataclass(frozen=True)
class Guess:
    """What the number may have been meant to be; somebody must be asked."""

    remark: Key
    value: float
    """In the unit of the reading's kind."""
    slip: str
    """Which slip of the data file would explain it."""
    says: str

    def to_dict(self) -> dict[str, Any]:
        """Return the guess as JSON."""
        return {"remark": self.remark.value, "value": round(self.value, 2), "slip": self.slip, "says": self.says}


@dataclass(frozen=True)
class BaselineCheck:
    """Whether a baseline can be right, with the range it was held against."""

    fit: BaselineFit
    says: str
    expected: FreshEstimate | None = None
    sd_away: float | None = None
    guesses: tuple[Guess, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the check as JSON."""
        return {
            "fit": self.fit.value,
            "says": self.says,
            "expected": self.expected.to_dict() if self.expected else None,
            "sd_away": None if self.sd_away is None else round(self.sd_away, 2),
            "guesses": [guess.to_dict() for guess in self.guesses],
        }


def check_baseline(bed: Stringbed, baseline: Reading, book: StringbedBook | None = None) -> BaselineCheck:
    """Return whether the baseline can be right for this bed, and which slips would explain it when it cannot.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed.
        ValueError: for a bed that cannot be.
    """
    book = book or load_stringbed_book()
    expected = estimate_fresh(bed, baseline.kind, book) if baseline.kind else None
    if expected is None or baseline.kind is None or baseline.unit is not None:
        return BaselineCheck(BaselineFit.NOT_CHECKED, book.say(Key.NOT_CHECKED))
    value = sum(baseline.values) / len(baseline.values)
    away = (value - expected.reading.values[0]) / expected.sd
    if abs(away) <= book.figures.unlikely_sd.value:
        return BaselineCheck(BaselineFit.FITS, book.say(Key.FITS), expected, away)
    unlikely = abs(away) <= book.figures.impossible_sd.value
    says = book.say(
        Key.UNLIKELY if unlikely else Key.IMPOSSIBLE,
        value=f"{value:g}",
        low=f"{expected.low:.0f}",
        high=f"{expected.high:.0f}",
    )
    fit = BaselineFit.UNLIKELY if unlikely else BaselineFit.IMPOSSIBLE
    guesses = (*_guess_numbers(value, baseline.kind, expected, book), *_guess_kind(value, baseline.kind, bed, book))
    return BaselineCheck(fit, says, expected, away, guesses)


def _guess_numbers(value: float, kind: Kind, expected: FreshEstimate, book: StringbedBook) -> Iterator[Guess]:
    """Yield the slips that would bring the number into the expected range, each value once."""
    seen: set[float] = set()
    for key, slip, number in _undo(value, kind, book):
        if expected.low <= number <= expected.high and round(number, 1) not in seen:
            seen.add(round(number, 1))
            yield Guess(key, number, slip, book.say(key, value=f"{number:.4g}"))


def _undo(value: float, kind: Kind, book: StringbedBook) -> Iterator[tuple[Key, str, float]]:
    for name, slip in book.slips.items():
        if slip.kind == "any":
            yield Key.GUESS_POINT, name, value * slip.factor
        elif slip.kind == kind:
            yield Key.GUESS_UNIT, name, value * slip.factor
    for teen, ten in book.misheard.pairs:
        if value in {teen, ten}:
            yield Key.GUESS_MISHEARD, "misheard", float(ten if value == teen else teen)
    digits = f"{value:g}"
    for place in range(len(digits) - 1):
        left, right = digits[place], digits[place + 1]
        if left.isdigit() and right.isdigit() and left != right:
            yield Key.GUESS_DIGITS, "digits", float(digits[:place] + right + left + digits[place + 2 :])


def _guess_kind(value: float, kind: Kind, bed: Stringbed, book: StringbedBook) -> Iterator[Guess]:
    for other in Kind:
        expected = estimate_fresh(bed, other, book) if other is not kind else None
        if expected is not None and expected.low <= value <= expected.high:
            yield Guess(Key.GUESS_KIND, value, other.value, book.say(Key.GUESS_KIND, kind=book.kinds[other]))
