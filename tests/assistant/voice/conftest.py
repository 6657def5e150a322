"""Clips of synthetic speech and the ears, made once a run."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from speech_recognition import AudioData

from assistant.channels.voice.audio import RATE, WIDTH
from assistant.channels.voice.ears import Ears, load_ears
from assistant.channels.voice.hear import Listener
from dialogue.lesson_words import with_lessons
from dialogue.understanding import understand
from tests.assistant.voice import speech
from tests.assistant.voice.speech import Sound

TODAY = dt.date(2026, 11, 24)
Say = Callable[..., Sound]


@pytest.fixture(scope="session")
def clips(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder of this run's clips."""
    return tmp_path_factory.mktemp("clips")


@pytest.fixture(scope="session")
def say(clips: Path) -> Say:
    """Return a function that speaks a phrase by a voice."""

    def spoken(text: str, voice: str = "slt") -> Sound:
        return speech.say(text, voice, clips)

    return spoken


@pytest.fixture(scope="session")
def ears() -> Ears:
    """Return both ears, loaded once."""
    return load_ears()


@pytest.fixture(scope="session")
def listener(ears: Ears) -> Iterator[Listener]:
    """Return the ears with the understanding."""
    listener = Listener(ears, with_lessons(understand))
    yield listener
    listener.close()


def to_audio(sound: Sound) -> AudioData:
    """Return a clip as the recognisers take it."""
    return AudioData(sound.astype("<i2").tobytes(), RATE, WIDTH)
