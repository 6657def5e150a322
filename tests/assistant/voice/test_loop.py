"""The spoken conversation: turns, doubts, silence, noise, keys, typed lines and what goes wrong midway."""

from __future__ import annotations

import threading
import time
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from assistant.channels.voice.audio import RATE, BytesSource
from assistant.channels.voice.errors import VoiceProblem, phrase
from assistant.channels.voice.hear import Hearing, Listener
from assistant.channels.voice.loop import Habits, VoiceLoop
from assistant.channels.voice.speak import Mouth, Speaker
from assistant.channels.voice.speakable import split_sentences
from dialogue.messages import Reply
from tests.assistant.voice import speech
from tests.assistant.voice.conftest import TODAY, Say
from tests.assistant.voice.players import PATIENCE, HeldPlayer
from tests.assistant.voice.speech import Sound as Clip
from tests.assistant.voice.test_detect import source_of


@dataclass
class Script:
    """Stands for the conversation: answers turns in order and notes what it was told."""

    replies: list[Reply]
    told: list[tuple[str, str, tuple[str, ...]]] = field(default_factory=list)

    def __call__(self, text: str, *, channel: str = "voice", doubted: tuple[str, ...] = ()) -> Sequence[Reply]:
        """Take a turn."""
        self.told.append((text, channel, doubted))
        return [self.replies[min(len(self.told), len(self.replies)) - 1]]


@dataclass
class Notebook:
    """Stands for the screen."""

    notes: list[str] = field(default_factory=list)
    turns: list[tuple[str | None, Sequence[Reply]]] = field(default_factory=list)
    levels: list[float] = field(default_factory=list)

    def note(self, text: str) -> None:
        """Write down a note."""
        self.notes.append(text)

    def show(self, heard: Hearing | None, replies: Sequence[Reply]) -> None:
        """Write down a turn."""
        self.turns.append((heard.text if heard else None, replies))

    def show_level(self, loudness: float) -> None:
        """Write down a level."""
        self.levels.append(loudness)


OPENING = Reply(("How often do you play?",), asked="plays_per_week")
NEXT = Reply(("And the level?",), asked="level")
BYE = Reply(("Goodbye.",), ended=True)
HABITS = Habits(TODAY, recording=True)


def begin(listener: Listener, *replies: Reply, habits: Habits = HABITS) -> tuple[VoiceLoop, Script, Notebook]:
    """Return a conversation that has just been opened."""
    script, screen = Script(list(replies or (NEXT,))), Notebook()
    loop = VoiceLoop(script, listener, screen, habits)
    loop.begin([OPENING])
    return loop, script, screen


def spoken(script: Script) -> list[str]:
    """Return what the conversation was told, without marks and with its figures in words."""
    return [text.lower().strip(".!").replace("3 times", "three times") for text, _, _ in script.told]


def talk(*clips: Clip, pause: float = 1.0) -> BytesSource:
    """Return clips as one source with pauses between them."""
    parts = [speech.pad(clip, before=0.3, after=pause, seed=number) for number, clip in enumerate(clips)]
    return source_of(np.concatenate(parts))


def test_an_answer_is_a_turn(listener: Listener, say: Say) -> None:
    """What was said goes to the conversation, and the next question is what the ears listen for."""
    loop, script, screen = begin(listener, NEXT, BYE)
    with talk(say("three times a week", "rms"), say("just for fun", "slt")) as source:
        loop.run(source)
    loop.close()
    assert spoken(script) == ["three times a week", "just for fun"]
    assert {channel for _, channel, _ in script.told} == {"voice"}
    assert loop.ended
    assert screen.levels
    assert len(loop.timings) == 2


def test_what_is_doubtful_is_told(listener: Listener, say: Say) -> None:
    """A tension goes to the conversation with the word that it is to be read back."""
    loop, script, _ = begin(listener)
    with talk(say("fifty four pounds", "rms")) as source:
        loop.run(source)
    loop.close()
    assert "mains_tension" in script.told[0][2]


def test_asks_once_more_then_offers_typing(listener: Listener, say: Say) -> None:
    """Talk that means nothing is asked for once more, then typing is offered; no turn is taken."""
    loop, script, screen = begin(listener)
    rain = say("the bus was late because of the rain", "rms")
    with talk(rain, rain) as source:
        loop.run(source)
    loop.close()
    assert script.told == []
    assert screen.notes == [phrase("ask_again"), phrase("offer_typing")]


@pytest.mark.parametrize("kind", ["silence", "pink"])
def test_says_what_it_heard_instead_of_words(kind: str, listener: Listener) -> None:
    """Silence and noise are told apart, and neither takes a turn."""
    sound = speech.pad(np.zeros(0, np.int16), before=1, after=1)
    if kind != "silence":
        sound = speech.to_sound(speech.noise(kind)[: 2 * RATE] * 1500)
    loop, script, screen = begin(listener)
    with source_of(sound) as source:
        loop.run(source)
    loop.close()
    assert script.told == []
    assert screen.notes == [phrase("silence" if kind == "silence" else "noise")]


def test_a_device_that_goes_ends_with_a_sentence(listener: Listener, say: Say) -> None:
    """A microphone that is pulled out after the first answer ends the listening; the first answer was taken."""
    source = BytesSource(patience=0.3)
    source.put(speech.pad(say("three times a week", "rms"), before=0.3, after=1.0).astype("<i2").tobytes())
    loop, script, _ = begin(listener)
    with pytest.raises(VoiceProblem, match="is kept"), source:
        loop.run(source)
    loop.close()
    assert len(script.told) == 1


