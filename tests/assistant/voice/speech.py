"""Synthetic speech and noise for tests of the ears: espeak-ng and flite voices, dithered, 16 kHz mono."""

from __future__ import annotations

import hashlib
import subprocess
import wave
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import signal

RATE = 16_000
Sound = npt.NDArray[np.int16]
VOICES = ("slt", "en-us", "rms", "en-gb", "awb", "kal16")
"""Six voices of two synthesisers: flite's and espeak-ng's own, a woman's and men's, American, British and Scottish."""
HARD_VOICES = ("en-us+f3", "en-gb-scotland")
"""Two that people have trouble with as well; they are measured, but no bar is set on them."""
FLITE = frozenset({"slt", "rms", "awb", "kal16"})
DITHER = 12.0
"""Amplitude of the noise in every clip: exact digital silence exists in no room and breaks recognisers."""
NOISES = ("pink", "hum", "hits")


def say(text: str, voice: str, folder: Path) -> Sound:
    """Return a phrase spoken by a voice, with a little silence around it, dithered."""
    name = hashlib.sha1(f"{voice}|{text}".encode(), usedforsecurity=False).hexdigest()
    path = folder / f"{name}.wav"
    if not path.exists():
        if voice in FLITE:
            command = ["flite", "-voice", voice, "-t", text, "-o", str(path)]
        else:
            command = ["espeak-ng", "-v", voice, "-s", "155", "-w", str(path), "--", text]
        subprocess.run(command, check=True, capture_output=True)
    return pad(read(path), before=0.3, after=0.4, seed=int(name[:8], 16))


def read(path: Path) -> Sound:
    """Return a WAV file at 16 kHz."""
    with wave.open(str(path)) as file:
        rate = file.getframerate()
        samples = np.frombuffer(file.readframes(file.getnframes()), dtype="<i2").astype(np.float64)
    if rate != RATE:
        factor = np.gcd(rate, RATE)
        samples = signal.resample_poly(samples, RATE // factor, rate // factor)
    peak = np.abs(samples).max() or 1.0
    return (samples * (9000 / peak)).astype(np.int16)


def pad(sound: Sound, *, before: float, after: float, seed: int = 1) -> Sound:
    """Return the sound with dithered silence before and after it, in seconds."""
    whole = np.concatenate([np.zeros(int(before * RATE)), sound, np.zeros(int(after * RATE))])
    return to_sound(whole + np.random.default_rng(seed).normal(0, DITHER, len(whole)))


def to_sound(samples: npt.NDArray[Any]) -> Sound:
    """Return samples as 16-bit integers, clipped."""
    return np.clip(samples, -32768, 32767).astype(np.int16)


@lru_cache(maxsize=8)
def noise(kind: str, seconds: int = 20, seed: int = 7) -> npt.NDArray[np.float64]:
    """Return a noise of unit power: pink, a motor's hum, or balls being hit."""
    rng = np.random.default_rng(seed)
    count = seconds * RATE
    if kind == "pink":
        spectrum = np.fft.rfft(rng.normal(size=count))
        frequencies = np.fft.rfftfreq(count, 1 / RATE)
        spectrum[1:] /= np.sqrt(frequencies[1:])
        spectrum[frequencies < 20] = 0
        made = np.fft.irfft(spectrum, count)
    elif kind == "hum":
        time = np.arange(count) / RATE
        made = sum(np.sin(2 * np.pi * 50 * k * time + k) / k for k in (1, 2, 3, 4, 6, 8, 12)) + rng.normal(
            0, 0.15, count
        )
    elif kind == "hits":
        made = rng.normal(0, 0.02, count)
        for start in rng.integers(0, count - 3000, seconds * 2):
            made[start : start + 2400] += rng.normal(size=2400) * np.exp(-np.arange(2400) / 320)
    else:
        raise ValueError(kind)
    return np.asarray(made / np.sqrt(np.mean(made**2)))


def mix(sound: Sound, kind: str, decibels: float, seed: int = 0) -> Sound:
    """Return the sound with a noise so many decibels below the mean power from its first to its last word."""
    speech = sound.astype(np.float64)
    spoken = np.flatnonzero(np.abs(speech) > 8 * DITHER)
    power = np.mean(speech[spoken[0] : spoken[-1]] ** 2) if len(spoken) > 1 else 1e6
    whole = noise(kind)
    start = seed * 7919 % (len(whole) - len(sound)) if len(whole) > len(sound) else 0
    part = np.resize(whole[start:], len(sound))
    return to_sound(speech + part * np.sqrt(power / 10 ** (decibels / 10)))


def write(path: Path, sound: Sound, rate: int = RATE) -> Path:
    """Write a 16-bit mono WAV file and return its path."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(rate)
        file.writeframes(sound.astype("<i2").tobytes())
    return path
