"""The mouth: one thread makes sentences into sound, another plays them one after the other; knows no conversation."""

from __future__ import annotations

import ctypes
import os
import queue
import sys
import tempfile
import threading
import time
import wave
from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Future
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol

import numpy as np

from assistant.channels.voice.errors import VoiceProblem
from assistant.channels.voice.figures import Speaking, read_figures
from assistant.channels.voice.speakable import speakable, split_sentences

PATIENCE = 10.0
"""Seconds that making a sentence, or letting a thread go, may take at most."""
ATTEMPTS = 3
SHORTEST_PATIENCE, PATIENCE_A_LETTER = 0.4, 0.004
"""Seconds after which the synthesiser is taken to have lost a sentence, which happens on a busy machine."""
BLOCK_SECONDS = 0.05
"""How much is played before the mouth looks whether it was told to stop."""
TONE_RATE = 22_050


@dataclass(frozen=True)
class Manner:
    """How something is said."""

    words_a_minute: int
    volume: float

    @classmethod
    def usual(cls, figures: Speaking | None = None) -> Manner:
        """Return how the assistant speaks until somebody asks otherwise."""
        figures = figures or read_figures().speaking
        return cls(figures.words_a_minute, figures.volume)

    def changed(self, control: str) -> Manner:
        """Return the manner after "slower", "faster", "louder" or "quieter"."""
        figures = read_figures().speaking
        sign = 1 if control in {"faster", "louder"} else -1
        if control in {"slower", "faster"}:
            pace = min(figures.fastest, max(figures.slowest, self.words_a_minute + sign * figures.step))
            return replace(self, words_a_minute=pace)
        return replace(self, volume=min(1.0, max(0.1, self.volume + sign * figures.volume_step)))


@dataclass(frozen=True)
class Sound:
    """A sentence made into sound."""

    samples: bytes
    """16-bit mono."""
    rate: int

    @property
    def seconds(self) -> float:
        """How long it lasts."""
        return len(self.samples) / 2 / self.rate


class Speaker:
    """The only owner of the synthesiser; sentences are made in the order they were given.

    The library's own playing is not used: it is silent without a device, returns before it has finished, and
    crashes when the process ends meanwhile.
    """

    def __init__(self) -> None:
        self._wanted: queue.Queue[tuple[str, Manner, Future[Sound]] | None] = queue.Queue()
        self._ready: Future[None] = Future()
        self._thread = threading.Thread(target=self._run, name="speaker", daemon=True)
        self._thread.start()
        self._ready.result(timeout=PATIENCE)

    def make(self, sentence: str, manner: Manner) -> Future[Sound]:
        """Return the sound of a sentence, which comes when it is made."""
        future: Future[Sound] = Future()
        self._wanted.put((sentence, manner, future))
        return future

    def close(self) -> None:
        """Finish what is being made and let the thread go: leaving in the middle would crash the process."""
        self._wanted.put(None)
        self._thread.join(timeout=PATIENCE)

    def _run(self) -> None:
        try:
            engine = _start_engine()
        except VoiceProblem as problem:
            self._ready.set_exception(problem)
            return
        self._ready.set_result(None)
        with tempfile.TemporaryDirectory(prefix="counterpull-") as folder:
            while (wanted := self._wanted.get()) is not None:
                sentence, manner, future = wanted
                if not future.set_running_or_notify_cancel():
                    continue
                try:
                    future.set_result(_synthesize(engine, sentence, manner, Path(folder) / "sentence.wav"))
                except (RuntimeError, OSError, ValueError, EOFError, wave.Error) as error:
                    future.set_exception(error)


def _start_engine() -> Any:
    _find_library()
    try:
        import pyttsx3
    except ImportError as error:
        raise VoiceProblem("no_library") from error
    try:
        engine = pyttsx3.init()
    except (RuntimeError, OSError, ImportError, KeyError, AttributeError, ReferenceError) as error:
        raise VoiceProblem("no_speech") from error
    _silence_driver()
    return engine


