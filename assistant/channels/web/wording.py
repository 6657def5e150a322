"""What the screens say and the figures of this channel, out of words.yaml and limits.yaml; knows no screen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from dialogue.yaml_files import read_yaml

FOLDER = Path(__file__).parent


@dataclass(frozen=True)
class Throttling:
    """How often somebody may try something."""

    attempts: int
    seconds: float
    """The span in which the attempts are counted."""


@lru_cache(maxsize=1)
def load_words() -> Mapping[str, Any]:
    """Return every text of the screens, by page and name."""
    words: dict[str, Any] = read_yaml(FOLDER / "words.yaml")
    return words


@lru_cache(maxsize=1)
def load_limits() -> Mapping[str, Any]:
    """Return the content of limits.yaml."""
    limits: dict[str, Any] = read_yaml(FOLDER / "limits.yaml")
    return limits


def figure(name: str) -> int:
    """Return a figure of limits.yaml, in the unit that stands beside it."""
    return int(load_limits()["figures"][name]["value"])


def throttling(name: str) -> Throttling:
    """Return how often somebody may try something."""
    limit = load_limits()["throttles"][name]
    return Throttling(int(limit["attempts"]), float(limit["seconds"]))


def say(text: str, /, **values: Any) -> str:
    """Return a text with its values."""
    return text.format_map(values)
