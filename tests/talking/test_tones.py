"""The five tones: low enough for worn ears, and told apart in noise."""

import itertools

import numpy as np
import pytest
from scipy.signal import butter, correlate, sosfilt

from voicelog.talking.tones import HARMONICS, PULSES, Tone, tone_sound

RATE_HZ = 24_000
PAIRS = tuple(itertools.combinations(Tone, 2))


def low_passed(sound, cut_Hz):
    """What is left for an ear that hears nothing over ``cut_Hz``: eighth order, 48 dB an octave."""
    return sosfilt(butter(8, cut_Hz, fs=RATE_HZ, output="sos"), sound)


def rhythm(sound):
    """Loudness over time in 10 ms steps, pitch thrown away."""
    whole = sound[: len(sound) // 240 * 240].reshape(-1, 240)
    return np.sqrt((whole**2).mean(axis=1))


def matched(heard, templates):
    """The template that fits best at any shift: correlation with templates of unit energy."""
    fits = {tone: np.abs(correlate(heard, one, "valid", "fft")).max() for tone, one in templates.items()}
    return max(fits, key=fits.get)


def direction(tone):
    first, last = PULSES[tone][0].from_Hz, PULSES[tone][-1].to_Hz
    return int(np.sign(last - first))


@pytest.mark.parametrize("tone", Tone)
def test_a_tone_is_short_quiet_at_its_ends_and_within_full_scale(tone):
    sound = tone_sound(tone, RATE_HZ)
    assert sound.dtype == np.float32
    assert 0.05 <= len(sound) / RATE_HZ <= 0.7
    assert np.abs(sound).max() <= 0.5 + 1e-6
    assert np.abs(sound[:5]).max() < 0.01 and np.abs(sound[-5:]).max() < 0.01


@pytest.mark.parametrize("tone", Tone)
def test_most_of_its_energy_lies_where_worn_ears_hear(tone):
    # ISO 7731 (from memory): enough energy under 1500 Hz for people with hearing loss or hearing protectors.
    power = np.abs(np.fft.rfft(tone_sound(tone, RATE_HZ))) ** 2
    under = np.fft.rfftfreq(len(tone_sound(tone, RATE_HZ)), 1 / RATE_HZ) < 1500
    assert power[under].sum() / power.sum() > 0.5


@pytest.mark.parametrize("pulse", [pulse for tone in Tone for pulse in PULSES[tone]])
def test_fundamentals_and_harmonics_keep_to_the_published_bands(pulse):
    # IEC 60601-1-8 table 4 (secondary source): 150 Hz to 1 kHz; four components in 300 Hz to 4 kHz within 15 dB.
    for pitch in (pulse.from_Hz, pulse.to_Hz):
        assert 150 <= pitch <= 1000
        assert sum(300 <= order * pitch <= 4000 for order in range(1, len(HARMONICS) + 1)) == 4
    assert 20 * np.log10(HARMONICS[0] / HARMONICS[-1]) <= 15


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_two_tones_differ_in_at_least_two_of_count_length_and_direction(one, other):
    lengths = sorted(len(tone_sound(tone, RATE_HZ)) for tone in (one, other))
    differences = (
        len(PULSES[one]) != len(PULSES[other]),
        lengths[1] >= 1.4 * lengths[0],
        direction(one) != direction(other),
    )
    assert sum(differences) >= 2


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_rhythm_alone_tells_two_tones_apart(one, other):
    first, second = (rhythm(tone_sound(tone, RATE_HZ)) for tone in (one, other))
    size = max(len(first), len(second))
    first, second = (np.pad(r, (0, size - len(r))) / np.linalg.norm(r) for r in (first, second))
    assert np.linalg.norm(first - second) > 0.5  # 0 is the same rhythm, 1.41 nothing in common


@pytest.mark.parametrize("cut_Hz", [2000, 1000])
def test_a_matched_filter_tells_them_apart_in_noise_as_loud_without_high_frequencies(cut_Hz):
    draw = np.random.default_rng(1)
    templates = {tone: tone_sound(tone, RATE_HZ).astype(float) for tone in Tone}
    templates = {tone: low_passed(sound, cut_Hz)[::4] for tone, sound in templates.items()}
    templates = {tone: sound / np.linalg.norm(sound) for tone, sound in templates.items()}
    right = sum(_trial(draw, tone, templates, cut_Hz) for tone in Tone for _ in range(40))
    assert right == 40 * len(Tone)


def _trial(draw, tone, templates, cut_Hz):
    sound = low_passed(tone_sound(tone, RATE_HZ), cut_Hz)
    level = np.sqrt((sound**2).mean())
    noise = low_passed(draw.standard_normal(RATE_HZ), cut_Hz)
    noise *= level / np.sqrt((noise**2).mean())  # 0 dB: as loud as the tone
    at = draw.integers(0, RATE_HZ - len(sound))
    noise[at : at + len(sound)] += sound
    return matched(noise[::4], templates) == tone
