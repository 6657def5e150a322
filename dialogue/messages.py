"""All that crosses the channel border: Message in, Understanding between, Reply out."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True)
class Message:
    """One turn of a person at a channel."""

    text: str
    sender_id: str
    """The conversation this turn belongs to."""
    channel: str = "typed"
    """typed or voice, where it changes how the words are read."""
    today: dt.date | None = None
    """The day of the turn; the channel fills it in."""
    language: str = "en"
    doubted: tuple[str, ...] = ()
    """Slots that the ears are not sure of: their values are read back before they are kept. Voice only."""


@dataclass(frozen=True)
class Evidence:
    """One value that was read in the words, with where and why."""

    slot: str
    value: Any
    span: tuple[int, int]
    """Start and end in the repaired text."""
    words: str
    """The words of the span."""
    rule: str
    """Id of the cue that fired."""
    confidence: float
    owner: str | None = None
    """Whose value it is when the words say so: "daughter", "second racquet"; None is the one being talked of."""
    repair: str | None = None
    """What was put right before reading ("fifty for -> fifty four"), voice only."""
    readback: str | None = None
    """Why the value must be read back before it is kept: sound_alike, day_order, year_moved, guessed_unit ..."""
    product: Mapping[str, Any] | None = None
    """The shop's product that a material was said as: {"name", "material", "gauge"}."""


@dataclass(frozen=True)
class Understanding:
    """What one turn meant: an intent, the values in it and the evidence for both."""

    text: str
    """The text that was read, after the guard and the repairs."""
    intent: str
    confidence: float
    slots: Mapping[str, Any] = field(default_factory=dict)
    """Values by slot, in the forms of the facts JSON."""
    evidence: tuple[Evidence, ...] = ()
    rule: str = ""
    """Id of the cue that gave the intent."""
    operations: tuple[str, ...] = ()
    """Changes to what is already known: swap_strings, unit_kg, unit_lb, clear:<slot>."""
    questions: tuple[str, ...] = ()
    """What must be asked back before anything is kept: contradiction:<slot>, dead_means, day_order:<slot>."""
    suggestions: tuple[str, ...] = ()
    """Phrasings to offer when nothing was understood, best first."""
    unmatched: tuple[str, ...] = ()
    """Pieces of the text that no cue read."""
    stages: tuple[tuple[str, Any], ...] = ()
    """Stage by stage what was seen, filled only when explaining."""


@dataclass(frozen=True)
class Choice:
    """One answer a person may tap instead of typing."""

    text: str
    """What the button shows and what is sent as the turn's text."""
    value: Any = None


@dataclass(frozen=True)
class Reply:
    """What the assistant answers to one turn; a channel only renders it."""

    text: tuple[str, ...]
    """Paragraphs to show."""
    speech: str = ""
    """The same to say aloud: shorter, without symbols."""
    asked: str | None = None
    """The slot just asked about, "confirm" after a read-back, or None."""
    choices: tuple[Choice, ...] = ()
    facts: Mapping[str, Any] = field(default_factory=dict)
    """What is known so far of the racquet being talked of, as facts JSON."""
    decision: Mapping[str, Any] | None = None
    """The decision as JSON once there is one."""
    wanted: tuple[str, ...] = ()
    """The facts the rules still ask for before they decide."""
    ended: bool = False
    """True when the conversation is over and the channel may close."""
