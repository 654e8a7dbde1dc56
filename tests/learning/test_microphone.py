"""Another microphone is noticed, the same one is no news, and each is said once."""

import numpy as np
import pytest

from tests.learning.test_voice_print import voice
from tests.learning.test_who import LOW, profile
from voicelog.learning.microphone import (
    ENOUGH_S,
    MicrophoneWatch,
    band_of,
    colour_distance,
    colour_of,
    microphone_remark,
)


def filtered(sound: np.ndarray, gain_of_hertz) -> np.ndarray:
    spectrum = np.fft.rfft(sound)
    return np.fft.irfft(spectrum * gain_of_hertz(np.fft.rfftfreq(len(sound), 1 / 16000)), len(sound)).astype(np.int16)


def telephone(sound: np.ndarray) -> np.ndarray:
    return filtered(sound, lambda hertz: hertz <= 3400)


def dull(sound: np.ndarray) -> np.ndarray:
    """Six decibels an octave lost above 500 Hz: a microphone under a jacket."""
    return filtered(sound, lambda hertz: 1 / (1 + hertz / 500))


def wide(seed: int = 0) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(0, 1, 32000)
    return (voice(*LOW, 4 + seed) + noise * 300 * (1 + np.sin(np.arange(32000) / 3000))).astype(np.int16)


def test_a_narrow_line_is_noticed():
    assert band_of(wide()) > 6000
    assert 3000 < band_of(telephone(wide())) < 4000
    assert "3." in microphone_remark(profile("Kit", band_Hz=7600.0), telephone(wide()))
    assert "better" in microphone_remark(profile("Kit", band_Hz=3400.0), wide())


@pytest.mark.parametrize("band", [7600.0, 5000.0])
def test_the_microphone_of_the_profile_is_no_news(band):
    learnt = profile("Kit", band_Hz=band, colour_dB=colour_of(wide(1)))
    assert microphone_remark(learnt, wide()) == ""
    assert microphone_remark(learnt, wide() // 4) == ""  # nor is its level


def test_another_colour_is_noticed():
    learnt = profile("Kit", band_Hz=7600.0, colour_dB=colour_of(wide(1)))
    assert "unlike the microphone Kit's voice was learnt with" in microphone_remark(learnt, dull(wide()))
    assert colour_distance(colour_of(wide()), ()) == 0.0  # a voice learnt before colours were kept


def test_it_is_said_once_and_only_after_enough_speech():
    watch, learnt = MicrophoneWatch(), profile("Kit", band_Hz=7600.0)
    said = [watch.remark(learnt, telephone(wide())) for _ in range(3 * int(ENOUGH_S))]
    assert sum(map(bool, said)) == 1
    assert not any(said[: int(ENOUGH_S / 2.0)])
