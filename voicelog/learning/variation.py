"""Light variation of a person's phrases, so that a profile learns the voice and not one microphone on one day.

Level, a telephone's or headset's narrow band, and noise. Levels in the sound
of 16-bit samples.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import RATE_HZ

Sound = NDArray[np.int16]
NARROW_BAND_HZ = (300.0, 3400.0)  # a telephone line's, ITU-T G.712


@dataclass(frozen=True)
class Variation:
    """One way to change a sound."""

    narrow_band: bool = False
    noise_db: float | None = None  # speech over noise
    noise_tilt: float = 0.5  # 0: white, 1: pink, more: deeper


PLAIN = Variation()
FOR_LEARNING = (PLAIN, Variation(noise_db=18.0), Variation(narrow_band=True), Variation(noise_db=10.0, noise_tilt=0.8))


def varied(sound: Sound, variation: Variation, seed: int) -> NDArray[np.float32]:
    """The sound as it might have come through another line or in another room; same length."""
    samples = sound.astype(np.float32)
    if variation.narrow_band:
        samples = narrowed(samples)
    if variation.noise_db is not None:
        samples = samples + noise_for(samples, variation, np.random.default_rng(seed))
    return samples


def narrowed(samples: NDArray[np.float32]) -> NDArray[np.float32]:
    """Only what passes a narrow band; the edges fall over some 100 Hz."""
    spectrum = np.fft.rfft(samples)
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ)
    low, high = NARROW_BAND_HZ
    gain = 1 / (1 + np.exp(np.clip((low - hertz) / 20, -50, 50))) / (1 + np.exp(np.clip((hertz - high) / 60, -50, 50)))
    return np.fft.irfft(spectrum * gain, len(samples)).astype(np.float32)


def noise_for(samples: NDArray[np.float32], variation: Variation, rng: np.random.Generator) -> NDArray[np.float32]:
    """Noise that lies ``noise_db`` below the speech's own root mean square."""
    spectrum = np.fft.rfft(rng.standard_normal(len(samples)))
    hertz = np.fft.rfftfreq(len(samples), 1 / RATE_HZ) + 20.0
    noise = np.fft.irfft(spectrum * (hertz / 1000) ** (-variation.noise_tilt), len(samples))
    level = np.sqrt(np.mean(samples**2) / max(np.mean(noise**2), 1e-12)) * 10 ** (-variation.noise_db / 20)
    return (level * noise).astype(np.float32)
