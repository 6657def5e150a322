"""`reading --wav`: recordings of every width and length, kept as a frequency or refused in a sentence."""

from __future__ import annotations

import wave
from pathlib import Path

import numpy as np
import pytest
from scipy.io import wavfile

from tests.assistant.in_process import Shell, open_shell
from tests.rules.synthetic_taps import Sound, Tapped, sound

TAPS = sound(Tapped(612, 44_100))


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys)


@pytest.fixture
def tag(shell: Shell) -> str:
    """The tag of a racquet that was just strung."""
    words = ("--name", "Maya Okoro", "--level", "recreational", "--plays", "3", "--frame", "sound")
    found = str(shell("job", "add", *words, "--mains", "polyester", "--tension", "50", "--json").json["job"]["tag"])
    assert shell("job", "strung", found).code == 0
    return found


def write(path: Path, samples: Sound, rate: int = 44_100) -> str:
    """Write samples with a full scale of one as 16 bits."""
    wavfile.write(path, rate, (samples * 32767).astype(np.int16))
    return str(path)


def write_24_bit(path: Path, samples: Sound) -> None:
    """Write two channels of 24 bits, as sound cards record."""
    whole = (np.stack([samples, 0.3 * samples], 1) * (2**23 - 1)).astype("<i4")
    with wave.open(str(path), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(3)
        file.setframerate(44_100)
        file.writeframes(whole.reshape(-1, 1).view(np.uint8).reshape(-1, 4)[:, :3].tobytes())


def test_taps_become_the_repeats_of_a_reading_in_hertz(shell: Shell, tag: str, tmp_path: Path) -> None:
    """A baseline and a later check by sound: kind, repeats, mean, and the loss by the square of the frequency."""
    fresh = write(tmp_path / "fresh.wav", TAPS)
    later = write(tmp_path / "later.wav", sound(Tapped(571, 44_100)))
    kept = shell("reading", tag, "--wav", fresh, "--baseline", "--json").json
    assert kept["reading"]["kind"] == "frequency"
    assert kept["reading"]["values"] == kept["taps"]
    assert len(kept["taps"]) == 3
    assert kept["hertz"] == pytest.approx(612, rel=0.01)
    assert kept["confidence"] > 0.9
    assert any("second baseline" in remark for remark in kept["remarks"])
    told = shell("reading", tag, "--wav", later, "--check", today="2026-12-20")
    assert told.code == 0
    assert "Hz, from 3 taps" in told.out
    loss = float(told.out.split("a loss of ")[1].split(" %")[0])
    assert loss == pytest.approx(100 * (1 - (571 / 612) ** 2), abs=0.5)


def test_without_a_tag_a_recording_is_only_listened_to(shell: Shell, tmp_path: Path) -> None:
    """Hertz, confidence and taps, and nothing is kept."""
    heard = shell("reading", "--wav", write(tmp_path / "a.wav", TAPS), "--json").json
    assert set(heard) == {"hertz", "confidence", "taps", "left_out", "seconds", "remarks"}
    assert heard["hertz"] == pytest.approx(612, rel=0.01)


@pytest.mark.parametrize("name", ["8 bits", "24 bits", "32 bits", "float", "8 kHz", "192 kHz"])
def test_any_recording_of_taps_is_read(shell: Shell, tmp_path: Path, name: str) -> None:
    """Every width and rate that recorders write, one channel or two."""
    path = tmp_path / "taps.wav"
    if name == "24 bits":
        write_24_bit(path, TAPS)
    elif name.endswith("kHz"):
        rate = int(name.split(maxsplit=1)[0]) * 1000
        write(path, sound(Tapped(612, rate)), rate)
    elif name == "8 bits":
        wavfile.write(path, 44_100, (TAPS * 127 + 128).astype(np.uint8))
    elif name == "32 bits":
        wavfile.write(path, 44_100, (TAPS * (2**31 - 1)).astype(np.int32))
    else:
        wavfile.write(path, 44_100, np.stack([TAPS, TAPS], 1).astype(np.float32))
    heard = shell("reading", "--wav", str(path), "--json")
    assert heard.code == 0, heard
    assert heard.json["hertz"] == pytest.approx(612, rel=0.01)


def test_what_is_no_recording_of_taps_is_refused_in_a_sentence(shell: Shell, tag: str, tmp_path: Path) -> None:
    """An hour, noise, silence, another file, none at all, half a file: a sentence, exit code 2 or 3, nothing kept."""
    noise = 0.2 * np.random.default_rng(1).normal(size=44_100 * 3).clip(-3, 3)
    (tmp_path / "text.wav").write_text("no sound at all")
    whole = Path(write(tmp_path / "whole.wav", TAPS)).read_bytes()
    (tmp_path / "head.wav").write_bytes(whole[:30])
    (tmp_path / "empty.wav").write_bytes(b"")
    with wave.open(str(tmp_path / "hour.wav"), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(8_000)
        file.writeframes(bytes(2 * 8_000 * 3600))
    with (tmp_path / "huge.wav").open("wb") as huge:
        huge.truncate(3_000_000_000)
    write(tmp_path / "noise.wav", noise)
    write(tmp_path / "silence.wav", 0 * TAPS)
    for name, code, says in (
        ("hour", 2, "3600 seconds long"),
        ("huge", 2, "3000 MB"),
        ("noise", 2, "No tap is to be heard"),
        ("silence", 2, "Nothing is to be heard"),
        ("text", 2, "is no WAV file"),
        ("head", 2, "is no WAV file"),
        ("empty", 2, "is no WAV file"),
        ("none", 3, "is not there"),
    ):
        for words in ((tag, "--check"), ()):
            ran = shell("reading", *words, "--wav", str(tmp_path / f"{name}.wav"))
            assert (ran.code, ran.out) == (code, ""), (name, ran)
            assert says in ran.err
            assert "Traceback" not in ran.err
            told = shell("reading", *words, "--wav", str(tmp_path / f"{name}.wav"), "--json")
            assert says in told.json["error"]["message"]
    assert shell("job", "list", "--json").json["rows"][0]["readings"] == 0


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("K", "38", "--wav", "x.wav", "--check"), "not both"),
        (("K", "--wav", "x.wav", "--kind", "stiffness", "--check"), "leave --kind out"),
        ((), "or a recording with --wav"),
        (("K",), "Give the figure"),
        (("K", "38"), "--baseline"),
    ],
)
def test_what_does_not_go_together_is_said(shell: Shell, words: tuple[str, ...], says: str) -> None:
    """A missing or doubled part of the command is named."""
    ran = shell("reading", *words)
    assert ran.code == 2
    assert says in ran.err
