"""The spoken conversation: listens, takes turns, answers aloud; knows neither rules nor storage, only `turn`."""

from __future__ import annotations

import datetime as dt
import queue
import threading
import time
import wave
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from speech_recognition import AudioData, AudioSource

from assistant.channels.voice.agreement import Verdict
from assistant.channels.voice.audio import RATE, WIDTH, read_chunks
from assistant.channels.voice.detect import Detector, Moment, Survey, level
from assistant.channels.voice.errors import phrase
from assistant.channels.voice.figures import read_figures
from assistant.channels.voice.hear import Hearing, Listener, Question
from assistant.channels.voice.screen import Screen
from assistant.channels.voice.speak import Mouth
from dialogue.messages import Reply

CONFIRM = "confirm"
HUSH = "hush"
LEVEL_EVERY = 8
"""Chunks between two looks at the level."""
MOST_FAILURES = 2
"""Turns not understood in a row after which typing is offered."""


class Turn(Protocol):
    """Takes what somebody said or typed and returns the answers."""

    def __call__(self, text: str, *, channel: str = "voice", doubted: tuple[str, ...] = ()) -> Sequence[Reply]:
        """Return the answers; doubted values are read back before they are kept."""


class Wake(Protocol):
    """Waits for a phrase."""

    phrase: str

    def feed(self, chunk: bytes) -> bool:
        """Take the next 32 ms and tell whether the phrase was just said."""


@dataclass(frozen=True)
class Habits:
    """How this conversation is held."""

    today: dt.date
    push_to_talk: bool = False
    """Speech counts only after the key."""
    wake: Wake | None = None
    """Speech counts only after its phrase."""
    barge_in: bool = False
    """Speech stops the talking: for a headset, for a loudspeaker would stop itself."""
    recording: bool = False
    """It hears recordings: they wait for the answer instead of being talked over by it."""
    keep: Path | None = None
    """Where recordings of what was said are kept; None keeps none."""
    people: Callable[[], Sequence[str]] = tuple
    """Gives the customers on record, whose names may be said."""


@dataclass
class Timing:
    """How long one answer took, in seconds."""

    ended_at: float
    """When the last speech ended, on the clock of `time.perf_counter`."""
    closed: float | None = None
    """From the end of speech until the silence was long enough."""
    heard: float | None = None
    """From the end of speech until the ears were done."""
    answered: float | None = None
    """From the end of speech until the answer was known."""
    first_sound: float | None = None
    """From the end of speech to the first sound of the answer."""

    def now(self) -> float:
        """Return the seconds since the end of speech."""
        return time.perf_counter() - self.ended_at


@dataclass
class _State:
    asked: str | None = None
    choices: tuple[str, ...] = ()
    failures: int = 0
    ended: bool = False
    kept: int = 0
    timings: list[Timing] = field(default_factory=list)


@dataclass
class _Ear:
    """Where one source of sound stands."""

    detector: Detector
    listening: bool
    """Whether speech counts just now."""
    survey: Survey = field(default_factory=Survey)
    early: Future[Hearing] | None = None
    """Hearing that was begun before the silence was long enough."""

    def forget(self, *, listening: bool) -> None:
        """Wait for the next utterance."""
        self.detector.reset()
        self.survey, self.early, self.listening = Survey(), None, listening


