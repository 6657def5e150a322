"""The counter's own limits out of limits.yaml, and the checks against them; knows no sentence."""

from __future__ import annotations

import math
import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Any

from dialogue.counter.outcomes import refuse
from dialogue.yaml_files import read_yaml

FILE = Path(__file__).with_name("limits.yaml")


@lru_cache(maxsize=1)
def read_limits() -> dict[str, Any]:
    """Return the content of limits.yaml."""
    content: dict[str, Any] = read_yaml(FILE)
    return content


def figure(name: str) -> float:
    """Return a number of limits.yaml."""
    return float(read_limits()["figures"][name]["value"])


def choices(name: str) -> tuple[Any, ...]:
    """Return the values a word may take."""
    return tuple(read_limits()["choices"][name])


def check_range(name: str, value: float | None) -> float | None:
    """Return a number that lies in its range; None stays None. Refuses otherwise."""
    if value is None:
        return None
    limit = read_limits()["ranges"][name]
    if isinstance(value, bool) or not math.isfinite(value) or not limit["low"] <= value <= limit["high"]:
        raise refuse(
            "out_of_range", name, value=str(value), low=limit["low"], high=limit["high"], unit=str(limit["unit"])
        )
    return value


def check_choice(name: str, value: Any) -> Any:
    """Return a value that is one of its choices; None stays None. Refuses otherwise."""
    if value is not None and value not in choices(name):
        raise refuse("not_a_choice", name, value=str(value), choices=[str(choice) for choice in choices(name)])
    return value


def check_text(about: str, text: str | None, longest: str = "text_characters") -> str | None:
    """Return a text on one line without control characters; empty becomes None. Refuses one that is too long."""
    if text is None:
        return None
    kept = "".join(letter if unicodedata.category(letter)[0] != "C" else " " for letter in text)
    kept = " ".join(unicodedata.normalize("NFC", kept).split())
    most = int(figure(longest))
    if len(kept) > most:
        raise refuse("too_long", about, most=most, length=len(kept), value=kept[:40])
    return kept or None
