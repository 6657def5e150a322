"""Whole dialogues by synthetic voice end in the right facts and decision; the longer set runs with `make voice`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from assistant.channels.voice.hear import Listener
from tests.assistant.voice.dialogues import check, play, read_dialogues


@pytest.mark.parametrize("dialogue", read_dialogues(short=True), ids=lambda dialogue: dialogue["name"])
def test_a_spoken_dialogue(dialogue: dict[str, Any], listener: Listener, clips: Path) -> None:
    """What was said to the end is what is known and decided."""
    check(dialogue, play(dialogue, listener, clips))