def _find_library() -> None:
    """Load the synthesiser that a package brings along where the system has none."""
    for name in ("libespeak-ng.so.1", "libespeak.so.1"):
        with suppress(OSError):
            ctypes.CDLL(name)
            return
    try:
        import espeakng_loader
    except ImportError:
        return
    with suppress(OSError, RuntimeError):
        ctypes.CDLL(espeakng_loader.get_library_path(), mode=ctypes.RTLD_GLOBAL)
        os.environ.setdefault("ESPEAK_DATA_PATH", espeakng_loader.get_data_path())


def _silence_driver() -> None:
    """Keep the driver from printing where each file went: standard output belongs to the answers."""
    driver = sys.modules.get("pyttsx3.drivers.espeak")
    if driver is not None:
        driver.print = lambda *_: None  # type: ignore[attr-defined]


def _synthesize(engine: Any, sentence: str, manner: Manner, path: Path) -> Sound:
    for attempt in range(ATTEMPTS):
        path.unlink(missing_ok=True)
        if _write(engine, sentence, manner, path):
            with wave.open(str(path)) as file:
                return Sound(file.readframes(file.getnframes()), file.getframerate())
        if attempt == 0:
            engine.stop()
    raise RuntimeError("the synthesiser wrote nothing")


def _write(engine: Any, sentence: str, manner: Manner, path: Path) -> bool:
    """Write a sentence to a file and tell whether it came."""
    finished = threading.Event()
    listening = engine.connect("finished-utterance", lambda **_: finished.set())
    try:
        engine.setProperty("rate", manner.words_a_minute)
        engine.setProperty("volume", manner.volume)
        # Both are told to the library's thread, which may still be on its way there when the sentence comes.
        _settle()
        engine.save_to_file(sentence, str(path))
        engine.runAndWait()
        # It returns before the sentence is written.
        end = time.monotonic() + SHORTEST_PATIENCE + len(sentence) * PATIENCE_A_LETTER
        while not (finished.is_set() and path.exists() and path.stat().st_size > 44):  # noqa: PLR2004 - a bare header
            if time.monotonic() > end:
                return False
            time.sleep(0.002)
    finally:
        engine.disconnect(listening)
        _settle()
    return True


def _settle() -> None:
    """Wait until the library's own thread has done with a sentence.

    It says "finished" first and closes its loop after; a sentence begun in between is lost.
    """
    library = sys.modules.get("pyttsx3.drivers._espeak")
    if library is not None:
        library.Synchronize()


class Player(Protocol):
    """Where sound goes."""

    def play(self, sound: Sound, stopped: Callable[[], bool]) -> None:
        """Play a sound to its end, or until it is told to stop."""

    def close(self) -> None:
        """Let the device go."""


class Loudspeaker:
    """A loudspeaker of this machine."""

    def __init__(self) -> None:
        try:
            import sounddevice

            sounddevice.check_output_settings(channels=1, dtype="int16")
        except (ImportError, OSError, ValueError) as error:
            raise VoiceProblem("no_loudspeaker") from error
        except sounddevice.PortAudioError as error:
            raise VoiceProblem("no_loudspeaker") from error
        self._library = sounddevice

    def play(self, sound: Sound, stopped: Callable[[], bool]) -> None:
        """Play a sound to its end, or until it is told to stop."""
        size = 2 * round(sound.rate * BLOCK_SECONDS)
        try:
            with self._library.RawOutputStream(samplerate=sound.rate, channels=1, dtype="int16") as stream:
                for at in range(0, len(sound.samples), size):
                    if stopped():
                        return
                    stream.write(sound.samples[at : at + size])
        except self._library.PortAudioError:
            # A loudspeaker that was pulled out must not end the talk: the answer stands on the screen.
            return

    def close(self) -> None:
        """Nothing stays open between two sounds."""


