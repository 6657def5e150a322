"""Steady noise is taken out, speech stays, and a clear clip is left as it is."""

from __future__ import annotations

import numpy as np
import pytest

from assistant.channels.voice.quieten import quieten
from tests.assistant.voice import speech
from tests.assistant.voice.conftest import Say


@pytest.mark.parametrize("kind", ["pink", "hum"])
def test_noise_is_damped_and_speech_stays(kind: str, say: Say) -> None:
    """The pause before the words grows quieter by 6 decibels or more, the loudest words by at most 3."""
    spoken = speech.pad(say("three times a week", "rms"), before=0.5, after=0.5)
    noisy = speech.mix(spoken, kind, 10)
    clear = quieten(noisy)
    assert clear.shape == noisy.shape
    pause, words = slice(2000, 8000), slice(len(spoken) // 3, len(spoken) // 2)
    assert _decibels(noisy[pause]) - _decibels(clear[pause]) > 6
    assert abs(_decibels(noisy[words]) - _decibels(clear[words])) < 3


def test_a_clear_clip_is_left_as_it_is(say: Say) -> None:
    """Where the words stand out clearly, nothing is touched; nor is a clip too short to tell."""
    spoken = say("three times a week", "rms")
    assert np.array_equal(quieten(spoken), spoken)
    assert np.array_equal(quieten(spoken[:300]), spoken[:300])


def _decibels(samples: speech.Sound) -> float:
    return float(10 * np.log10(np.mean(samples.astype(np.float64) ** 2)))
