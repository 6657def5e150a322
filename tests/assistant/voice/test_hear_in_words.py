"""What `hear` says in plain words, to somebody who tries a microphone out."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from tests.assistant.voice import speech
from tests.assistant.voice.conftest import Say
from tests.assistant.voice.test_voice_commands import TODAY, run


def test_a_recording_is_told_line_by_line(say: Say, tmp_path: Path) -> None:
    """Its name, what each ear heard and each value; silence and a file that is none say what is wrong."""
    plays = tmp_path / "plays.wav"
    speech.write(plays, np.asarray(speech.pad(say("three times a week", "rms"), before=0.5, after=0.8)))
    silence = tmp_path / "silence.wav"
    speech.write(silence, np.asarray(speech.pad(np.zeros(0, np.int16), before=1, after=1)))
    none = tmp_path / "none.wav"
    store = f"sqlite:///{tmp_path}/shop.sqlite3"
    files = (str(plays), str(silence), str(none))
    done = run("hear", "--db", store, "--asked", "plays_per_week", "--today", TODAY, "--wav", *files)
    assert done.returncode == 0, done.stderr
    told = done.stdout.decode().splitlines()
    first, second, third = (told.index(name) for name in files)
    heard = told[first + 1 : second]
    assert any(line.lower().startswith("  heard: three times a week") for line in heard)
    assert "  plays_per_week: 3" in heard
    assert any("heard nothing" in line for line in told[second + 1 : third])
    assert any("no file" in line for line in told[third + 1 :])


def test_a_recording_is_piped_in(say: Say, tmp_path: Path) -> None:
    """A single dash is the standard input."""
    plays = tmp_path / "plays.wav"
    speech.write(plays, np.asarray(speech.pad(say("three times a week", "rms"), before=0.5, after=0.8)))
    done = run("hear", "--asked", "plays_per_week", "--wav", "-", stdin=plays.read_bytes())
    assert done.returncode == 0, done.stderr
    assert done.stdout.decode().splitlines()[0] == "-"
    assert b"  plays_per_week: 3\n" in done.stdout
