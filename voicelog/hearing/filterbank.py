"""Sound to filter banks: what the network sees of 16 kHz sound, one row each 10 ms.

Computed as Kaldi computes them with the settings of ``conf/fbank.conf``: 25 ms
windows every 10 ms wholly inside the sound, mean removed, pre-emphasis 0.97,
a Hann window to the power 0.85 ("povey"), 512-point power spectrum, 64
triangles even in mel from 20 to 7600 Hz, natural logarithm.
"""

from functools import cache

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]

RATE_HZ = 16_000
WINDOW = RATE_HZ * 25 // 1000  # 400 samples
SHIFT = RATE_HZ * 10 // 1000  # 160 samples
FFT = 512
BINS = 64
LOW_HZ, HIGH_HZ = 20.0, 7600.0
PRE_EMPHASIS = 0.97
DITHER = 4.0  # sample units of 16-bit sound: keeps digital silence within what the network has met
FLOOR = np.float32(np.finfo(np.float32).eps)
CONF = (
    f"--sample-frequency={RATE_HZ}\n--num-mel-bins={BINS}\n--low-freq={LOW_HZ:g}\n--high-freq={HIGH_HZ:g}\n"
    f"--dither={DITHER:g}\n--use-energy=false\n"
)


def filter_banks(sound: NDArray, dither: float = DITHER, seed: int = 0) -> Floats:
    """Log filter-bank energies of 16-bit sound at 16 kHz: (samples,) -> (frames, 64).

    ``dither`` is the spread, in sample units, of the Gaussian noise added to
    each window (0: none). Sound shorter than one window gives no frames.
    """
    samples = np.asarray(sound, np.float32)
    if len(samples) < WINDOW:
        return np.zeros((0, BINS), np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(samples, WINDOW)[::SHIFT]
    if dither:
        windows = windows + np.float32(dither) * np.random.default_rng(seed).standard_normal(windows.shape, np.float32)
    windows = windows - windows.mean(axis=1, keepdims=True)
    before = np.concatenate([windows[:, :1], windows[:, :-1]], axis=1)  # the first sample stands before itself
    shaped = (windows - np.float32(PRE_EMPHASIS) * before) * _povey()
    power = np.abs(np.fft.rfft(shaped, FFT, axis=1)).astype(np.float32) ** 2
    return np.log(np.maximum(power @ mel_triangles().T, FLOOR))


@cache
def _povey() -> Floats:
    return (np.hanning(WINDOW) ** 0.85).astype(np.float32)


def mel(hertz: NDArray | float) -> NDArray:
    """Kaldi's mel scale."""
    return 1127.0 * np.log1p(np.asarray(hertz) / 700.0)


@cache
def mel_triangles() -> Floats:
    """(64, 257): how much each spectrum line counts in each band."""
    lines = mel(np.arange(FFT // 2 + 1) * RATE_HZ / FFT)
    edges = np.linspace(mel(LOW_HZ), mel(HIGH_HZ), BINS + 2)
    left, centre, right = edges[:-2, None], edges[1:-1, None], edges[2:, None]
    return np.maximum(0, np.minimum((lines - left) / (centre - left), (right - lines) / (right - centre))).astype(
        np.float32
    )
