"""The stringbed model's data file as a frozen model: materials, machines, slips and sentences; computes nothing."""

from __future__ import annotations

from collections.abc import Set as AbstractSet
from enum import StrEnum
from functools import lru_cache
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, model_validator

from rules.facts import Kind, Material
from rules.physics_book import (
    BOOK_FOLDER,
    Figure,
    Saying,
    Spread,
    Strict,
    check_complete,
    check_sentences,
    read_physics,
)

FILE = "stringbed.yaml"


class Machine(StrEnum):
    """How a stringing machine holds the tension."""

    CONSTANT_PULL = "constant_pull"
    LOCK_OUT = "lock_out"
    UNKNOWN = "unknown"


class StringbedRemark(StrEnum):
    """What the stringbed model says of itself; the sentences stand in the data file."""

    STARTING_POINT = "starting_point"
    ESTIMATED = "estimated"
    FROM_PAIR = "from_pair"
    NO_SCALE = "no_scale"
    MACHINE_UNKNOWN = "machine_unknown"
    GAUGE_UNKNOWN = "gauge_unknown"
    ASSUMED = "assumed"
    SAME_STRINGS = "same_strings"
    OTHER_STRINGS = "other_strings"
    CLIPPED_TO_PRINTED = "clipped_to_printed"
    PRINTED_UNKNOWN = "printed_unknown"
    OUTSIDE_USUAL = "outside_usual"
    RANGE_CUT = "range_cut"
    ASSUMED_ALIKE = "assumed_alike"
    ASSUMED_USUAL = "assumed_usual"
    MATCHED = "matched"
    MODEL = "model"
    FITS = "fits"
    UNLIKELY = "unlikely"
    IMPOSSIBLE = "impossible"
    NOT_CHECKED = "not_checked"
    GUESS_UNIT = "guess_unit"
    GUESS_DIGITS = "guess_digits"
    GUESS_POINT = "guess_point"
    GUESS_MISHEARD = "guess_misheard"
    GUESS_KIND = "guess_kind"


_EXPECTED = frozenset({"value", "low", "high"})
_VALUE = frozenset({"value"})
PLACEHOLDERS: dict[StringbedRemark, frozenset[str]] = {
    StringbedRemark.GAUGE_UNKNOWN: frozenset({"gauge"}),
    StringbedRemark.CLIPPED_TO_PRINTED: frozenset({"lb"}),
    StringbedRemark.OUTSIDE_USUAL: frozenset({"low", "high"}),
    StringbedRemark.ASSUMED_ALIKE: frozenset({"what"}),
    StringbedRemark.ASSUMED_USUAL: frozenset({"what"}),
    StringbedRemark.MATCHED: _VALUE,
    StringbedRemark.UNLIKELY: _EXPECTED,
    StringbedRemark.IMPOSSIBLE: _EXPECTED,
    StringbedRemark.GUESS_UNIT: _VALUE,
    StringbedRemark.GUESS_DIGITS: _VALUE,
    StringbedRemark.GUESS_POINT: _VALUE,
    StringbedRemark.GUESS_MISHEARD: _VALUE,
    StringbedRemark.GUESS_KIND: frozenset({"kind"}),
}
"""The values a remark's sentence may name in braces; a remark not listed takes none."""


class StringbedFigures(Strict):
    """The single numbers of the stringbed model."""

    head_aspect: Figure
    layout_span: Figure
    patch_radius_mm: Figure
    hit_force_n: Figure
    gauge_mm: Figure
    usual_head_in2: Figure
    usual_mains: Figure
    usual_crosses: Figure
    usual_pull_lb: Figure
    assumed_head_share_sd: Figure
    assumed_pattern_share_sd: Figure
    assumed_pull_share_sd: Figure
    assumed_material_share_sd: Figure
    told_assumed_share: Figure
    pounds_per_stiffness: Figure
    stiffness_share_sd: Figure
    frequency_share_sd: Figure
    pounds_share_sd: Figure
    unlikely_sd: Figure
    impossible_sd: Figure
    advice_least_lb: Figure
    advice_share: Figure
    advice_lowest_lb: Figure
    advice_highest_lb: Figure
    advice_step_lb: Figure
    advice_step_kg: Figure


class StringFigures(Strict):
    """What a string is, apart from its gauge."""

    density: Figure
    modulus: Spread


class Slip(Strict):
    """A way in which a reading is written down wrong."""

    kind: Kind | Literal["any"]
    factor: float = Field(gt=0)
    source: str


class Misheard(Strict):
    """Numbers that are mistaken for each other when spoken."""

    pairs: list[Annotated[list[int], Field(min_length=2, max_length=2)]]
    source: str


class StringbedBook(Saying[StringbedRemark]):
    """All that the stringbed model assumes, with unit and source."""

    figures: StringbedFigures
    kept: dict[Machine, Spread]
    strings: dict[Material, StringFigures]
    slips: dict[str, Slip]
    misheard: Misheard
    kinds: dict[Kind, str]
    parts: dict[str, str]
    """What may have to be assumed, in words."""

    @model_validator(mode="after")
    def _complete(self) -> StringbedBook:
        wanted: dict[str, AbstractSet[str]] = {
            "kept": set(Machine),
            "strings": set(Material),
            "remarks": set(StringbedRemark),
            "kinds": set(Kind),
            "parts": {"head", "pattern", "gauge", "usual_head", "usual_pattern", "usual_gauge"},
        }
        check_complete(self, wanted)
        check_sentences(self.remarks, PLACEHOLDERS)
        return self


@lru_cache(maxsize=4)
def load_stringbed_book(folder: Path = BOOK_FOLDER) -> StringbedBook:
    """Return the stringbed model's data file.

    Raises:
        BookError: names the key and the remedy when the file cannot be used.
    """
    return read_physics(folder, FILE, StringbedBook)
