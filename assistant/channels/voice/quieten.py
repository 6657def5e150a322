"""Steady noise taken out of a stretch of speech, for an ear that a motor or a fan confuses; recognises nothing."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from assistant.channels.voice.figures import Quieting, read_figures

Samples = npt.NDArray[np.int16]
FRAME, STEP = 512, 128
"""Samples of a frame (32 ms) and from one to the next."""
TINY = 1e-9


def quieten(samples: Samples, figures: Quieting | None = None) -> Samples:
    """Return speech with its steady noise damped; as it is where it stands out clearly enough.

    The noise is what the quietest frames hold. Each frequency is damped by a Wiener gain whose signal-to-noise ratio
    follows the frame before (decision-directed: Ephraim, Malah 1984), never below a floor, lest the rest sing.
    """
    figures = figures or read_figures().quieting
    if len(samples) < 2 * FRAME:
        return samples
    window = np.hanning(FRAME + 1)[:-1]
    padded = np.pad(samples.astype(np.float64), (FRAME, FRAME + STEP))
    starts = np.arange(0, len(padded) - FRAME, STEP)
    spectra = np.fft.rfft(padded[starts[:, None] + np.arange(FRAME)] * window, axis=1)
    power = np.abs(spectra) ** 2
    noise, ratio = _noise(power[FRAME // STEP : -(FRAME // STEP + 1)], figures.quiet_share)
    if ratio > figures.enough_decibels:
        return samples
    spectra *= _gains(power / (noise * figures.over + TINY), figures)
    frames = np.fft.irfft(spectra, FRAME, axis=1) * window
    out, weight = np.zeros(len(padded)), np.full(len(padded), TINY)
    for start, frame in zip(starts, frames, strict=True):
        out[start : start + FRAME] += frame
        weight[start : start + FRAME] += window**2
    clear: Samples = np.clip(out / weight, -32768, 32767)[FRAME : FRAME + len(samples)].astype(np.int16)
    return clear


def _noise(power: npt.NDArray[np.float64], share: float) -> tuple[npt.NDArray[np.float64], float]:
    """Return the noise's power by frequency, and by how many decibels the loud frames stand above it."""
    energy = power.sum(axis=1)
    order = np.argsort(energy)
    few = max(3, int(share * len(order)))
    quiet, loud = energy[order[:few]].mean(), energy[order[-few:]].mean()
    return power[order[:few]].mean(axis=0), float(10 * np.log10((loud + TINY) / (quiet + TINY)))


def _gains(ratios: npt.NDArray[np.float64], figures: Quieting) -> npt.NDArray[np.float64]:
    above = np.maximum(ratios - 1, 0)
    gains = np.empty_like(ratios)
    before = np.zeros(ratios.shape[1])
    for at in range(len(ratios)):
        smooth = figures.follows * before + (1 - figures.follows) * above[at]
        gain = smooth / (1 + smooth)
        before = gain**2 * ratios[at]
        gains[at] = np.maximum(gain, figures.floor)
    return gains
