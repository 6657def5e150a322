"""What is said to begin practice and to answer an exercise, for a channel that must tell words from noise."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from dialogue.hearing import PRACTICE_READS, Understand, lesson_begun
from dialogue.messages import Understanding
from dialogue.options import answer_to

PREFIX = "practice_"
"""Before the part of an exercise in what a reply asks for."""
SURE = 0.95
NO_DAY = "none"


def with_lessons(understand: Understand) -> Understand:
    """Return what reads words as given, and those of practice as well: what begins it, ends it and answers it."""

    def read(text: str, *, asked: str | None, channel: str, today: dt.date, names: Sequence[str] = ()) -> Understanding:
        stage = asked.removeprefix(PREFIX) if asked and asked.startswith(PREFIX) else None
        read_as = PRACTICE_READS.get(stage) if stage else asked
        heard = understand(text, asked=read_as, channel=channel, today=today, names=names)
        if stage is None:
            begun = lesson_begun(text)
            return replace(heard, intent=begun, confidence=SURE, slots={}, questions=()) if begun else heard
        if answer_to("practice_end", text):
            return replace(heard, intent="stop", confidence=SURE, slots={}, questions=())
        part = _part(stage, text, heard)
        slots = {} if part is None else {f"{PREFIX}{stage}": part}
        return replace(heard, intent="inform", slots=slots, questions=())

    return read


def _part(stage: str, text: str, heard: Understanding) -> Any:
    """Return a part of an answer, or None where the words hold none."""
    if stage == "verdict":
        answer = answer_to("practice_verdict", text)
        return answer[0] if answer else None
    if stage == "date" and (heard.intent == "deny" or answer_to("practice_no_day", text)):
        return NO_DAY
    return heard.slots.get(PRACTICE_READS[stage])
