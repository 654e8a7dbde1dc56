"""Prints of voices made of pulses through two resonances: pitch and throat differ."""

import numpy as np

from voicelog.learning.voice_print import _pitch, distance, mean_print, voice_print


def voice(pitch: float, resonances: tuple[float, float], seed: int) -> np.ndarray:
    """Two seconds of pulses at about ``pitch`` hertz through two resonances, in syllables, with a little noise."""
    rng = np.random.default_rng(seed)
    time = np.arange(32000) / 16000
    phase = np.cumsum(pitch * (1 + 0.05 * np.sin(2 * np.pi * rng.uniform(1, 3) * time))) / 16000
    pulses = np.diff(np.floor(phase), prepend=0)
    spectrum, hertz = np.fft.rfft(pulses), np.fft.rfftfreq(32000, 1 / 16000)
    spectrum = spectrum * sum(1 / (1 + ((hertz - at * rng.uniform(0.97, 1.03)) / 120) ** 2) for at in resonances)
    sound = np.fft.irfft(spectrum) * (0.6 + 0.4 * np.sin(2 * np.pi * 3 * time))
    return (sound / np.abs(sound).max() * 9000 + rng.normal(0, 8, 32000)).astype(np.int16)


def test_two_voices_are_further_apart_than_one_from_itself():
    low = [voice_print(voice(105, (520, 1400), seed)) for seed in range(4)]
    high = [voice_print(voice(210, (700, 2100), seed)) for seed in range(4)]
    own = max(distance(one, mean_print(low[:2])) for one in low[2:])
    other = min(distance(one, mean_print(low[:2])) for one in high)
    assert other > 4 * own


def test_pitch_is_found():
    for hertz in (90, 130, 220):
        assert abs(np.exp(_pitch(voice(hertz, (500, 1500), 1)) / 5) / hertz - 1) < 0.06


def test_level_does_not_matter():
    samples = voice(120, (500, 1500), 3)
    assert distance(voice_print(samples), voice_print((samples / 2).astype(np.int16))) < 3


def test_whisper_and_noise_have_a_print():
    noise = np.random.default_rng(0).normal(0, 500, 16000).astype(np.int16)
    assert np.isfinite(voice_print(noise)).all()
