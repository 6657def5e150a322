"""A loudspeaker for tests that counts: no sound ends by the clock, only when it is let go or told to stop."""

from __future__ import annotations

import threading
from collections.abc import Callable

from assistant.channels.voice.speak import Sound

PATIENCE = 120
"""Seconds after which a test that hangs is given up; nothing is measured by it."""
BETWEEN_LOOKS = 0.002


class HeldPlayer:
    """Goes on with a sound until it is let go or told to stop, and notes in order what was begun, played and cut."""

    def __init__(self, *, ends: bool = False) -> None:
        """Hold every sound; or, where it `ends` them, play each to its end at once."""
        self.begun: list[Sound] = []
        self.played: list[Sound] = []
        self.cut: list[Sound] = []
        self.late = 0
        """How often it was still to go on after it had been told to stop."""
        self._ends = ends
        self._silence_ordered = threading.Event()
        self._changed = threading.Condition()

    def play(self, sound: Sound, stopped: Callable[[], bool]) -> None:
        """Begin a sound, and go on with it until it is let go or told to stop."""
        with self._changed:
            self.begun.append(sound)
            self._changed.notify_all()
        while True:
            # Both are looked at before the question: whatever was ordered before them is done by then.
            ordered, ends = self._silence_ordered.is_set(), self._ends
            if stopped():
                self.cut.append(sound)
                return
            self.late += ordered
            if ends:
                self.played.append(sound)
                return
            with self._changed:
                self._changed.wait_for(lambda: self._ends, BETWEEN_LOOKS)

    def close(self) -> None:
        """Nothing stays open."""

    def order_silence(self, stop: Callable[[], None]) -> None:
        """Tell it to stop; from then on it counts where it is still to go on."""
        stop()
        self._silence_ordered.set()

    def let_go(self) -> None:
        """Play everything to its end from now on."""
        with self._changed:
            self._ends = True
            self._changed.notify_all()

    def has_begun(self, sounds: int) -> bool:
        """Wait until so many sounds were begun; tell whether they were."""
        with self._changed:
            return self._changed.wait_for(lambda: len(self.begun) >= sounds, PATIENCE)
