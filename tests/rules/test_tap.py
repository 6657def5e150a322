"""The frequency of taps that are known because they were made, and everything that is no tap refused."""

from __future__ import annotations

import json
import shutil
import subprocess
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.io import wavfile

from rules.tap import read_tap
from rules.tap_book import load_tap_book
from tests.rules.synthetic_taps import RATIOS, Sound, Tapped, sound

RATE = 16_000
BOOK = load_tap_book()


def noise(seconds: float = 3.0, seed: int = 1) -> Sound:
    """Return white noise at a quarter of full scale."""
    return np.asarray(0.25 * np.random.default_rng(seed).normal(size=int(RATE * seconds)).clip(-3, 3))


def refused(samples: Any, rate: float = RATE) -> str:
    """Return why a recording gives nothing, once it is known that it gives nothing."""
    tap = read_tap(samples, rate)
    assert tap.hertz is None, tap
    json.dumps(tap.to_dict(), allow_nan=False)
    return tap.remarks[0]


def test_the_modes_stand_at_the_ratios_of_the_bessel_zeros() -> None:
    """1, 1.593, 2.136, 2.295 (Abramowitz and Stegun, table 9.5): what the synthetic taps are made of."""
    assert [round(float(ratio), 3) for ratio in RATIOS[:4]] == [1.0, 1.593, 2.136, 2.295]


@pytest.mark.parametrize("rate", [8_000, 16_000, 44_100, 48_000])
@pytest.mark.parametrize("decay", [0.012, 0.03, 0.08, 0.25])
def test_damped_membrane_modes_with_noise_are_read_within_one_per_cent(rate: int, decay: float) -> None:
    """300 to 800 Hz at 20 dB, from a bed that hardly rings to one that rings long: no octave, no other mode."""
    for number, hertz in enumerate(range(300, 801, 50 if rate == 8_000 else 125)):
        tap = read_tap(sound(Tapped(hertz, rate, decay=decay), seed=number), rate)
        assert tap.hertz == pytest.approx(hertz, rel=0.01), (hertz, tap)
        assert len(tap.taps) >= 2
        assert tap.confidence >= 0.6


@pytest.mark.parametrize("hertz", [300, 440, 600, 800])
@pytest.mark.parametrize(
    "loudness", [(1.0,), (0.4, 1.0), (0.5, 0.0, 0.0, 1.0), (1.0, 1.0, 1.0, 1.0, 1.0, 1.0)], ids=str
)
def test_the_lowest_tone_counts_even_where_a_higher_one_is_louder(hertz: int, loudness: tuple[float, ...]) -> None:
    """A single tone; a bed tapped off the middle, where the second mode is loudest; all modes alike."""
    tap = read_tap(sound(Tapped(hertz, loudness=loudness)), RATE)
    assert tap.hertz == pytest.approx(hertz, rel=0.01)


