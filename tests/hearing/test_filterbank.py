"""Filter banks against Kaldi's own code, as packaged in kaldi-native-fbank (Apache 2.0)."""

import numpy as np
import pytest

from voicelog.hearing.filterbank import CONF, DITHER, filter_banks, mel_triangles

# Made with kaldi-native-fbank 1.22.4 (dither 0, 64 bins, 20 to 7600 Hz, snip edges) from `tone()` below, frames 0
# and 40, every ninth bin. Kept here so that the check does not need the package.
REFERENCE = {
    0: [10.6083, 11.7383, 9.4316, 10.4513, 11.6728, 14.2319, 14.4217, 15.7624],
    40: [10.6304, 15.9896, 9.394, 10.4675, 11.6444, 14.2328, 14.4271, 15.7505],
}


def tone() -> np.ndarray:
    """Half a second: a rising tone, quiet steps and a little offset; whole numbers, no chance."""
    n = np.arange(8000)
    return (3000 * np.sin(2 * np.pi * (200 * n / 16000 + 0.05 * (n / 40) ** 2 / 100)) + (n * 7919) % 401 + 50).round()


def test_the_recorded_reference():
    rows = filter_banks(tone(), dither=0)
    for frame, values in REFERENCE.items():
        np.testing.assert_allclose(rows[frame, ::9], values, atol=2e-4)


def test_kaldis_own_code():
    kaldi = pytest.importorskip("kaldi_native_fbank")
    options = kaldi.FbankOptions()
    options.frame_opts.dither, options.frame_opts.samp_freq = 0, 16000
    options.mel_opts.num_bins, options.mel_opts.low_freq, options.mel_opts.high_freq = 64, 20, 7600
    reference = kaldi.OnlineFbank(options)
    samples = (np.random.default_rng(1).normal(size=16000) * 1000).round()
    reference.accept_waveform(16000, samples.tolist())
    reference.input_finished()
    expected = np.array([reference.get_frame(i) for i in range(reference.num_frames_ready)])
    np.testing.assert_allclose(filter_banks(samples, dither=0), expected, atol=1e-3)


def test_short_sound_gives_no_frames():
    assert filter_banks(np.zeros(399)).shape == (0, 64)
    assert filter_banks(np.zeros(400)).shape == (1, 64)
    assert filter_banks(np.zeros(16000)).shape == (98, 64)


def test_digital_silence_is_lifted_by_dither_alone():
    silence = np.zeros(16000, np.int16)
    assert filter_banks(silence, dither=0).max() < -15
    assert filter_banks(silence).min() > -5


def test_every_band_has_a_triangle():
    assert (mel_triangles().max(axis=1) > 0.3).all()


def test_the_settings_are_the_ones_in_the_model_folder():
    assert f"--dither={DITHER:g}" in CONF
    assert "--num-mel-bins=64" in CONF
