"""Sound of any kind arrives as 16 kHz mono, and what is no sound is refused with a sentence."""

from __future__ import annotations

import io
import struct
import subprocess
import threading
import wave
from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from assistant.channels.voice.audio import (
    CHUNK,
    RATE,
    BytesSource,
    MicrophoneSource,
    Resampler,
    WavSource,
    read_chunks,
    read_stdin,
    to_bytes,
)
from assistant.channels.voice.errors import VoiceProblem, read_phrases
from tests.assistant.voice import speech

SOX_FORMS = {
    "8 kHz": ["-r", "8000", "-b", "16"],
    "44.1 kHz stereo": ["-r", "44100", "-c", "2", "-b", "16"],
    "48 kHz 24 bit": ["-r", "48000", "-b", "24"],
    "32 bit": ["-b", "32", "-e", "signed-integer"],
    "float": ["-b", "32", "-e", "floating-point"],
    "8 bit": ["-b", "8", "-e", "unsigned-integer"],
    "four channels": ["-c", "4", "-b", "16"],
}


def tone(rate: int, hertz: float = 440.0, seconds: float = 1.0) -> np.ndarray:
    """Return a tone as samples between -1 and 1."""
    return 0.4 * np.sin(2 * np.pi * hertz * np.arange(int(rate * seconds)) / rate)


def heard(path: Path) -> np.ndarray:
    """Return what comes out of a file, at 16 kHz."""
    with WavSource(path) as source:
        return np.frombuffer(b"".join(read_chunks(source)), "<i2").astype(float) / 32768


@pytest.mark.parametrize("form", SOX_FORMS)
def test_reads_every_form_of_wav(form: str, tmp_path: Path) -> None:
    """What sox writes in any width, rate and number of channels comes out as the same tone."""
    plain, other = tmp_path / "plain.wav", tmp_path / "other.wav"
    speech.write(plain, (tone(RATE) * 32767).astype(np.int16))
    subprocess.run(["sox", str(plain), *SOX_FORMS[form], str(other)], check=True, capture_output=True)
    samples = heard(other)
    assert abs(len(samples) - RATE) <= CHUNK
    spectrum = np.abs(np.fft.rfft(samples[:RATE]))
    assert np.argmax(spectrum) == pytest.approx(440, abs=1)
    assert np.sqrt(np.mean(samples[2000:14000] ** 2)) == pytest.approx(0.4 / np.sqrt(2), rel=0.05)


@pytest.mark.parametrize("rate", [8000, 22050, 44100, 48000])
def test_resamples_like_scipy(rate: int) -> None:
    """In pieces of any size, what comes out is what scipy's polyphase filter gives, but for a small delay."""
    samples = tone(rate) + 0.5 * tone(rate, 1300)
    resampler, out = Resampler(rate), b""
    raw = to_bytes(samples)
    for at in range(0, len(raw), 700):
        out += resampler.feed(raw[at : at + 700])
    mine = np.frombuffer(out, "<i2") / 32768
    factor = np.gcd(rate, RATE)
    theirs = signal.resample_poly(samples, RATE // factor, rate // factor)
    assert abs(len(mine) - len(theirs)) < 40
    size = min(len(mine), len(theirs)) - 400
    delay = int(np.argmax(np.correlate(mine[1000:3000], theirs[1000:3000], "full")) - 1999)
    error = mine[400 + delay : size + delay] - theirs[400:size]
    assert np.sqrt(np.mean(error**2)) < 0.05 * np.sqrt(np.mean(theirs**2)) + 0.02


def test_takes_out_what_would_fold_back() -> None:
    """A tone above half the new rate is gone, not heard as a lower one."""
    out = Resampler(48000).feed(to_bytes(tone(48000, 11000)))
    assert np.sqrt(np.mean((np.frombuffer(out, "<i2") / 32768) ** 2)) < 0.02


BROKEN = {
    "file_no_wav": b"no wav at all, just words",
    "file_empty": b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0"
    + struct.pack("<HHIIHH", 1, 1, 16000, 32000, 2, 16)
    + b"data\0\0\0\0",
    "file_coding": b"RIFF\x24\0\0\0WAVEfmt \x10\0\0\0"
    + struct.pack("<HHIIHH", 85, 1, 16000, 32000, 2, 16)
    + b"data\x08\0\0\0"
    + b"\0" * 8,
}


@pytest.mark.parametrize("key", BROKEN)
def test_refuses_what_is_no_recording(key: str) -> None:
    """A file that holds no PCM sound is refused with the sentence that says so."""
    source = WavSource(io.BytesIO(BROKEN[key]), "clip.wav")
    with pytest.raises(VoiceProblem, match=r"clip\.wav") as problem, source:
        pass
    assert problem.value.key == key


def test_names_a_missing_file(tmp_path: Path) -> None:
    """A file that is not there, and a folder, are named."""
    with pytest.raises(VoiceProblem, match="no file"), WavSource(tmp_path / "none.wav"):
        pass
    with pytest.raises(VoiceProblem, match="cannot be read"), WavSource(tmp_path):
        pass


def test_a_header_that_promises_too_much_gives_what_is_there(tmp_path: Path) -> None:
    """A recording that was cut off in the middle is heard to where it goes."""
    path = speech.write(tmp_path / "cut.wav", (tone(RATE) * 9000).astype(np.int16))
    path.write_bytes(path.read_bytes()[: 44 + RATE])
    assert len(heard(path)) == pytest.approx(RATE / 2, abs=CHUNK)


def test_reads_standard_input() -> None:
    """A recording may be piped in; nothing at all is refused."""
    target = io.BytesIO()
    with wave.open(target, "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(b"\1\0" * 1024)
    with read_stdin(io.BytesIO(target.getvalue())) as source:
        assert len(b"".join(read_chunks(source))) == 2048
    with pytest.raises(VoiceProblem):
        read_stdin(io.BytesIO())


def test_packets_become_chunks() -> None:
    """Packets of any size from another thread come out as chunks of 32 ms, the last filled up."""
    source = BytesSource()
    raw = bytes(range(256)) * 30

    def send() -> None:
        for at in range(0, len(raw), 333):
            source.put(raw[at : at + 333])
        source.close()

    threading.Thread(target=send).start()
    with source:
        chunks = list(read_chunks(source))
    assert all(len(chunk) == 2 * CHUNK for chunk in chunks)
    assert b"".join(chunks).startswith(raw[: len(raw) // 2 * 2])


def test_a_device_that_falls_silent_is_gone() -> None:
    """A microphone that was unplugged ends the listening with a sentence, not a hang."""
    source = BytesSource(patience=0.05)
    source.put(b"\0\0" * CHUNK)
    with pytest.raises(VoiceProblem, match="typing") as problem, source:
        list(read_chunks(source))
    assert problem.value.key == "device_gone"


def test_says_that_there_is_no_microphone() -> None:
    """A machine without a microphone gets a sentence that names the typed way, and so does a wrong name."""
    with pytest.raises(VoiceProblem) as problem, MicrophoneSource("no such device"):
        pass
    assert problem.value.key in {"no_microphone", "device_unknown", "no_portaudio"}


def test_every_sentence_can_be_filled() -> None:
    """Each of the channel's own sentences stands ready and leaves no bracket open."""
    for key, sentence in read_phrases().items():
        assert sentence[-1] in ".?!}", key