@pytest.mark.parametrize("hertz", [300, 440.5, 612, 800])
def test_even_bursts_of_a_pure_tone_are_read_with_less_confidence(hertz: float) -> None:
    """A generated tone, three times a third of a second with noise at 20 dB: right, and trusted less than a tap."""
    time = np.arange(RATE // 3) / RATE
    heard = 0.02 * np.random.default_rng(1).normal(size=RATE * 3)
    for second in (0.3, 1.2, 2.1):
        start = int(second * RATE)
        heard[start : start + time.size] += 0.4 * np.sin(2 * np.pi * hertz * time)
    tap = read_tap(heard, RATE)
    assert tap.hertz == pytest.approx(hertz, rel=0.01)
    assert len(tap.taps) == 3
    assert 0.59 <= tap.confidence <= 0.61


def test_three_taps_are_averaged_and_a_stray_one_is_left_out() -> None:
    """Four taps close together count by their mean; one of another tone is left out and said to be."""
    tap = read_tap(sound(Tapped(600, taps=4, astray=0.003)), RATE)
    assert len(tap.taps) == 4
    assert tap.hertz == pytest.approx(sum(tap.taps) / 4, abs=0.06)
    assert max(tap.taps) - min(tap.taps) > 1
    stray = np.concatenate([sound(Tapped(600)), sound(Tapped(480, taps=1))])
    tap = read_tap(stray, RATE)
    assert tap.hertz == pytest.approx(600, rel=0.01)
    assert tap.left_out == 1
    assert "did not agree" in tap.remarks[0]


@pytest.mark.parametrize("noise_db", [10, 5])
def test_louder_noise_still_gives_no_wrong_tone(noise_db: float) -> None:
    """At 10 and 5 dB a recording is either read within one per cent or refused."""
    for seed in range(12):
        tap = read_tap(sound(Tapped(350 + 35 * seed, noise_db=noise_db), seed), RATE)
        assert tap.hertz is None or tap.hertz == pytest.approx(350 + 35 * seed, rel=0.01)


def test_two_taps_are_read_with_a_word_and_one_is_too_few() -> None:
    """Three are wanted: two lower the confidence, one gives nothing but the wish for more."""
    three, two = (read_tap(sound(Tapped(600, taps=taps)), RATE) for taps in (3, 2))
    assert three.confidence > two.confidence
    assert three.remarks == ()
    assert "Only 2 taps" in two.remarks[0]
    assert "Only one tap" in refused(sound(Tapped(600, taps=1)))


@pytest.mark.parametrize("hum", [50, 100, 120, 180])
def test_mains_hum_below_the_tones_does_no_harm(hum: int) -> None:
    """A hum as loud as the taps, at the frequencies of the mains and twice them."""
    heard = sound(Tapped(600))
    heard = 0.5 * (heard + 0.7 * np.sin(2 * np.pi * hum * np.arange(heard.size) / RATE))
    assert read_tap(heard, RATE).hertz == pytest.approx(600, rel=0.01)


def test_a_hum_among_the_tones_is_refused_and_never_taken_for_the_bed() -> None:
    """A steady 300 or 350 Hz under the taps: either the bed's tone or nothing."""
    for hum in (300, 350, 720):
        heard = sound(Tapped(600))
        heard = 0.5 * (heard + 0.3 * np.sin(2 * np.pi * hum * np.arange(heard.size) / RATE))
        tap = read_tap(heard, RATE)
        assert tap.hertz is None or tap.hertz == pytest.approx(600, rel=0.01)


def test_noise_clicks_and_claps_are_refused() -> None:
    """White and brown noise, clicks, and bursts of noise that die away like a tap."""
    for seed in range(10):
        draw = np.random.default_rng(seed)
        brown = np.cumsum(draw.normal(size=RATE * 3))
        brown = 0.8 * (brown - brown.mean()) / np.abs(brown - brown.mean()).max()
        clicks, claps = (0.002 * draw.normal(size=RATE * 3) for _ in range(2))
        for second in (0.4, 1.1, 1.8, 2.5):
            start = int(second * RATE)
            clicks[start : start + 64] += 0.5 * draw.normal(size=64)
            time = np.arange(RATE * 3 - start) / RATE
            claps[start:] += 0.3 * draw.normal(size=time.size) * np.exp(-time / 0.04)
        for heard in (noise(seed=seed), brown, clicks, claps):
            refused(heard)


def test_silence_and_almost_silence_are_named() -> None:
    """Nothing, an empty recording, and the hiss of an empty line."""
    for heard in (np.zeros(RATE * 3), np.zeros(0), 1e-4 * noise()):
        assert "Nothing is to be heard" in refused(heard)


@pytest.mark.parametrize("voice", ["en-us", "en-gb+f3", "en+m7"])
def test_speech_is_refused(voice: str, tmp_path: Path) -> None:
    """What people say beside a racquet, spoken by espeak-ng, short hard words among it."""
    espeak = shutil.which("espeak-ng")
    assert espeak, "espeak-ng is not installed; .ci/prepare installs it"
    for words in (
        "thirty eight kilos", "it reads six hundred hertz", "tap tap tap", "pop pop pop", "two two two", "ooh", "ah",
        "bat bad bed bud", "do re mi fa so", "the strings are dead", "six six six", "when should I restring",
    ):  # fmt: skip
        spoken = tmp_path / "spoken.wav"
        subprocess.run([espeak, "-v", voice, "-w", str(spoken), words], check=True)
        rate, samples = wavfile.read(spoken)
        refused(samples / 32768, rate)


def test_too_loud_is_read_where_the_tone_is_left_and_refused_where_it_is_not() -> None:
    """Cut off a little the tone is still right; cut off throughout it is said to be too loud."""
    taps = sound(Tapped(600, decay=0.12, noise_db=40))
    assert read_tap(np.clip(2 * taps, -1, 1), RATE).hertz == pytest.approx(600, rel=0.01)
    assert "too loud" in refused(np.clip(60 * taps, -1, 1))


def test_any_channel_will_do() -> None:
    """Two channels, one of them faint, or one upside down, are read like one."""
    taps = sound(Tapped(600))
    for frames in (np.stack([taps, 0.05 * taps], 1), np.stack([taps, -taps], 1), np.stack([0 * taps, taps], 1)):
        assert read_tap(frames, RATE).hertz == pytest.approx(600, rel=0.01)
    assert read_tap([float(value) for value in taps], RATE).hertz == pytest.approx(600, rel=0.01)


def test_what_cannot_be_listened_to_is_refused_with_what_to_do() -> None:
    """An hour, too few samples a second, and numbers that are no sound."""
    assert "3600 seconds long" in refused(np.zeros(RATE * 3600, np.int8))
    assert "8,000" in refused(sound(Tapped(600)), 2000)
    assert "8,000" in refused(sound(Tapped(600)), float("nan"))
    assert "record again" in refused(np.full(RATE, np.nan))
    assert "record again" in refused(np.array([0.1, np.inf] * RATE))


def test_a_minute_is_read_in_good_time() -> None:
    """The longest recording that is listened to still gives its taps."""
    tap = read_tap(sound(Tapped(600, taps=40, gap=1.4)), RATE)
    assert tap.hertz == pytest.approx(600, rel=0.01)
    assert len(tap.taps) == BOOK.figures.taps_most.value
