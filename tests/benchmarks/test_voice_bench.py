"""The ears on synthetic speech against their bars, and how soon an answer begins; `make voice` runs the long table."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from assistant.channels.voice.audio import CHUNK_SECONDS, RATE, BytesSource
from assistant.channels.voice.loop import Habits, Timing, VoiceLoop
from assistant.channels.voice.speak import Mouth, Sound, Speaker
from dialogue.messages import Message
from tests.assistant.voice import speech
from tests.assistant.voice.dialogues import check, play, read_dialogues
from tests.assistant.voice.speech import Sound as Clip
from tests.assistant.voice.test_loop import Notebook
from tests.benchmarks.voice_phrases import TODAY
from tests.benchmarks.voice_table import Bench, Cell, rows
from tests.dialogue.scripts import build_conversation, open_test_store

EVERY = 6
"""Of the phrases, for a run that stays short; the whole set is in the table that the script prints."""
SAID = ("I play league matches", "when should I restring", "it is only for fun", "three times a week")
PARTS = ("silence", "ears", "decision", "first sentence")
"""What the wait consists of."""


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
    timings = benchmark.pedantic(_measure_timings, (bench, tmp_path), rounds=1)
    assert len(timings) >= 10
    waits = [timing.first_sound for timing in timings]
    steps = [(0.0, one.closed, one.heard, one.answered, one.first_sound) for one in timings]
    parts = [statistics.median(later - earlier for earlier, later in zip(one, other, strict=True))
             for one, other in pairwise(zip(*steps, strict=True))]  # fmt: skip
    told = ", ".join(f"{name} {part:.2f}" for name, part in zip(PARTS, parts, strict=True))
    load = os.getloadavg()[0]
    sys.stdout.write(
        f"end of speech to first sound: median {statistics.median(waits):.2f} s, longest {max(waits):.2f} s"
    )
    sys.stdout.write(f" ({told}) at a load of {load:.1f} on {os.cpu_count()} processors\n")
    assert statistics.median(waits) < 3


def _measure_timings(bench: Bench, folder: Path) -> list[Timing]:
    timings = []
    mouth = Mouth(Speaker(), Silent())
    with open_test_store() as store:
        conversation = build_conversation(store)
        for number, text in enumerate(SAID * 3):
            name = f"caller {number}"
            greeting = conversation.handle(Message("", name, "voice", TODAY))

            def turn(text: str, *, channel: str = "voice", doubted: tuple[str, ...] = (), name: str = name) -> Any:
                return conversation.handle(Message(text, name, channel, TODAY, doubted=doubted))

            loop = VoiceLoop(turn, bench.listener, Notebook(), Habits(TODAY, recording=True))
            loop.mouth = mouth
            loop.begin(greeting)
            mouth.wait(5)
            source = BytesSource()
            clip = speech.say(text, speech.VOICES[number % len(speech.VOICES)], folder)
            threading.Thread(target=_speak, args=(source, clip)).start()
            with source:
                loop.run(source)
            timings += [one for one in loop.timings if one.first_sound is not None and one.answered is not None]
    mouth.close()
    return timings


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
