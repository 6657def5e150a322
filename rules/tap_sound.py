"""The signal work on a recorded tap: onsets, tones, how they die away; knows no reading, no file and no wording."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.signal import butter, find_peaks, resample_poly, sosfiltfilt

from rules.tap_book import TapFigures

Sound = NDArray[np.float64]

_WORKING_RATE = 8000
"""Samples a second, at least, that the work is done with; a finer recording is thinned out."""
_STEP_MS = 2.0
"""How finely loudness is followed."""
_SKIP_MS = 4.0
"""The knock itself, before the strings sound alone."""
_LISTEN_MS = 250.0
_LEAST_MS = 40.0
"""A shorter stretch holds no tone to be told from another."""
_DECAYS = 5.0
"""A tap is listened to while it dies away to 37 % so many times."""
_BACKGROUND_MS = 200.0
_POINTS = 2**15
"""Points of the spectrum: a third of a hertz apart, and a parabola does the rest."""
_LOBE = 1.5
"""How many steps of resolution either way count as a tone's own."""
_COUNTED = 6
"""So many of the strongest tones are counted as the tap's; noise has dozens alike."""
_FEWEST_STEPS = 6
"""A line through fewer steps of loudness says nothing."""
_FULL = 0.985
"""From here on a sample counts as cut off, as a part of the loudest."""
_TINY = 1e-30


@dataclass(frozen=True)
class Ring:
    """What one tap tells."""

    hertz: float
    """Of the lowest tone."""
    tonal_share: float
    """How much of its sound lies in its tones."""
    decay_ms: float
    """How long it takes to die away to 37 %; infinite where it does not."""


@dataclass(frozen=True)
class Listened:
    """What a recording holds."""

    seconds: float
    loudest_db: float
    onsets: int
    rings: tuple[Ring, ...]
    clipped: int
    """Taps that were recorded too loud to be used."""


