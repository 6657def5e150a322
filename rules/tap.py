"""The frequency of a tapped stringbed from a recording, with its confidence; knows no file and keeps nothing."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING, Any

from rules.physics_book import PhysicsMissing
from rules.tap_book import TapBook, load_tap_book
from rules.tap_book import TapRemark as Key

if TYPE_CHECKING:
    from rules.tap_sound import Listened, Ring


@dataclass(frozen=True)
class Tap:
    """What a recording of taps gave: a frequency, or why there is none."""

    hertz: float | None
    """Mean of the taps that agree; None where nothing can be read."""
    confidence: float
    """0 to 1: how many taps there are, how well they agree, how clear they sound."""
    taps: tuple[float, ...]
    """Frequency of each tap that agrees with the most others, in Hz."""
    left_out: int
    """Taps that did not agree with the others."""
    seconds: float
    """Length of the recording."""
    remarks: tuple[str, ...] = ()
    """What must be said of it; where nothing can be read, the first says why and what to do."""

    def to_dict(self) -> dict[str, Any]:
        """Return the reading as JSON."""
        return {
            "hertz": self.hertz,
            "confidence": round(self.confidence, 3),
            "taps": list(self.taps),
            "left_out": self.left_out,
            "seconds": round(self.seconds, 3),
            "remarks": list(self.remarks),
        }


def read_tap(samples: Any, rate: float, book: TapBook | None = None) -> Tap:
    """Return the frequency of the bed tapped in a recording.

    Args:
        samples: an array of numbers whose full scale is one, or of whole frames with a column a channel.
        rate: samples a second.
        book: the data file, where another one is meant.

    Raises:
        PhysicsMissing: when numpy or scipy is not installed; says what to install.
    """
    book = book or load_tap_book()
    if not rate >= book.figures.least_rate.value:
        return _nothing(0.0, book.say(Key.TOO_COARSE, rate=f"{rate:g}"))
    seconds = len(samples) / rate
    if seconds > book.figures.longest_seconds.value:
        return _nothing(seconds, book.say(Key.TOO_LONG, seconds=round(seconds)))
    listen = _import_listen()
    try:
        heard = listen(samples, rate, book.figures)
    except ValueError:
        return _nothing(seconds, book.say(Key.DAMAGED))
    usable = [ring for ring in heard.rings if _clearness(ring, book) > 0]
    if not usable:
        return _nothing(seconds, book.say(_why_nothing(heard, book)))
    kept = _agreeing(usable, book.figures.apart_percent.value)
    confidence = _trust(kept, usable, book)
    taps = tuple(round(float(ring.hertz), 1) for ring in kept[: int(book.figures.taps_most.value)])
    left_out = len(usable) - len(kept)
    if confidence < book.figures.least_confidence.value:
        why = Key.ONE_TAP if len(usable) == 1 else Key.UNSURE
        return Tap(None, confidence, taps, left_out, seconds, (book.say(why),))
    remarks = tuple(_remark(taps, left_out, book))
    return Tap(round(math.fsum(taps) / len(taps), 1), confidence, taps, left_out, seconds, remarks)


def _import_listen() -> Any:
    try:
        from rules.tap_sound import listen  # noqa: PLC0415 - only this needs numpy and scipy
    except ModuleNotFoundError as error:
        if error.name is None or error.name.split(".")[0] not in {"numpy", "scipy"}:
            raise
        message = f"Reading a tap needs {error.name}, which is not installed: pip install 'counterpull[physics]'."
        raise PhysicsMissing(message) from error
    return listen


def _nothing(seconds: float, says: str) -> Tap:
    return Tap(None, 0.0, (), 0, seconds, (says,))


def _why_nothing(heard: Listened, book: TapBook) -> Key:
    if heard.clipped:
        return Key.CLIPPED
    return Key.SILENCE if heard.loudest_db < book.figures.quietest_db.value else Key.NO_TAP


def _clearness(ring: Ring, book: TapBook) -> float:
    """Return how clear one tap sounds: 0 where it is none."""
    figures = book.figures
    if ring.tonal_share < figures.tonal_share.value:
        return 0.0
    if ring.decay_ms <= figures.longest_decay_ms.value:
        return min(1.0, ring.tonal_share / figures.clear_share.value)
    return figures.steady_factor.value if ring.tonal_share >= figures.pure_share.value else 0.0


def _agreeing(rings: Sequence[Ring], apart_percent: float) -> list[Ring]:
    """Return the largest group of taps that lie close to one of them; of two alike, the one around the median."""
    middle = median(ring.hertz for ring in rings)
    groups = [
        [ring for ring in rings if abs(ring.hertz - centre.hertz) <= apart_percent / 100 * centre.hertz]
        for centre in rings
    ]
    return max(groups, key=lambda group: (len(group), -abs(group[0].hertz - middle)))


def _trust(kept: Sequence[Ring], usable: Sequence[Ring], book: TapBook) -> float:
    clear = math.fsum(_clearness(ring, book) for ring in kept) / len(kept)
    agreed = len(kept) / len(usable)
    enough = math.sqrt(min(len(kept) / book.figures.taps_wanted.value, 1.0))
    return clear * agreed * enough


def _remark(taps: Sequence[float], left_out: int, book: TapBook) -> Iterator[str]:
    if len(taps) < book.figures.taps_wanted.value:
        yield book.say(Key.FEW_TAPS, n=len(taps))
    if left_out:
        yield book.say(Key.LEFT_OUT, n=left_out)