class FolderPlayer:
    """Writes what is said as WAV files, for tests, for tuning and for machines without a loudspeaker."""

    def __init__(self, folder: Path) -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self._folder = folder
        self._count = 0

    def play(self, sound: Sound, stopped: Callable[[], bool]) -> None:
        """Write a sound to the next file."""
        if stopped():
            return
        self._count += 1
        with wave.open(str(self._folder / f"said-{self._count:03}.wav"), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(2)
            file.setframerate(sound.rate)
            file.writeframes(sound.samples)

    def close(self) -> None:
        """Every file is whole already."""


class Mouth:
    """Says texts sentence by sentence without making anybody wait for it."""

    def __init__(self, speaker: Speaker, player: Player) -> None:
        self._speaker = speaker
        self._player = player
        self.on_sound: Callable[[], None] = lambda: None
        """Called when the first sound of a text begins."""
        self.manner = Manner.usual()
        self._queue: queue.Queue[tuple[int, Future[Sound] | Sound, bool] | None] = queue.Queue()
        self._turn = 0
        self._pending = 0
        self._changed = threading.Condition()
        self._thread = threading.Thread(target=self._play_all, name="mouth", daemon=True)
        self._thread.start()

    @property
    def speaking(self) -> bool:
        """Tell whether anything is being said or waits to be."""
        return self._pending > 0

    def say(self, text: str, *, reading_back: bool = False) -> None:
        """Begin to say a text; returns at once."""
        said = (speakable(sentence, reading_back=reading_back) for sentence in split_sentences(text))
        for number, sentence in enumerate(sentence for sentence in said if sentence):
            self._put(self._speaker.make(sentence, self.manner), first=number == 0)

    def tone(self) -> None:
        """Sound the short tone that says: heard you."""
        self._put(_tone(self.manner.volume), first=False)

    def stop(self) -> None:
        """Fall silent now and forget what was still to be said."""
        with self._changed:
            self._turn += 1

    def wait(self, timeout: float | None = None) -> bool:
        """Wait until all is said; tell whether it is."""
        with self._changed:
            return self._changed.wait_for(lambda: self._pending == 0, timeout)

    def close(self) -> None:
        """Fall silent and let the threads go."""
        self.stop()
        self._queue.put(None)
        self._thread.join(timeout=PATIENCE)
        self._speaker.close()
        self._player.close()

    def _put(self, sound: Future[Sound] | Sound, *, first: bool) -> None:
        with self._changed:
            self._pending += 1
        self._queue.put((self._turn, sound, first))

    def _play_all(self) -> None:
        for turn, sound, first in iter(self._queue.get, None):
            self._play(turn, sound, first=first)
            with self._changed:
                self._pending -= 1
                self._changed.notify_all()

    def _play(self, turn: int, sound: Future[Sound] | Sound, *, first: bool) -> None:
        if turn != self._turn:
            if isinstance(sound, Future):
                sound.cancel()
            return
        # A sentence that could not be made stands on the screen; the next one may well be.
        with suppress(RuntimeError, OSError, TimeoutError, CancelledError):
            made = sound.result(timeout=PATIENCE) if isinstance(sound, Future) else sound
            if first:
                self.on_sound()
            self._player.play(made, lambda: turn != self._turn)


def _tone(volume: float) -> Sound:
    time_axis = np.arange(int(0.09 * TONE_RATE)) / TONE_RATE
    shape = np.sin(np.pi * time_axis / time_axis[-1])
    samples = np.sin(2 * np.pi * 880 * time_axis) * shape * volume * 9000
    return Sound(samples.astype("<i2").tobytes(), TONE_RATE)


def make_all(speaker: Speaker, text: str, manner: Manner | None = None) -> Iterator[Sound]:
    """Yield the sound of a text sentence by sentence, for a browser."""
    manner = manner or Manner.usual()
    made = [speaker.make(said, manner) for one in split_sentences(text) if (said := speakable(one))]
    for future in made:
        yield future.result(timeout=PATIENCE)


def to_wav(sounds: Iterator[Sound]) -> bytes:
    """Return sounds as one WAV file; empty where there is nothing to say."""
    import io

    parts = list(sounds)
    if not parts:
        return b""
    target = io.BytesIO()
    with wave.open(target, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(parts[0].rate)
        for part in parts:
            file.writeframes(part.samples)
    return target.getvalue()
