"""The facts a decision may rest on, parsed and range-checked; knows no rule and no wording of a question."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from enum import StrEnum
from typing import Any


class Level(StrEnum):
    """How somebody plays: for fun, or matches that count."""

    RECREATIONAL = "recreational"
    COMPETITIVE = "competitive"


class Material(StrEnum):
    """What a string is made of."""

    NATURAL_GUT = "natural_gut"
    SYNTHETIC_GUT = "synthetic_gut"
    MULTIFILAMENT = "multifilament"
    POLYESTER = "polyester"
    ARAMID = "aramid"


class Kind(StrEnum):
    """What an instrument reads: a 0-100 deflection scale, kgf/cm, lb or Hz."""

    DEFLECTION = "deflection"
    STIFFNESS = "stiffness"
    POUNDS = "pounds"
    FREQUENCY = "frequency"


class Symptom(StrEnum):
    """What the player or the stringer notices."""

    ARM_PAIN = "arm_pain"
    LOSS_OF_POWER = "loss_of_power"
    LOSS_OF_CONTROL = "loss_of_control"
    FRAYING = "fraying"
    BROKEN = "broken"
    NOTCHED = "notched"
    MOVEMENT = "movement"


class Sport(StrEnum):
    """The sports whose racquets come over the counter."""

    TENNIS = "tennis"
    BADMINTON = "badminton"
    SQUASH = "squash"
    RACQUETBALL = "racquetball"
    PADEL = "padel"


class Season(StrEnum):
    """The part of the year in which somebody plays at all."""

    SPRING = "spring"
    SUMMER = "summer"
    AUTUMN = "autumn"
    WINTER = "winter"


class Fact(StrEnum):
    """Every fact by its one name: slot, fact, column and JSON key alike."""

    LEVEL = "level"
    PLAYS_PER_WEEK = "plays_per_week"
    HOURS_PER_PLAY = "hours_per_play"
    HOURS_PER_WEEK = "hours_per_week"
    SEASON = "season"
    MAINS_MATERIAL = "mains_material"
    CROSSES_MATERIAL = "crosses_material"
    HYBRID = "hybrid"
    MAINS_TENSION = "mains_tension"
    CROSSES_TENSION = "crosses_tension"
    STRUNG_ON = "strung_on"
    LABEL_DUE = "label_due"
    LEAGUE_START = "league_start"
    BASELINE = "baseline"
    READING = "reading"
    BREAKS_STRINGS = "breaks_strings"
    SYMPTOMS = "symptoms"
    SPORT = "sport"
    GROUP = "group"


def plain_number(number: float) -> float:
    """Return a whole number as an integer, so that JSON shows it as it was said."""
    return int(number) if number == int(number) else number


@dataclass(frozen=True)
class Span:
    """A number, or a range of numbers when low and high differ."""

    low: float
    high: float

    def to_json(self) -> float | dict[str, float]:
        """Return the plain number, or {"min", "max"}."""
        low, high = plain_number(self.low), plain_number(self.high)
        return low if low == high else {"min": low, "max": high}


@dataclass(frozen=True)
class Day:
    """A calendar day, and how exactly it was said."""

    day: dt.date
    """The day that counts in every computation."""
    approx: bool = False
    """True when the speaker named a month, a year or a span of time only."""
    said: str | None = None
    """The value as given ("2026-03", "-P6M"), where it is not the day itself."""

    def to_json(self) -> str | dict[str, Any]:
        """Return the ISO day, or {"value", "approx"} where it is approximate."""
        if not self.approx:
            return self.day.isoformat()
        return {"value": self.named or self.day.isoformat(), "approx": True}

    @property
    def named(self) -> str | None:
        """The month or year that was named ("2026-03", "2021"), where one was."""
        return self.said if self.said and "P" not in self.said else None


@dataclass(frozen=True)
class Tension:
    """A pull tension as said, in lb or kg."""

    value: float
    unit: str

    def to_json(self) -> dict[str, Any]:
        """Return {"value", "unit"}."""
        return {"value": plain_number(self.value), "unit": self.unit}


@dataclass(frozen=True)
class Reading:
    """One measurement of a stringbed: one number or several repeats of it."""

    values: tuple[float, ...]
    """The repeats in the unit of the kind: scale 0-100, kgf/cm, lb or Hz (or `unit`)."""
    kind: Kind | None = None
    unit: str | None = None
    """Only where the instrument shows another unit than the kind's usual one."""
    instrument: str | None = None
    """The shop's own name of the instrument, where it has two of a kind."""
    taken_on: dt.date | None = None
    estimated: bool = False
    """True when nobody measured it: a model's figure, which never decides alone."""

    def to_json(self) -> dict[str, Any]:
        """Return the reading in the form that parsing accepts."""
        value: dict[str, Any] = {}
        if len(self.values) == 1:
            value["value"] = plain_number(self.values[0])
        else:
            value["values"] = [plain_number(one) for one in self.values]
        value["kind"] = self.kind.value if self.kind else None
        for key in ("unit", "instrument"):
            if getattr(self, key) is not None:
                value[key] = getattr(self, key)
        if self.taken_on:
            value["taken_on"] = self.taken_on.isoformat()
        if self.estimated:
            value["estimated"] = True
        return value