class VoiceLoop:
    """One spoken conversation."""

    def __init__(self, turn: Turn, listener: Listener, screen: Screen, habits: Habits) -> None:
        self._turn = turn
        self._listener = listener
        self._screen = screen
        self._habits = habits
        self._figures = read_figures()
        self._controls = {said: name for name, words in self._figures.controls.items() for said in words}
        self._state = _State()
        self._ears = ThreadPoolExecutor(max_workers=1, thread_name_prefix="hearing")
        self._typed: queue.Queue[str | None] = queue.Queue()
        self._key = threading.Event()
        self.mouth: Mouth | None = None

    @property
    def ended(self) -> bool:
        """Tell whether the conversation is over."""
        return self._state.ended

    @property
    def _open(self) -> bool:
        """Tell whether speech counts without being asked for."""
        return not self._habits.push_to_talk and self._habits.wake is None

    @property
    def wake_phrase(self) -> str | None:
        """The words that must be said first, if any."""
        return self._habits.wake.phrase if self._habits.wake is not None else None

    @property
    def timings(self) -> Sequence[Timing]:
        """How long each spoken answer took so far."""
        return self._state.timings

    def type(self, line: str | None) -> None:
        """Take a typed line from any thread: an empty one is the key to talk or to hush, None is the end."""
        if line == "":
            self._key.set()
        else:
            self._typed.put(line)

    def begin(self, replies: Sequence[Reply]) -> None:
        """Say the opening."""
        if self._habits.keep is not None:
            self._habits.keep.mkdir(parents=True, exist_ok=True)
            self._announce("keeping", folder=self._habits.keep)
        self._answer(None, replies)

    def run(self, source: AudioSource) -> None:
        """Listen to an opened source until it ends or the conversation does.

        Raises:
            VoiceProblem: when the source fails; what was said so far is kept.
        """
        ear = _Ear(Detector(), listening=self._open)
        for number, chunk in enumerate(read_chunks(source)):
            if self._take_typed() or self._state.ended:
                return
            if number % LEVEL_EVERY == 0:
                self._screen.show_level(level(chunk))
            self._take_key(ear)
            if self._muted(ear.detector):
                continue
            if ear.listening:
                self._listen(ear, chunk)
            else:
                ear.listening = self._woken(chunk)
        if ear.detector.speaking:
            self._finish(ear)
        elif not self._state.timings and ear.survey.seconds:
            self._nothing_heard(ear.survey)

    # Listening.

    def _listen(self, ear: _Ear, chunk: bytes) -> None:
        """Take 32 ms of sound that count; answer when an utterance has ended."""
        ear.survey.add(chunk)
        moment = ear.detector.feed(chunk)
        if moment is Moment.STARTED and self._habits.barge_in and self.mouth is not None:
            self.mouth.stop()
        if moment is Moment.PAUSED:
            ear.early = self._ears.submit(self._listener.hear, ear.detector.utterance(), self._question())
        elif moment is Moment.SPEAKING:
            ear.early = None
        if moment is Moment.ENDED or (moment is Moment.WAITING and self._enough(ear)):
            self._finish(ear)
            ear.forget(listening=self._open)

    def _muted(self, detector: Detector) -> bool:
        """Tell whether the microphone is muted, because the assistant speaks itself."""
        if self.mouth is None or not self.mouth.speaking or self._habits.barge_in or self._habits.recording:
            return False
        if not detector.speaking:
            detector.reset()
        return True

    def _woken(self, chunk: bytes) -> bool:
        """Tell whether the wake phrase was just said."""
        if self._habits.wake is None or not self._habits.wake.feed(chunk):
            return False
        self._screen.note(phrase("go_ahead"))
        return True

    def _take_key(self, ear: _Ear) -> None:
        """Take the key: it stops the talking, or opens the microphone."""
        if not self._key.is_set():
            return
        self._key.clear()
        if self.mouth is not None and self.mouth.speaking:
            self.mouth.stop()
        if self._habits.push_to_talk and not ear.listening:
            ear.forget(listening=True)
            self._screen.note(phrase("go_ahead"))

    def _take_typed(self) -> bool:
        """Answer typed lines; tell whether the input has ended."""
        with suppress(queue.Empty):
            while (line := self._typed.get_nowait()) is not None:
                if self.mouth is not None:
                    self.mouth.stop()
                self._answer(None, self._turn(line, channel="typed"))
            return True
        return False

    def _question(self) -> Question:
        return Question(self._state.asked, self._habits.today, self._habits.people(), self._state.choices)

    def _enough(self, ear: _Ear) -> bool:
        """Tell whether a shorter silence will do, because both ears understood the same whole answer."""
        if ear.early is None or ear.detector.silence < self._figures.listening.enough_seconds or not ear.early.done():
            return False
        heard = ear.early.result()
        return heard.complete and bool(heard.meaning and self._state.asked in heard.meaning.slots)

    def _finish(self, ear: _Ear) -> None:
        timing = Timing(time.perf_counter() - ear.detector.silence)
        audio = ear.detector.utterance()
        if ear.detector.cut:
            self._screen.note(phrase("too_long", seconds=round(self._figures.listening.longest_seconds)))
        self._keep(audio)
        if self.mouth is not None and (ear.early is None or not ear.early.done()):
            self.mouth.tone()
        timing.closed = timing.now()
        hearing = ear.early or self._ears.submit(self._listener.hear, audio, self._question())
        self._state.timings.append(timing)
        heard = hearing.result()
        timing.heard = timing.now()
        self.take(heard, timing)
        if self._habits.recording and self.mouth is not None:
            self.mouth.wait()

    def _nothing_heard(self, survey: Survey) -> None:
        key = "silence" if survey.loudest < self._figures.listening.quiet_level else "noise"
        self._announce(key)

    # Answering.

    def take(self, heard: Hearing, timing: Timing | None = None) -> None:
        """Take one stretch of speech as a turn."""
        control = self._controls.get(heard.text.lower().strip(" .!?,"))
        if control is not None:
            self._control(control)
        elif heard.agreed.verdict is Verdict.NOTHING:
            self._not_understood(heard)
        elif heard.agreed.verdict is Verdict.YES_OR_NO:
            self._screen.show(heard, ())
            self._announce("yes_or_no")
        else:
            self._state.failures = 0
            replies = self._turn(heard.text, doubted=heard.agreed.doubted)
            if timing is not None:
                timing.answered = timing.now()
            self._answer(heard, replies, timing)

    def _control(self, control: str) -> None:
        if self.mouth is None:
            return
        if control == HUSH:
            self.mouth.stop()
            return
        self.mouth.manner = self.mouth.manner.changed(control)
        self._announce(control)

    def _not_understood(self, heard: Hearing) -> None:
        """Ask once more; then offer to type or tap."""
        self._state.failures += 1
        self._screen.show(heard, ())
        self._announce("ask_again" if self._state.failures < MOST_FAILURES else "offer_typing")

    def _answer(self, heard: Hearing | None, replies: Sequence[Reply], timing: Timing | None = None) -> None:
        if replies:
            self._state.asked = replies[-1].asked
            self._state.choices = tuple(choice.text for choice in replies[-1].choices)
            self._state.ended = any(reply.ended for reply in replies)
            self._listener.prepare(self._question())
        if self.mouth is not None:
            if timing is not None:
                self.mouth.on_sound = lambda: _stop_clock(timing)
            for reply in replies:
                self.mouth.say(reply.speech or " ".join(reply.text), reading_back=reply.asked == CONFIRM)
        self._screen.show(heard, replies)

    def _announce(self, key: str, **values: object) -> None:
        said = phrase(key, **values)
        self._screen.note(said)
        if self.mouth is not None:
            self.mouth.say(said)

    def _keep(self, audio: AudioData) -> None:
        if self._habits.keep is None:
            return
        self._state.kept += 1
        with wave.open(str(self._habits.keep / f"heard-{self._state.kept:03}.wav"), "wb") as file:
            file.setnchannels(1)
            file.setsampwidth(WIDTH)
            file.setframerate(RATE)
            file.writeframes(audio.frame_data)

    def close(self) -> None:
        """Let the threads go."""
        self._ears.shutdown(wait=True, cancel_futures=True)
        if self.mouth is not None:
            self.mouth.wait(timeout=0)
            self.mouth.close()


def _stop_clock(timing: Timing) -> None:
    if timing.first_sound is None:
        timing.first_sound = timing.now()
