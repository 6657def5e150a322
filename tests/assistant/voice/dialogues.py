"""A customer of synthetic speech: plays the dialogues of dialogues.yaml through the spoken conversation."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from assistant.channels.voice.hear import Listener
from assistant.channels.voice.loop import Habits, VoiceLoop
from dialogue.messages import Message, Reply
from tests.assistant.voice import speech
from tests.assistant.voice.test_detect import source_of
from tests.assistant.voice.test_loop import Notebook
from tests.dialogue.scripts import build_conversation, differences, open_test_store, seed

FILE = Path(__file__).with_suffix(".yaml")
TODAY = dt.date(2026, 11, 25)
LONGEST = 20
YES = "yes that is right"


@dataclass
class Played:
    """What came of a dialogue."""

    heard: list[str] = field(default_factory=list)
    answers: list[Reply] = field(default_factory=list)
    """The last reply of each turn."""


def read_dialogues(*, short: bool) -> list[dict[str, Any]]:
    """Return the short dialogues, or the others."""
    dialogues: list[dict[str, Any]] = yaml.safe_load(FILE.read_text(encoding="utf8"))
    return [one for one in dialogues if one.get("short", False) == short]


def play(dialogue: Mapping[str, Any], listener: Listener, folder: Path) -> Played:
    """Hold a dialogue by voice until the assistant asks nothing more that the customer has an answer to."""
    played = Played()
    with open_test_store() as store:
        seed(store, dialogue.get("record", []))
        conversation = build_conversation(store, dialogue.get("own"))

        def turn(text: str, *, channel: str = "voice", doubted: tuple[str, ...] = ()) -> Sequence[Reply]:
            replies = conversation.handle(Message(text, "spoken", channel, TODAY, doubted=doubted))
            played.heard.append(text)
            played.answers.append(replies[-1])
            return replies

        names = tuple(entry["name"] for entry in dialogue.get("record", []))
        habits = Habits(TODAY, recording=True, people=lambda: names)
        with closing(VoiceLoop(turn, listener, Notebook(), habits)) as loop:
            said: str | None = dialogue["opening"]
            answers = {
                asked: [words] * LONGEST if isinstance(words, str) else list(words)
                for asked, words in dialogue["answers"].items()
            }
            then = [dialogue["then"]] if "then" in dialogue else []
            for _ in range(LONGEST):
                if said is None:
                    break
                clip = speech.say(said, dialogue["voice"], folder)
                with source_of(speech.pad(clip, before=0.3, after=1.0)) as source:
                    loop.run(source)
                if played.answers:
                    asked = played.answers[-1].asked
                    left = answers.get(str(asked)) or then
                    said = YES if asked == "confirm" else left.pop(0) if left else None
    return played


def check(dialogue: Mapping[str, Any], played: Played) -> None:
    """Hold the last replies against what must come of the dialogue."""
    ends = dialogue["ends"]
    told = next((reply for reply in reversed(played.answers) if reply.decision), played.answers[-1])
    shown = Reply(
        tuple(text for reply in played.answers for text in reply.text), facts=told.facts, decision=told.decision
    )
    assert differences(ends, shown) == [], played.heard
