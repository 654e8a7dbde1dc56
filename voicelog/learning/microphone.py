"""The microphone that a voice was learnt with, and whether the one in use is another.

Two marks: up to which frequency speech comes through, and the colour of the
average spectrum of speech. Both are averages over many seconds; no speech can
be had back from them.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import RATE_HZ, filter_banks
from voicelog.learning.profiles import Profile

Sound = NDArray[np.int16]

NARROW_HZ, WIDE_HZ = 4000.0, 6000.0
BAND_BINS_dB = 50.0  # below the loudest band: nothing comes through
BANDS = 16  # of the colour, four filter banks each
# Root mean square over the bands. Halves of 26 people's recordings in CMU AN4 (20 s each, one microphone) lay 1.0 dB
# apart in the median and 3.2 at most; a slope of 3 dB an octave, which is little between two microphones, lay at 4.7.
OTHER_COLOUR_dB = 4.5
ENOUGH_S = 15.0  # of one person's speech before the microphone is judged


@dataclass
class MicrophoneWatch:
    """Gathers what each person says, and remarks once a visit on a microphone unlike the profile's."""

    _gathered: dict[str, list[Sound]] = field(default_factory=dict)
    _done: set[str] = field(default_factory=set)

    def remark(self, profile: Profile, sound: Sound) -> str:
        """One sentence when ``sound`` completes what is needed and the microphone is another; otherwise empty."""
        if profile.name in self._done:
            return ""
        pieces = self._gathered.setdefault(profile.name, [])
        pieces.append(sound)
        if sum(map(len, pieces)) < ENOUGH_S * RATE_HZ:
            return ""
        self._done.add(profile.name)
        return microphone_remark(profile, np.concatenate(self._gathered.pop(profile.name)))


def microphone_remark(profile: Profile, sound: Sound) -> str:
    """One sentence when the microphone in use is not like the profile's; empty when it is."""
    band, learnt = band_of(sound), profile.about.band_Hz
    if learnt > WIDE_HZ and band < NARROW_HZ:
        return (
            f"This microphone carries speech only up to {band / 1000:.1f} kilohertz; the voice of {profile.name} was "
            f"learnt with one that carries {learnt / 1000:.1f}. Learning again with this one will help."
        )
    if learnt < NARROW_HZ and band > WIDE_HZ:
        return (
            f"The voice of {profile.name} was learnt through a narrow line, {learnt / 1000:.1f} kilohertz; "
            "this microphone is better. Learning again with it will help."
        )
    if profile.about.colour_dB and colour_distance(profile.about.colour_dB, colour_of(sound)) > OTHER_COLOUR_dB:
        return (
            f"This sounds unlike the microphone {profile.name}'s voice was learnt with: another one, worn elsewhere, "
            "or in a louder place. If words go wrong, learning again with it will help."
        )
    return ""


def band_of(sound: Sound) -> float:
    """Up to which frequency, in hertz, speech comes through."""
    banks = filter_banks(sound, dither=0.0)
    if len(banks) < 10:
        return RATE_HZ / 2
    energy = banks.mean(axis=1)
    speech = np.exp(banks[energy >= np.percentile(energy, 60)]).mean(axis=0)
    edges = np.linspace(np.log1p(20 / 700), np.log1p(7600 / 700), len(speech) + 2)
    hertz = 700 * np.expm1(edges[2:])
    carried = 10 * np.log10(speech + 1e-9) > 10 * np.log10(speech.max() + 1e-9) - BAND_BINS_dB
    return float(hertz[carried].max())


def colour_of(sound: Sound) -> tuple[float, ...]:
    """Sixteen levels of speech from low to high, in decibels about their mean; empty under a tenth of a second."""
    banks = filter_banks(sound, dither=0.0)
    if len(banks) < 10:
        return ()
    energy = banks.mean(axis=1)
    quiet, loud = np.percentile(energy, (5, 95))
    speech = banks[energy >= quiet + 0.5 * (loud - quiet)].mean(axis=0)
    levels = 10 / np.log(10) * speech.reshape(BANDS, -1).mean(axis=1)
    return tuple((levels - levels.mean()).round(2).tolist())


def colour_distance(one: tuple[float, ...], other: tuple[float, ...]) -> float:
    """Decibels, root mean square."""
    return float(np.sqrt(np.mean(np.subtract(one, other) ** 2))) if one and other else 0.0