def listen(samples: Any, rate: float, figures: TapFigures) -> Listened:
    """Return the taps in a recording whose full scale is one; several channels lie in the second axis.

    Raises:
        ValueError: when it holds something that is no finite number.
    """
    heard = np.asarray(samples, dtype=np.float64)
    if heard.ndim > 1:
        heard = heard[:, int(np.argmax(np.square(heard).sum(axis=0)))] if heard.size else heard.reshape(-1)
    if not np.isfinite(heard).all():
        raise ValueError("a recording holds finite numbers")
    loudest = float(np.max(np.abs(heard), initial=0.0))
    seconds = heard.size / rate
    loudest_db = 20 * math.log10(max(loudest, _TINY))
    if loudest_db < figures.quietest_db.value or seconds * 1000 < _LEAST_MS:
        return Listened(seconds, loudest_db, 0, (), 0)
    cut = np.abs(heard) >= _FULL * loudest if loudest >= _FULL else np.zeros(heard.size, bool)
    thinned = max(int(rate // _WORKING_RATE), 1)
    band = _keep_band(_thin(heard - heard.mean(), thinned), rate / thinned, figures)
    found = _Taps(band, rate / thinned, figures)
    rings, clipped, onsets = [], 0, 0
    for start, end in found.stretches():
        onsets += 1
        if cut[start * thinned : end * thinned].mean() > figures.clipped_share.value:
            clipped += 1
        elif ring := found.ring(start, end):
            rings.append(ring)
    return Listened(seconds, loudest_db, onsets, tuple(rings), clipped)


def _thin(sound: Sound, factor: int) -> Sound:
    return resample_poly(sound, 1, factor) if factor > 1 else sound


def _keep_band(sound: Sound, rate: float, figures: TapFigures) -> Sound:
    """Return the sound without what lies outside the tones looked for, in time with the original."""
    high = min(figures.highest_hz.value * 1.2, 0.45 * rate)
    sections = butter(6, (figures.lowest_hz.value * 0.9, high), "bandpass", fs=rate, output="sos")
    return np.asarray(sosfiltfilt(sections, np.concatenate([sound, np.zeros(int(rate / 10))])))[: sound.size]


class _Taps:
    """One recording in its band, tap by tap."""

    def __init__(self, band: Sound, rate: float, figures: TapFigures) -> None:
        self._band, self._rate, self._figures = band, rate, figures
        self._step = max(int(rate * _STEP_MS / 1000), 1)
        steps = band.size // self._step
        power = np.square(band[: steps * self._step]).reshape(steps, self._step).mean(axis=1)
        self._level = 10 * np.log10(np.convolve(power, np.full(3, 1 / 3), "same") + _TINY)

    def stretches(self) -> Iterator[tuple[int, int]]:
        """Yield where each tap begins and where the next one may begin, in samples."""
        level, gap = self._level, int(self._figures.gap_ms.value / _STEP_MS)
        before = int(_BACKGROUND_MS / _STEP_MS / 4)
        floor = max(float(np.max(level)) - 30, self._figures.quietest_db.value - 20)
        starts: list[int] = []
        at = 0
        while at < level.size:
            quiet = float(np.median(level[max(at - before, 0) : at])) if at else -np.inf
            rise = level[at : at + 5].max() - quiet
            if level[at : at + 5].max() >= floor and rise >= self._figures.attack_db.value:
                top = at + int(np.argmax(level[at : at + 10]))
                starts.append(top)
                at = top + gap
            else:
                at += 1
        longest = int(_LISTEN_MS / _STEP_MS)
        for place, start in enumerate(starts):
            ends = starts[place + 1] - 3 if place + 1 < len(starts) else level.size
            yield start * self._step, min(ends, start + longest) * self._step

    def ring(self, start: int, end: int) -> Ring | None:
        """Return what sounds from one place to another, or None where it is no tone or wavers."""
        decay, even = self._die_away(start, end)
        if not even:
            return None
        begin = start + int(self._rate * _SKIP_MS / 1000)
        lasts = min(max(_DECAYS * decay, _LEAST_MS), _LISTEN_MS)  # beyond it there is only noise
        sound = self._band[begin : min(end, begin + int(self._rate * lasts / 1000))]
        if sound.size < 0.9 * self._rate * _LEAST_MS / 1000:
            return None
        before = self._band[max(start - int(self._rate * _BACKGROUND_MS / 1000), 0) : max(start - 4 * self._step, 0)]
        hertz, spectrum = self._spectrum(sound)
        tones = self._tones(hertz, spectrum, self._background(before, sound.size))
        if not tones:
            return None
        lobe = _LOBE * self._rate / sound.size + 1000 / math.pi / max(decay, 1.0)
        return Ring(tones[0], self._share(hertz, spectrum, tones, lobe), decay)

    def _spectrum(self, sound: Sound) -> tuple[Sound, Sound]:
        window = np.cos(np.linspace(0, np.pi / 2, sound.size)) ** 2
        spectrum = np.abs(np.fft.rfft(sound * window, _POINTS)).astype(np.float64)
        return np.fft.rfftfreq(_POINTS, 1 / self._rate).astype(np.float64), spectrum

    def _background(self, before: Sound, size: int) -> Sound | None:
        """Return the spectrum of what sounded before the tap, as loud as it would be in a stretch of that size."""
        if before.size < self._rate * _LEAST_MS / 1000:
            return None
        spectrum = self._spectrum(before[-size:])[1]
        return np.asarray(spectrum * math.sqrt(size / before[-size:].size))

    def _tones(self, hertz: Sound, spectrum: Sound, background: Sound | None) -> list[float]:
        """Return the tones from the lowest up, as far as they stand out."""
        figures = self._figures
        level = 20 * np.log10(spectrum + _TINY)
        inside = (hertz >= figures.lowest_hz.value) & (hertz <= figures.highest_hz.value)
        strongest = float(level[inside].max())
        peaks, _ = find_peaks(
            level, height=strongest - figures.overtone_db.value, prominence=figures.prominence_db.value
        )
        found = []
        for place in peaks:
            if not inside[place]:
                continue
            if background is not None:
                near = background[max(place - 12, 0) : place + 13].max()
                if level[place] < 20 * math.log10(near + _TINY) + figures.above_background_db.value:
                    continue
            left, middle, right = level[place - 1 : place + 2]
            bend = left - 2 * middle + right
            shift = 0.5 * (left - right) / bend if bend else 0.0
            found.append(float(hertz[place] + shift * (hertz[1] - hertz[0])))
        return found

    def _share(self, hertz: Sound, spectrum: Sound, tones: list[float], lobe: float) -> float:
        """Return how much of the sound lies within a lobe of its strongest tones."""
        power = np.square(spectrum)
        near = np.zeros(hertz.size, bool)
        for tone in sorted(tones, key=lambda one: -spectrum[round(one / hertz[1])])[:_COUNTED]:
            near |= np.abs(hertz - tone) <= lobe
        inside = (hertz >= self._figures.lowest_hz.value * 0.9) & (hertz <= self._figures.highest_hz.value * 1.2)
        return float(power[near & inside].sum() / (power[inside].sum() + _TINY))

    def _die_away(self, start: int, end: int) -> tuple[float, bool]:
        """Return how fast the whole dies away, in ms to 37 %, and whether it does so evenly."""
        level = self._level[start // self._step : end // self._step]
        before = self._level[: max(start // self._step - 4, 0)]
        background = float(np.median(before)) if before.size >= _FEWEST_STEPS else -np.inf
        floor = max(float(level.max()) - 25, background + 6)
        below = np.flatnonzero(level < floor)
        level = level[: below[0]] if below.size else level
        if level.size < _FEWEST_STEPS:
            return 0.0, False
        time = np.arange(level.size) * _STEP_MS
        slope, offset = np.polyfit(time, level, 1)
        stray = float(np.sqrt(np.mean(np.square(level - slope * time - offset))))
        decay = -20 * math.log10(math.e) / slope if slope < 0 else math.inf
        return decay, stray <= self._figures.decay_fit_db.value