def test_typing_is_always_possible(listener: Listener) -> None:
    """A typed line is a turn like another, and the end of typing ends the listening."""
    loop, script, _ = begin(listener)
    loop.type("twice a week")
    loop.type(None)
    with source_of(speech.pad(np.zeros(0, np.int16), before=1, after=1)) as source:
        loop.run(source)
    loop.close()
    assert script.told == [("twice a week", "typed", ())]


def test_the_key_opens_the_microphone(listener: Listener, say: Say) -> None:
    """With push-to-talk only what is said after the key counts."""
    loop, script, screen = begin(listener, habits=replace(HABITS, push_to_talk=True))
    with talk(say("twice a week", "rms")) as source:
        loop.run(source)
    assert script.told == []
    loop.type("")
    with talk(say("three times a week", "rms"), say("for fun", "slt")) as source:
        loop.run(source)
    loop.close()
    assert spoken(script) == ["three times a week"]
    assert phrase("go_ahead") in screen.notes


def test_recordings_are_kept_only_when_asked(listener: Listener, say: Say, tmp_path: Path) -> None:
    """What is said is kept in the folder that was named, and that is announced; otherwise nothing is kept."""
    loop, _, screen = begin(listener, habits=replace(HABITS, keep=tmp_path / "kept"))
    with talk(say("twice a week", "rms")) as source:
        loop.run(source)
    loop.close()
    assert [path.name for path in (tmp_path / "kept").iterdir()] == ["heard-001.wav"]
    assert "kept" in screen.notes[0]
    begin(listener)[0].close()
    assert [path.name for path in tmp_path.iterdir()] == ["kept"]


def test_speaks_and_can_be_told_how(listener: Listener, say: Say) -> None:
    """The word "slower" changes how it speaks and takes no turn; the answer begins after the end of speech."""
    loop, script, screen = begin(listener)
    loop.mouth = Mouth(Speaker(), HeldPlayer(ends=True))
    pace = loop.mouth.manner.words_a_minute
    with talk(say("slow down please", "slt"), say("three times a week", "rms")) as source:
        loop.run(source)
    assert loop.mouth.manner.words_a_minute < pace
    assert phrase("slower") in screen.notes
    assert spoken(script) == ["three times a week"]
    assert loop.timings[-1].first_sound is not None
    loop.close()


def test_the_key_stops_the_talking(listener: Listener) -> None:
    """Enter, or a pedal that sends it, makes the assistant fall silent in the middle of a sentence."""
    loop, _, screen = begin(listener)
    player = HeldPlayer()
    loop.mouth = Mouth(Speaker(), player)
    loop.mouth.say("This is a long sentence that nobody wants to hear to its end, for it goes on and on. " * 4)
    assert player.has_begun(1)
    loop.type("")
    with source_of(speech.pad(np.zeros(0, np.int16), before=0.2, after=0.2)) as source:
        loop.run(source)
    player.let_go()
    assert loop.mouth.wait(timeout=PATIENCE)
    remarks = split_sentences(" ".join(screen.notes))
    assert screen.notes == [phrase("silence")], "what it says of the silence comes after"
    assert player.cut == player.begun[:1]
    assert len(player.played) == len(remarks), "the other sentences are forgotten"
    loop.close()


def test_is_deaf_while_it_speaks(listener: Listener, say: Say) -> None:
    """Without a headset the microphone is muted while the assistant speaks, or it would answer itself."""
    loop, script, _ = begin(listener, habits=Habits(TODAY))
    player = HeldPlayer()
    loop.mouth = Mouth(Speaker(), player)
    loop.mouth.say("Do you play matches that count, league or tournaments, or just for fun, and how many times a week?")
    with talk(say("three times a week", "rms")) as source:
        loop.run(source)
    assert script.told == []
    player.let_go()
    assert loop.mouth.wait(timeout=PATIENCE)
    assert player.cut == [], "it was not stopped by what it did not hear"
    with talk(say("three times a week", "rms")) as source:
        loop.run(source)
    assert spoken(script) == ["three times a week"]
    loop.close()


def test_speech_stops_the_talking_with_a_headset(listener: Listener, say: Say) -> None:
    """With --barge-in somebody who speaks is heard, and the assistant falls silent."""
    loop, script, _ = begin(listener, habits=Habits(TODAY, barge_in=True))
    player = HeldPlayer()
    loop.mouth = Mouth(Speaker(), player)
    loop.mouth.say("One. " * 60)
    assert player.has_begun(1)
    source = BytesSource()
    threading.Thread(target=_send_slowly, args=(source, say("three times a week", "rms"))).start()
    with source:
        loop.run(source)
    assert spoken(script) == ["three times a week"]
    assert player.cut[:1] == player.begun[:1], "cut in the middle of the first sentence"
    assert player.played == []
    loop.close()


def _send_slowly(source: BytesSource, clip: Clip) -> None:
    raw = speech.pad(clip, before=0.3, after=1.0).astype("<i2").tobytes()
    for at in range(0, len(raw), 3200):
        source.put(raw[at : at + 3200])
        time.sleep(0.01)
    source.close()
