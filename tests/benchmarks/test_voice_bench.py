"""The ears on synthetic speech against their bars, and how soon an answer begins; `make voice` runs the long table."""

from __future__ import annotations

import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from assistant.channels.voice.audio import CHUNK_SECONDS, RATE, BytesSource
from assistant.channels.voice.loop import Habits, VoiceLoop
from assistant.channels.voice.speak import Mouth, Sound, Speaker
from dialogue.messages import Reply
from tests.assistant.voice import speech
from tests.assistant.voice.dialogues import check, play, read_dialogues
from tests.assistant.voice.speech import Sound as Clip
from tests.assistant.voice.test_loop import Notebook, Script
from tests.benchmarks.voice_phrases import TODAY
from tests.benchmarks.voice_table import Bench, Cell, rows

EVERY = 6
"""Of the phrases, for a run that stays short; the whole set is in the table that the script prints."""
NEXT = Reply(("And how often do you play?",), speech="How often a week do you play?", asked="plays_per_week")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """Return the ears."""
    bench = Bench(tmp_path_factory.mktemp("clips"))
    yield bench
    bench.listener.close()


@pytest.mark.parametrize("scene", ["clean", "pink 10 dB"])
def test_hears_answers(scene: str, bench: Bench, benchmark: Any) -> None:
    """Every sixth phrase, in quiet and in noise: few wrong values, hardly one unread, and none in small talk."""
    cell: Cell = benchmark.pedantic(bench.measure, (scene, speech.VOICES, EVERY, 4), rounds=1)
    for row in rows([(scene, cell)]):
        sys.stdout.write("".join(f"{part:>12}" for part in row) + "\n")
    assert cell.rule >= max(cell.whisper, cell.grammar)
    assert cell.unread <= 1
    assert cell.off_topic_unread == 0


def test_loads_once_and_soon(benchmark: Any) -> None:
    """Both ears are ready in a few seconds in a process of their own; the time is printed."""
    script = (
        "import time; t = time.perf_counter()\n"
        "from assistant.channels.voice.ears import load_ears\n"
        "ears = load_ears(); ears.second.prepare('level')\n"
        "print(time.perf_counter() - t)"
    )
    command = [sys.executable, "-W", "ignore", "-c", script]
    done = benchmark.pedantic(
        subprocess.run, (command,), {"capture_output": True, "check": True, "text": True}, rounds=1
    )
    sys.stdout.write(f"ears loaded in {float(done.stdout):.2f} s, imports and first grammar included\n")
    assert float(done.stdout) < 15


class Silent:
    """Plays nothing."""

    def play(self, sound: Sound, stopped: Callable[[], bool]) -> None:
        """Let a sound pass."""

    def close(self) -> None:
        """Nothing stays open."""


def test_answers_soon_after_the_end_of_speech(bench: Bench, tmp_path: Path, benchmark: Any) -> None:
    """From the end of speech to the first sound of the answer, on recordings heard as fast as they were spoken."""
    waits = benchmark.pedantic(_measure_waits, (bench, tmp_path), rounds=1)
    assert len(waits) >= 10
    median = statistics.median(waits)
    sys.stdout.write(f"end of speech to first sound: median {median:.2f} s, longest {max(waits):.2f} s\n")
    assert median < 3


def _measure_waits(bench: Bench, folder: Path) -> list[float]:
    waits = []
    mouth = Mouth(Speaker(), Silent())
    for number, text in enumerate(("three times a week", "every other day", "twice a week", "once a fortnight") * 3):
        loop = VoiceLoop(Script([NEXT]), bench.listener, Notebook(), Habits(TODAY, recording=True))
        loop.mouth = mouth
        loop.begin([NEXT])
        mouth.wait(5)
        clip = speech.say(text, speech.VOICES[number % len(speech.VOICES)], folder)
        source = BytesSource()
        threading.Thread(target=_speak, args=(source, clip)).start()
        with source:
            loop.run(source)
        waits += [timing.first_sound for timing in loop.timings if timing.first_sound is not None]
    mouth.close()
    return waits


def _speak(source: BytesSource, clip: Clip) -> None:
    """Hand in a clip as a microphone would: 32 ms every 32 ms."""
    raw = speech.pad(clip, before=0.3, after=1.5).astype("<i2").tobytes()
    size = round(CHUNK_SECONDS * RATE) * 2
    begun = time.monotonic()
    for number, at in enumerate(range(0, len(raw), size)):
        time.sleep(max(0.0, begun + (number + 1) * CHUNK_SECONDS - time.monotonic()))
        source.put(raw[at : at + size])
    source.close()


@pytest.mark.parametrize("dialogue", read_dialogues(short=False), ids=lambda dialogue: dialogue["name"])
def test_a_spoken_dialogue(dialogue: dict[str, Any], bench: Bench, tmp_path: Path, benchmark: Any) -> None:
    """The longer dialogues end in the right facts and decision too."""
    check(dialogue, benchmark.pedantic(play, (dialogue, bench.listener, tmp_path), rounds=1))
