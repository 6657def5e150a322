"""Speech is found and its end is told soon, in quiet and in a shop's noise; what is no speech opens nothing."""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
import pytest

from assistant.channels.voice.audio import CHUNK, CHUNK_SECONDS, RATE, BytesSource, read_chunks
from assistant.channels.voice.detect import Detector, Moment, Survey, find_utterances
from assistant.channels.voice.figures import read_figures
from tests.assistant.voice import speech
from tests.assistant.voice.conftest import Say
from tests.assistant.voice.speech import Sound

SCENES = {"clean": None, "pink": 10.0, "hum": 10.0, "hits": 10.0}


def source_of(sound: Sound) -> BytesSource:
    """Return a clip as a source."""
    source = BytesSource()
    source.put(sound.astype("<i2").tobytes())
    source.close()
    return source


def moments(sound: Sound) -> Iterator[tuple[float, Moment]]:
    """Yield the moments of a clip with their time in seconds, up to the end of the first utterance."""
    detector = Detector()
    for number, chunk in enumerate(read_chunks(source_of(sound))):
        moment = detector.feed(chunk)
        yield (number + 1) * CHUNK_SECONDS, moment
        if moment is Moment.ENDED:
            return


@pytest.mark.parametrize("kind", SCENES)
@pytest.mark.parametrize("text", ["I play three times a week", "yes"])
def test_tells_the_end_of_speech(kind: str, text: str, say: Say) -> None:
    """The end of an answer, and of a lone yes, is told within 0.9 s in quiet, pink noise, motor hum and ball hits."""
    spoken = say(text, "rms")
    sound = speech.pad(spoken, before=1.0, after=2.0)
    decibels = SCENES[kind]
    if decibels is not None:
        sound = speech.mix(sound, kind, decibels)
    loud = np.flatnonzero(np.abs(speech.pad(spoken, before=1.0, after=2.0)) > 400)
    ended = [at for at, moment in moments(sound) if moment is Moment.ENDED]
    assert ended, "never ended"
    assert loud[-1] / RATE < ended[0] < loud[-1] / RATE + 0.9


@pytest.mark.parametrize("kind", ["silence", *speech.NOISES])
def test_opens_for_no_noise(kind: str) -> None:
    """Ten seconds of silence, pink noise, hum or ball hits hold no utterance."""
    sound = speech.pad(np.zeros(0, np.int16), before=5, after=5)
    if kind != "silence":
        sound = speech.to_sound(speech.noise(kind)[: 10 * RATE] * 1500)
    assert list(find_utterances(source_of(sound))) == []


def test_keeps_the_beginning(say: Say) -> None:
    """The first sound of an utterance is in it, though the detector needs a moment to be sure."""
    sound = speech.pad(say("polyester", "awb"), before=1.0, after=1.5)
    found = next(find_utterances(source_of(sound)))
    loud = np.flatnonzero(np.abs(sound) > 300)
    assert len(found.audio.frame_data) / 2 > loud[-1] - loud[0]


def test_cuts_what_goes_on_for_ever(say: Say) -> None:
    """Somebody who talks without a pause is heard in pieces of the longest length."""
    long = np.concatenate([say("I play three times a week and twice on sundays", "slt")[4000:-7000]] * 8)
    found = list(find_utterances(source_of(long)))
    assert found[0].cut
    assert len(found[0].audio.frame_data) / 2 / RATE <= read_figures().listening.longest_seconds + 0.1


def test_reads_no_more_than_it_is_asked_to() -> None:
    """Of an hour of sound only the first minute is read, piece by piece."""

    class Endless(BytesSource):
        given = 0

        def read(self, count: int) -> bytes:
            self.given += count
            return b"\1\0" * count

    source = Endless()
    survey = Survey()
    assert list(find_utterances(source, survey, longest=60.0)) == []
    assert source.given / RATE == pytest.approx(60, abs=1)
    assert survey.seconds == pytest.approx(60, abs=1)


def test_notes_an_overdriven_recording() -> None:
    """Samples at the limit are counted."""
    survey = Survey()
    survey.add((np.ones(CHUNK, "<i2") * 32767).tobytes())
    survey.add(io.BytesIO(b"\0" * 2 * CHUNK).read())
    assert survey.clipped_share == pytest.approx(0.5)
