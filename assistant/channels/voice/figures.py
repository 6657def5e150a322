"""The figures of the ears and the mouth, read from listening.yaml; decides nothing with them."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

import yaml
from pydantic import BaseModel, ConfigDict

FILE = Path(__file__).parent / "listening.yaml"


class _Strict(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Listening(_Strict):
    """When an utterance begins and ends."""

    speech_threshold: float
    start_chunks: int
    hang_seconds: float
    early_seconds: float
    enough_seconds: float
    longest_seconds: float
    before_seconds: float
    quiet_level: float
    clipped_share: float
    longest_file_seconds: float


class Whisper(_Strict):
    """How the first ear is asked."""

    beam: int
    beam_again: int
    windows: tuple[tuple[float, int], ...]
    windows_in_noise: tuple[tuple[float, int], ...]
    most_tokens: int
    no_speech: float
    least_confidence: float


class Agreement(_Strict):
    """When the ears agree, and what is read back in any case."""

    always: frozenset[str]
    fit_counts: float
    top_counts: float
    also_counts: float
    nothing_counts: float
    besides_counts: float
    behind: float
    usual_word: float
    foreign_word: float
    strange_word: float
    foreign_leads: float
    second_alone: float
    least_lead: float
    most_lead: float
    rival: float
    clear: float


class Second(_Strict):
    """How much of what the second ear heard is looked at."""

    wordings: int


class Quieting(_Strict):
    """How steady noise is taken out for the second ear."""

    quiet_share: float
    enough_decibels: float
    over: float
    follows: float
    floor: float


class Speaking(_Strict):
    """How the mouth speaks."""

    words_a_minute: int
    slowest: int
    fastest: int
    step: int
    volume: float
    volume_step: float
    confusable: frozenset[int]


class Figures(_Strict):
    """All of them."""

    listening: Listening
    whisper: Whisper
    second: Second
    agreement: Agreement
    quieting: Quieting
    speaking: Speaking
    controls: dict[str, tuple[str, ...]]
    wake_phrase: str


@cache
def read_figures() -> Figures:
    """Return the figures of the voice channel."""
    content: Any = yaml.safe_load(FILE.read_text(encoding="utf8"))
    return Figures.model_validate(content)
