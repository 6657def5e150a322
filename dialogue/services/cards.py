"""What the use cases hand to the conversation: frozen, ready to be kept as JSON; knows no rule and no database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any


@dataclass(frozen=True)
class Foreseen:
    """When a stringbed will have lost so much, and how that stands to the chart; it overrides no verdict."""

    today: dt.date
    line_percent: float
    earliest: dt.date | None
    """None for this and the next two: not within the horizon."""
    expected: dt.date | None
    latest: dt.date | None
    horizon: dt.date
    """As far as the forecast looks."""
    readings: int
    prior_percent: float
    """How much of it was expected beforehand."""
    label_due: dt.date | None
    """What the label on the throat says."""
    apart_days: int
    """Further apart than this, forecast and chart are said to part."""
    strung_on: dt.date | None = None
    handling: str = "tell"
    """What the shop does where they part: silent, tell or offer."""
    move_readings: int = 2
    """With fewer readings nobody is offered to move a day."""

    @property
    def name(self) -> str:
        """Return what tells this forecast from another, so that it is told once."""
        return f"forecast {self.earliest} {self.expected} {self.latest} {self.label_due}"


@dataclass(frozen=True)
class Moved:
    """A day to restring that was moved to an earlier one."""

    decision: Mapping[str, Any]
    """The decision with the new day on the label, as JSON and as stored."""
    consultation: int
    """Its number."""


@dataclass(frozen=True)
class Checked:
    """A value that was checked against the rulebook's limits."""

    value: Any
    """The value as it is kept; None when it was refused."""
    refusal: str | None = None
    """What is wrong with it, as a sentence."""


@dataclass(frozen=True)
class Card:
    """A customer as the conversation names one."""

    customer_id: int
    name: str
    tail: str
    """The last digits of the phone number; empty where there is none."""
    racquets: tuple[str, ...]
    """The names of the customer's racquets."""
    exact: bool
    """Whether the name asked for is part of this one, letter by letter."""

    def to_json(self) -> dict[str, Any]:
        """Return the card in the form a slot holds."""
        return {**asdict(self), "racquets": list(self.racquets)}


@dataclass(frozen=True)
class RacquetCard:
    """One racquet on record with what is known of it."""

    customer_id: int
    name: str
    """The customer's."""
    racquet_id: int
    racquet: str
    """What the racquet is called; empty where it has no name."""
    job_id: int | None
    tag: str
    """The tag of its last stringing; empty where there is none."""
    facts: Mapping[str, Any]
    """The facts on record as JSON."""
    status: str = ""
    """How far its last stringing has come; empty where there is none."""
    printed_range: Mapping[str, Any] | None = None
    """{"min", "max", "unit"} as printed on the frame; None where nobody read it."""
    products: Mapping[str, Any] = field(default_factory=dict)
    """The shop's products of its last stringing, by side."""

    def to_record(self) -> dict[str, Any]:
        """Return whose racquet it is, in the form a slot holds, without the facts."""
        return {name: value for name, value in asdict(self).items() if name != "facts"}


@dataclass(frozen=True)
class Fetched:
    """One racquet a customer came for, with the story its owner is told."""

    card: RacquetCard
    story: tuple[str, ...]
    """What was done, what the label means and why, as sentences; empty where nothing was handed over."""
    decision: Mapping[str, Any] | None
    """The stored decision that its restring-by date rests on, as JSON."""
    promised_on: dt.date | None
    refusal: str | None = None
    """Why it was not handed over, as a sentence."""


@dataclass(frozen=True)
class Logged:
    """A reading written down, and what it changed."""

    card: RacquetCard
    fresh: bool
    """True when it was kept as the baseline of a fresh stringing."""
    before: Mapping[str, Any] | None
    """The decision without it, as JSON; None for a baseline."""
    after: Mapping[str, Any] | None
    remarks: tuple[str, ...] = ()
    """What must be said beside it, as sentences."""
    refusal: str | None = None
    """Why it was not written down, as a sentence."""
    doubt: str | None = None
    """Why it was not written down before somebody says that it is right, as sentences."""


@dataclass(frozen=True)
class Received:
    """A racquet left at the counter."""

    card: RacquetCard | None
    """None where it was refused."""
    opened: bool
    """False where a person has to look at the frame before a stringing is opened."""
    remarks: tuple[str, ...] = ()
    refusal: str | None = None
    refused_slot: str | None = None
    """The slot that must be said again."""


@dataclass(frozen=True)
class Strung:
    """A racquet marked as strung, and until when its strings are good."""

    card: RacquetCard
    decision: Mapping[str, Any] | None
    """As stored, as JSON."""
    remarks: tuple[str, ...] = ()
    refusal: str | None = None


@dataclass(frozen=True)
class Waiting:
    """A racquet that waits to be strung or fetched."""

    card: RacquetCard
    promised_on: dt.date | None
    strung: bool = False
    tag: str = ""


@dataclass(frozen=True)
class Label:
    """What stands on a racquet's label."""

    card: RacquetCard
    restring_by: dt.date
    about: bool
    """True where the date is approximate."""
    strung_on: dt.date
    strings: str
    """With their tension."""
    refusal: str | None = None
    """Why there is none, as a sentence."""


@dataclass(frozen=True)
class LookedOver:
    """What is still to be settled of a racquet before it is taken in."""

    outside: str | None
    """That the tension wanted is outside the range printed on the frame, as a sentence; None where it is not."""
    needs: tuple[str, ...]
    """Facts of the player without which the strings will get no date, the first to ask first."""


@dataclass(frozen=True)
class DueEntry:
    """One racquet whose strings are due."""

    name: str
    racquet: str
    due_on: dt.date
    days_left: int
    """Negative when the day has passed."""
