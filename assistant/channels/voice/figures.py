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
    windows: tuple[tuple[float, int], ...]
    most_tokens: int
    wordings: int
    no_speech: float
    least_confidence: float


class Agreement(_Strict):
    """When the ears agree, and what is read back in any case."""

    always: frozenset[str]
    nearly_as_likely: float
    second_supports: float
    second_alone: float
    second_unasked: float
    shared_counts: float
    fit_counts: float
    least_fit: float
    certain: float
    sure: float
    talk_fit: float
    rival: float


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
