"""A minute of a building site at a time: talk near and far, noise under it. Made from a seed: it can be made again.

Voices are the program's own two: the natural one, and eSpeak NG in several accents and larynges, one accent of which
(en-029) shared/splits.toml keeps out of training; no sound of eSpeak NG is in the training at all, only its phonemes.
Each is stretched a little in pitch, so that dozens of people seem to speak. Noise comes from a folder of recordings,
or is made: broadband, hum, hammering.
"""

import random
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple

import numpy as np
import soxr
from scipy.signal import butter, sosfilt

from voicelog.hearing.audio import RATE_HZ as EAR_HZ
from voicelog.hearing.audio import sound_pieces
from voicelog.talking.espeak import EspeakVoice
from voicelog.talking.loudspeaker import RATE_HZ as VOICE_HZ
from voicelog.talking.natural import NaturalVoice

MINUTE = 60 * EAR_HZ
ACCENTS = ("en-029", "gmw/en", "gmw/en-US", "gmw/en-GB-scotland", "gmw/en-GB-x-gbcwmd", "en-gb-x-rp")
LARYNGES = ("", "+f2", "+f3", "+f4", "+m3", "+m7")
NATURALLY = 0.4  # share of sentences in the natural voice
PITCH = (0.86, 1.16)  # of the recording's rate
PACE = (0.85, 1.35)
FAR_dB = -12.0
RADIO_Hz = (300.0, 3400.0)  # the band of a telephone or a hand-held radio

Sound = np.ndarray  # float64 at 16 kHz


@dataclass(frozen=True)
class Setting:
    """How loud, how close together, in what company."""

    pause_s: tuple[float, float] = (0.2, 2.5)  # between sentences of a talker
    talk_dB: tuple[float, float] = (-38.0, -16.0)  # under full scale, over a sentence
    noise_dB: tuple[float, float] = (-62.0, -26.0)
    others: float = 0.4  # share of minutes with several people talking further off


TALK = Setting()
CALLS = Setting(pause_s=(1.2, 2.5), talk_dB=(-32.0, -16.0), noise_dB=(-62.0, -38.0), others=0.0)


@dataclass
class Talkers:
    """The voices at hand."""

    natural: NaturalVoice = field(default_factory=NaturalVoice)

    def say(self, text: str, draw: random.Random) -> Sound:
        """One sentence by somebody, at 16 kHz."""
        voice = self.natural if draw.random() < NATURALLY else EspeakVoice(draw.choice(ACCENTS) + draw.choice(LARYNGES))
        sound = voice.render(text, draw.uniform(*PACE))
        return soxr.resample(sound.astype(np.float64), VOICE_HZ * draw.uniform(*PITCH), EAR_HZ)


@dataclass(frozen=True)
class Utterance:
    """Somebody's words as sound."""

    text: str
    sound: Sound
    where: str = ""  # the recording's name


class Part(NamedTuple):
    """Where in a minute an utterance lies."""

    text: str
    where: str
    start_s: float
    end_s: float


@dataclass(frozen=True)
class Minute:
    """About 60 s of 16-bit sound at 16 kHz, and what was said in it."""

    samples: np.ndarray
    parts: tuple[Part, ...]
    snr_dB: float  # of near talk to noise

    @property
    def sentences(self) -> tuple[str, ...]:
        return tuple(part.text for part in self.parts)

    def part_at(self, at_s: float) -> Part | None:
        """What was being said, or had just been."""
        begun = [part for part in self.parts if part.start_s <= at_s]
        return begun[-1] if begun else None


def minute(
    draw: random.Random,
    talkers: Talkers,
    sentences: Callable[[], str],
    noises: tuple[Sound, ...] = (),
    setting: Setting = TALK,
) -> Minute:
    """``sentences()`` gives the next sentence; ``noises`` are recordings at 16 kHz, or none."""

    def talk() -> tuple[Sound, tuple[Part, ...]]:
        return _laid(draw, _made_talk(draw, talkers, sentences), setting)

    near, parts = talk()
    far = [talk()[0] for _ in range(draw.randint(2, 4))] if draw.random() < setting.others else []
    return _mixed(draw, near, far, parts, noises, setting)


def recorded_minute(
    draw: random.Random,
    near: Sequence[Utterance],
    far: Iterable[Sequence[Utterance]],
    noises: tuple[Sound, ...] = (),
    setting: Setting = TALK,
) -> Minute:
    """``near`` speak in turn, all of them, however long it takes; each of ``far`` is somebody talking further off."""
    track, parts = _laid(draw, near, setting, whole=True)
    return _mixed(draw, track, [_laid(draw, one, setting)[0] for one in far], parts, noises, setting)


