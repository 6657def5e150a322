"""The data file of listening to taps as a frozen model: figures and sentences; listens to nothing."""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache
from pathlib import Path

from pydantic import model_validator

from rules.physics_book import BOOK_FOLDER, Figure, Saying, Strict, check_complete, check_sentences, read_physics

FILE = "tap.yaml"


class TapRemark(StrEnum):
    """What is said of a recording; the sentences stand in the data file."""

    SILENCE = "silence"
    NO_TAP = "no_tap"
    UNSURE = "unsure"
    CLIPPED = "clipped"
    ONE_TAP = "one_tap"
    FEW_TAPS = "few_taps"
    LEFT_OUT = "left_out"
    TOO_LONG = "too_long"
    TOO_COARSE = "too_coarse"
    DAMAGED = "damaged"


PLACEHOLDERS: dict[TapRemark, frozenset[str]] = {
    TapRemark.FEW_TAPS: frozenset({"n"}),
    TapRemark.LEFT_OUT: frozenset({"n"}),
    TapRemark.TOO_LONG: frozenset({"seconds"}),
    TapRemark.TOO_COARSE: frozenset({"rate"}),
}
"""The values a remark's sentence may name in braces; a remark not listed takes none."""


class TapFigures(Strict):
    """The single numbers of listening to taps."""

    lowest_hz: Figure
    highest_hz: Figure
    overtone_db: Figure
    prominence_db: Figure
    above_background_db: Figure
    attack_db: Figure
    quietest_db: Figure
    tonal_share: Figure
    clear_share: Figure
    pure_share: Figure
    longest_decay_ms: Figure
    decay_fit_db: Figure
    steady_factor: Figure
    apart_percent: Figure
    taps_wanted: Figure
    taps_most: Figure
    least_confidence: Figure
    gap_ms: Figure
    least_rate: Figure
    longest_seconds: Figure
    clipped_share: Figure


class TapBook(Saying[TapRemark]):
    """All that is assumed of a tap, with unit and source."""

    figures: TapFigures

    @model_validator(mode="after")
    def _complete(self) -> TapBook:
        check_complete(self, {"remarks": set(TapRemark)})
        check_sentences(self.remarks, PLACEHOLDERS)
        return self


@lru_cache(maxsize=4)
def load_tap_book(folder: Path = BOOK_FOLDER) -> TapBook:
    """Return the data file of listening to taps.

    Raises:
        BookError: names the key and the remedy when the file cannot be used.
    """
    return read_physics(folder, FILE, TapBook)
