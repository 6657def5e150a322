"""Taps on a stringbed as a membrane would sound them: damped modes at the ratios of the Bessel zeros, with noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import jn_zeros

Sound = NDArray[np.float64]
ZEROS = np.array(
    [jn_zeros(0, 1)[0], jn_zeros(1, 1)[0], jn_zeros(2, 1)[0], jn_zeros(0, 2)[1], jn_zeros(3, 1)[0], jn_zeros(1, 2)[1]]
)
RATIOS = ZEROS / ZEROS[0]
"""Frequencies of a round membrane's modes over its lowest: the zeros of the Bessel functions, by scipy."""
LOUDNESS = (1.0, 0.6, 0.4, 0.5, 0.2, 0.2)


@dataclass(frozen=True)
class Tapped:
    """How a bed is tapped and recorded."""

    hertz: float
    rate: int = 16_000
    taps: int = 3
    decay: float = 0.06
    """Seconds in which the lowest mode dies away to 37 %; the higher ones are faster."""
    loudness: tuple[float, ...] = LOUDNESS
    """Of each mode."""
    gap: float = 0.7
    """Seconds between taps."""
    noise_db: float = 20
    """How far the noise lies below the sounding taps."""
    astray: float = 0.0
    """How far each tap's frequency strays, as a share."""


def sound(tapped: Tapped, seed: int = 1) -> Sound:
    """Return the recording, its loudest sample at 0.7 of full scale."""
    draw = np.random.default_rng(seed)
    heard = np.zeros(int(tapped.rate * (0.4 + tapped.taps * tapped.gap)))
    for number in range(tapped.taps):
        start = int((0.4 + number * tapped.gap + draw.uniform(-0.05, 0.05)) * tapped.rate)
        time = np.arange(heard.size - start) / tapped.rate
        lowest = tapped.hertz * (1 + draw.normal(0, tapped.astray))
        for loudness, ratio in zip(tapped.loudness, RATIOS, strict=False):
            tone = lowest * ratio
            if tone < 0.45 * tapped.rate:
                wave = np.sin(2 * np.pi * tone * time + draw.uniform(0, 2 * np.pi))
                heard[start:] += loudness * draw.uniform(0.5, 1) * np.exp(-time * np.sqrt(ratio) / tapped.decay) * wave
        knock = int(0.002 * tapped.rate)
        heard[start : start + knock] += 0.3 * draw.normal(size=knock)
    sounding = heard[np.abs(heard) > 0.05 * np.abs(heard).max()]
    loud = float(np.sqrt(np.mean(np.square(sounding))))
    heard += draw.normal(size=heard.size) * loud * 10 ** (-tapped.noise_db / 20)
    return np.asarray(0.7 * heard / np.abs(heard).max())