def babble(draw: random.Random, talkers: Iterable[Sequence[Utterance]], noises: tuple[Sound, ...] = ()) -> Minute:
    """Several people at once through a radio's band: words in it, and nobody to be understood."""
    tracks = [_laid(draw, one, TALK)[0] for one in talkers]
    heard = sosfilt(butter(4, RADIO_Hz, "bandpass", fs=EAR_HZ, output="sos"), sum(tracks))
    return _mixed(draw, heard, [], (), noises, TALK)


def _mixed(
    draw: random.Random,
    near: Sound,
    far: list[Sound],
    parts: tuple[Part, ...],
    noises: tuple[Sound, ...],
    setting: Setting,
) -> Minute:
    if far:
        near = near + np.resize(sum(far), len(near)) * 10 ** (FAR_dB / 20)
    noise = np.resize(_levelled(_noise(draw, noises), draw.uniform(*setting.noise_dB)), len(near))
    mixed = near + noise
    mixed *= min(1.0, 0.97 / np.abs(mixed).max())
    return Minute(np.round(mixed * 32767).astype(np.int16), parts, _ratio_dB(near, noise))


def noise_alone(draw: random.Random, noises: tuple[Sound, ...] = ()) -> np.ndarray:
    """60 s of 16-bit sound at 16 kHz in which nobody speaks."""
    noise = _levelled(_noise(draw, noises), draw.uniform(*TALK.noise_dB))
    return np.round(noise.clip(-0.97, 0.97) * 32767).astype(np.int16)


def _made_talk(draw: random.Random, talkers: Talkers, sentences: Callable[[], str]) -> Iterator[Utterance]:
    while True:
        text = sentences()
        yield Utterance(text, talkers.say(text, draw))


def _laid(
    draw: random.Random, utterances: Iterable[Utterance], setting: Setting, whole: bool = False
) -> tuple[Sound, tuple[Part, ...]]:
    """One after another with pauses, until the minute is full or, if the ``whole`` is wanted, nobody is left."""
    laid, parts, at = [], [], _pause(draw, setting)
    for one in utterances:
        sound = _levelled(one.sound, draw.uniform(*setting.talk_dB))
        if at + len(sound) > MINUTE and not whole:
            break
        laid.append((at, sound))
        parts.append(Part(one.text, one.where, at / EAR_HZ, (at + len(sound)) / EAR_HZ))
        at += len(sound) + _pause(draw, setting)
    track = np.zeros(max(MINUTE, at))
    for start, sound in laid:
        track[start : start + len(sound)] += sound
    return (track if whole else track[:MINUTE]), tuple(parts)


def _pause(draw: random.Random, setting: Setting) -> int:
    return round(draw.uniform(*setting.pause_s) * EAR_HZ)


def _noise(draw: random.Random, noises: tuple[Sound, ...]) -> Sound:
    if not noises:
        return _made(draw)
    recording = draw.choice(noises)
    first = draw.randrange(len(recording))
    return np.resize(np.roll(recording, -first), MINUTE)


def _made(draw: random.Random) -> Sound:
    """Broadband noise that falls with frequency, mains hum, and now and then a hammer."""
    chance = np.random.default_rng(draw.getrandbits(32))
    spectrum = np.fft.rfft(chance.standard_normal(MINUTE))
    slope = draw.uniform(0.0, 1.0)
    broadband = np.fft.irfft(spectrum / np.maximum(np.arange(len(spectrum)), 50) ** slope, MINUTE)
    time = np.arange(MINUTE) / EAR_HZ
    hum = sum(np.sin(2 * np.pi * 50 * order * time) / order for order in (1, 2, 3, 5))
    knocks = np.zeros(MINUTE)
    knocks[chance.integers(0, MINUTE, draw.randint(0, 40))] = 1.0
    hammer = np.convolve(knocks, np.exp(-np.arange(800) / 120) * chance.standard_normal(800), "same")
    return sum(_levelled(part, draw.uniform(-20, 0)) for part in (broadband, hum, hammer))


def _levelled(sound: Sound, level_dB: float) -> Sound:
    power = np.sqrt((sound**2).mean())
    return sound * (10 ** (level_dB / 20) / power) if power > 0 else sound


def _ratio_dB(talk: Sound, noise: Sound) -> float:
    heard = talk[np.abs(talk) > 0]
    return float(10 * np.log10((heard**2).mean() / (noise**2).mean())) if len(heard) else float("-inf")


def recordings(folder: Path) -> tuple[Sound, ...]:
    """Every sound file of a folder, at 16 kHz. Raises SoundError for one that cannot be read."""
    files = sorted(file for file in folder.iterdir() if file.suffix.lower() in (".wav", ".flac", ".ogg", ".opus"))
    return tuple(np.concatenate(list(sound_pieces(file))).astype(np.float64) / 32768 for file in files)
