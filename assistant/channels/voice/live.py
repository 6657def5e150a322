"""Packets of sound from a browser to what was said, as they come: one a connection; holds no conversation."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from assistant.channels.voice.audio import CHUNK, RATE, WIDTH, Resampler
from assistant.channels.voice.detect import Detector, Moment
from assistant.channels.voice.hear import Hearing, Listener, Question

LARGEST_PACKET = 64_000
"""Bytes; a browser sends a tenth of a second at a time, so a larger packet is no microphone's."""


@dataclass(frozen=True)
class Live:
    """Something that happened in the stream."""

    kind: Literal["started", "heard"]
    hearing: Hearing | None = None
    """What was said, where an utterance has ended."""


class LiveEar:
    """Hears one browser; `feed` blocks while the ears work, so a server calls it from a thread."""

    def __init__(self, listener: Listener, rate: int = RATE) -> None:
        self._listener = listener
        self._resampler = Resampler(rate)
        self._detector = Detector()
        self._rest = b""

    def feed(self, packet: bytes, question: Question) -> Iterator[Live]:
        """Take a packet of 16-bit mono and yield what happened in it; a packet too large is left out."""
        if len(packet) > LARGEST_PACKET:
            return
        self._rest += self._resampler.feed(packet[: len(packet) // WIDTH * WIDTH])
        while len(self._rest) >= CHUNK * WIDTH:
            chunk, self._rest = self._rest[: CHUNK * WIDTH], self._rest[CHUNK * WIDTH :]
            moment = self._detector.feed(chunk)
            if moment is Moment.STARTED:
                yield Live("started")
            elif moment is Moment.ENDED:
                yield self._heard(question)

    def finish(self, question: Question) -> Iterator[Live]:
        """Yield what was being said when the button was let go."""
        if self._detector.speaking:
            yield self._heard(question)

    def forget(self) -> None:
        """Drop what came while the assistant itself was speaking."""
        self._detector.reset()
        self._rest = b""

    def _heard(self, question: Question) -> Live:
        hearing = self._listener.hear(self._detector.utterance(), question)
        self._detector.reset()
        return Live("heard", hearing)
