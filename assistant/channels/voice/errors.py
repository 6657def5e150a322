"""What may go wrong with sound, each named by the sentence that a person hears of it; knows no device."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Any

from dialogue.yaml_files import read_yaml

PHRASES = Path(__file__).parent / "phrases.yaml"


@cache
def read_phrases() -> dict[str, str]:
    """Return the channel's own sentences by key."""
    phrases: dict[str, str] = read_yaml(PHRASES)["phrases"]
    return phrases


def phrase(key: str, **values: Any) -> str:
    """Return one of the channel's own sentences."""
    return read_phrases()[key].format(**values)


class VoiceProblem(Exception):
    """Sound cannot be had or used; its text says what to do, and typing works all the same."""

    def __init__(self, key: str, **values: Any) -> None:
        super().__init__(phrase(key, **values))
        self.key = key
        """Key of the sentence in phrases.yaml."""
