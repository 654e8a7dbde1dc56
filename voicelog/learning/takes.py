"""One phrase said by request: is it good to learn from, and if not, what helps.

Level, clipping and noise are looked at first, since they spoil everything
else; then whether these words were said, and whether this is still the same person.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.audio import Level, NOISY_dB, level_of
from voicelog.hearing.filterbank import FFT, RATE_HZ, filter_banks
from voicelog.hearing.network import AcousticModel, log_posteriors
from voicelog.learning.alignment import Alignment, Pronounce, align
from voicelog.learning.voice_print import ONE_PHRASE, SEVERAL_PHRASES, Numbers, distance, mean_print, voice_print

Sound = NDArray[np.int16]

CLIPPED = 0.001  # share of samples at full scale: one in a thousand crackles
QUIET_dB = -50.0  # of full scale
NOTHING_dB = 6.0  # loudest tenth over quietest tenth: less is no speech
# Nats a phone, measured with the bundled network on people and voices it was not trained on, clean and at 10 dB: words
# that were said lie at 0.5 (95 of 100; the worst word at 2.5), other words at 4.5 or more (all), a single other word
# at 4.4 (95 of 100). An unusual accent lies higher than the people measured, hence the room.
WELL = 2.0
OTHER = 4.0
WORD = 5.0  # for the worst word
STARTED = 3  # phrases after which the person is known well enough to notice another
DEEP = 0.75  # share of the noise below 500 Hz that speaks for a fan or an engine


class Outcome(StrEnum):
    GOOD = "good"
    SILENCE = "silence"
    TOO_LOUD = "too loud"
    TOO_QUIET = "too quiet"
    NOISY = "noisy"
    SOMETHING_ELSE = "something else was said"
    HEARD_BADLY = "heard badly"
    ANOTHER_VOICE = "perhaps another person"


@dataclass(frozen=True, eq=False)
class Take:
    """What came of one attempt at a phrase."""

    outcome: Outcome
    advice: str  # one sentence for the person; empty when all is well
    level: Level
    alignment: Alignment | None = None
    print: Numbers | None = None  # where the words asked for were said

    @property
    def good(self) -> bool:
        return self.outcome is Outcome.GOOD


def judge_take(sound: Sound, phrase: str, model: AcousticModel, pronounce: Pronounce, earlier: list[Numbers]) -> Take:
    """Judge ``sound`` (16 kHz, mono, 16 bit) against the words asked for and the prints of takes already accepted."""
    level = level_of(sound)
    spoilt = _spoilt(sound, level)
    if spoilt:
        return Take(*spoilt, level)
    alignment = align(log_posteriors(model, filter_banks(sound)), tuple(phrase.split()), pronounce)
    if alignment.gap > OTHER:
        return Take(Outcome.SOMETHING_ELSE, f"That was something else. Please say: {phrase}.", level, alignment)
    own = voice_print(sound)
    if _another_voice(own, earlier):
        question = "That sounded like another person or another microphone. Are you still the same person?"
        return Take(Outcome.ANOTHER_VOICE, question, level, alignment, own)
    worst = max(alignment.words, key=lambda word: word.gap)
    if alignment.gap > WELL or worst.gap > WORD:
        advice = f"I did not hear {worst.text!r} well. Please say it once more: {phrase}."
        return Take(Outcome.HEARD_BADLY, advice, level, alignment, own)
    return Take(Outcome.GOOD, "", level, alignment, own)


def _spoilt(sound: Sound, level: Level) -> tuple[Outcome, str] | None:
    if level.silent:
        return Outcome.SILENCE, "I heard nothing at all: is the microphone muted?"
    if level.clipped > CLIPPED:
        return Outcome.TOO_LOUD, "Too loud: move the microphone a hand's breadth away, or lower its level."
    above = level.speech_dB - level.floor_dB
    if above < NOTHING_dB:
        return Outcome.SILENCE, "I heard nobody speak. Please say the phrase after the tone."
    if level.speech_dB < QUIET_dB:
        return Outcome.TOO_QUIET, "Too quiet: bring the microphone closer to your mouth."
    if above < NOISY_dB:
        return Outcome.NOISY, _noise_advice(sound)
    return None


def _noise_advice(sound: Sound) -> str:
    """Deep noise speaks for a fan or an engine nearby, other noise for the room."""
    window = RATE_HZ // 5
    pieces = sound[: len(sound) // window * window].reshape(-1, window).astype(np.float64)
    quietest = pieces[np.argmin((pieces**2).mean(axis=1))]
    power = np.abs(np.fft.rfft(quietest, max(FFT, window))) ** 2
    hertz = np.fft.rfftfreq(max(FFT, window), 1 / RATE_HZ)
    if power[hertz < 500].sum() > DEEP * power[hertz > 20].sum():
        return "Too close to the fan or the engine: step away from it and say it again."
    return "There is too much noise: find a quieter place, or bring the microphone to the corner of the mouth."


def _another_voice(own: Numbers, earlier: list[Numbers]) -> bool:
    """One phrase far off, or this and the one before together."""
    if len(earlier) < STARTED:
        return False
    if distance(own, mean_print(earlier)) > ONE_PHRASE:
        return True
    before = earlier[:-1]
    return len(before) >= STARTED and distance(mean_print([own, earlier[-1]]), mean_print(before)) > SEVERAL_PHRASES
