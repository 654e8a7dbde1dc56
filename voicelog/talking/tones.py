"""Five short tones, told apart by rhythm and direction as well as by pitch.

They are heard on a building site by people of whom many have lost hearing at high frequencies, so each
carries its meaning three times: in how many pulses it has, in how long it lasts, in whether it climbs, falls
or stays. Fundamentals lie between 390 and 880 Hz, with four harmonics under 4 kHz.

Sources. Fundamental within 150 Hz to 1 kHz and at least four harmonic components within 300 Hz to 4 kHz, each
within 15 dB of the fundamental, so that masking of one leaves the others: the pulse requirements of
IEC 60601-1-8 table 4, as quoted by a sounder maker's page on that standard (secondary source). Enough energy
under 1.5 kHz for people with hearing loss or hearing protectors: ISO 7731 (from memory). Rhythm and direction as
well as pitch, and gentle onsets so that nobody is startled: Patterson's guidelines for auditory warnings, 1982
(from memory). The melodies are our own.
"""

from dataclasses import dataclass
from enum import StrEnum
from itertools import chain

import numpy as np

Sound = np.ndarray  # float32, one channel, within -1 to 1

HARMONICS = (1.0, 0.7, 0.5, 0.35)  # amplitudes; the weakest lies 9 dB under the fundamental
RAMP_S = 0.012  # rise and fall of each pulse: no click, no startle
PEAK = 0.5  # 6 dB under full scale, about as loud as the voice beside it


class Tone(StrEnum):
    """What a tone means."""

    PASS = "pass"
    FAIL = "fail"
    ATTENTION = "attention"  # something needs the listener: marginal, odd, refused
    KEPT = "kept"  # the reading before is on the record
    ASKED = "asked"  # an answer is awaited


@dataclass(frozen=True)
class Pulse:
    """One pulse, sliding from one pitch to another, and the rest after it."""

    from_Hz: float
    to_Hz: float
    length_s: float
    rest_s: float = 0.0


PULSES: dict[Tone, tuple[Pulse, ...]] = {
    Tone.PASS: (Pulse(523, 523, 0.08, 0.03), Pulse(784, 784, 0.10)),  # two, quick, up
    Tone.FAIL: (Pulse(740, 740, 0.15, 0.05), Pulse(587, 587, 0.15, 0.05), Pulse(440, 440, 0.22)),  # three, slow, down
    Tone.ATTENTION: tuple(Pulse(830, 830, 0.045, 0.04) for _ in range(5)),  # five, very quick, level
    Tone.KEPT: (Pulse(392, 392, 0.09),),  # one, short, low
    Tone.ASKED: (Pulse(440, 880, 0.36),),  # one, long, sliding up
}


def tone_sound(tone: Tone, rate_Hz: int = 24_000) -> Sound:
    """The tone as float32 samples at ``rate_Hz``."""
    pieces = chain.from_iterable((_pulse(pulse, rate_Hz), _rest(pulse.rest_s, rate_Hz)) for pulse in PULSES[tone])
    return np.concatenate(tuple(pieces))


def _pulse(pulse: Pulse, rate_Hz: int) -> Sound:
    count = round(pulse.length_s * rate_Hz)
    pitch = np.linspace(pulse.from_Hz, pulse.to_Hz, count)
    phase = 2 * np.pi * np.cumsum(pitch) / rate_Hz
    wave = sum(level * np.sin(order * phase) for order, level in enumerate(HARMONICS, start=1))
    return (PEAK * wave / np.abs(wave).max() * _envelope(count, rate_Hz)).astype(np.float32)


def _envelope(count: int, rate_Hz: int) -> Sound:
    ramp = round(RAMP_S * rate_Hz)
    rise = 0.5 - 0.5 * np.cos(np.pi * np.arange(ramp) / ramp)
    return np.concatenate((rise, np.ones(count - 2 * ramp), rise[::-1]))


def _rest(seconds: float, rate_Hz: int) -> Sound:
    return np.zeros(round(seconds * rate_Hz), np.float32)