@dataclass(frozen=True)
class Limits:
    """The ranges a fact must lie in; the figures come from the rulebook's values.yaml."""

    ranges: Mapping[str, tuple[float, float]]
    """Lowest and highest value by name, for example plays_per_week -> (0, 21)."""
    settings: Mapping[str, str] = field(default_factory=dict)
    """How an approximate date becomes a day, by fact: first, middle or last."""


@dataclass(frozen=True)
class Facts:
    """What is known of one racquet and its player on one day; None means not known."""

    today: dt.date
    level: Level | None = None
    plays_per_week: Span | None = None
    hours_per_play: Span | None = None
    hours_per_week: Span | None = None
    season: Season | None = None
    mains_material: Material | None = None
    crosses_material: Material | None = None
    hybrid: bool | None = None
    mains_tension: Tension | None = None
    crosses_tension: Tension | None = None
    strung_on: Day | None = None
    label_due: Day | None = None
    league_start: Day | None = None
    baseline: tuple[Reading, ...] = ()
    reading: tuple[Reading, ...] = ()
    breaks_strings: bool | None = None
    symptoms: tuple[Symptom, ...] | None = None
    sport: Sport | None = None
    group: str | None = None
    """A group of players that the shop treats in its own way, by the shop's own word: "junior"."""
    unknown: frozenset[str] = frozenset()
    """Facts that somebody was asked for and could not give."""
    words: Mapping[str, str] = field(default_factory=dict, compare=False)
    """The words a fact was said in, by fact; evidence for the trail, never read by a rule."""

    def known(self, fact: str) -> bool:
        """Tell whether the fact has a value."""
        value = getattr(self, fact)
        return value is not None and value != ()

    def change(self, **facts: Any) -> Facts:
        """Return the same facts with some replaced."""
        return replace(self, **facts)

    def to_dict(self) -> dict[str, Any]:
        """Return the known facts in the JSON form that `parse_facts` accepts, without today."""
        found: dict[str, Any] = {}
        for fact in Fact:
            value = getattr(self, fact)
            if value is None or value == ():
                if fact is Fact.SYMPTOMS and value == ():
                    found[fact.value] = []
                continue
            found[fact.value] = _to_json(value)
        if self.unknown:
            found["unknown"] = sorted(self.unknown)
        if self.words:
            found["words"] = dict(self.words)
        return found


def _to_json(value: Any) -> Any:
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, tuple):
        items = [_to_json(one) for one in value]
        return items[0] if len(items) == 1 and isinstance(value[0], Reading) else items
    return value.to_json() if hasattr(value, "to_json") else value
