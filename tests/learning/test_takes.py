"""What is said about one attempt at a phrase: each reason with a sound that has it."""

import numpy as np
import pytest

from tests.learning.test_adaptation import sound as carriers
from tests.networks import random_network
from voicelog.hearing.filterbank import filter_banks
from voicelog.hearing.network import log_posteriors
from voicelog.hearing.phones import PHONES
from voicelog.learning.adaptation import heard_freely
from voicelog.learning.takes import Outcome, judge_take
from voicelog.learning.voice_print import voice_print

MODEL = random_network(seed=2)


def pronounce(word):
    return (tuple(word.split("_")),)


def spoken(seed: int = 1, noise: float = 0.0, deep: bool = False) -> np.ndarray:
    """Half a second of quiet on each side of something loud."""
    rng = np.random.default_rng(seed)
    samples = np.concatenate([np.zeros(8000), carriers(seed) * 0.5, np.zeros(8000)])
    hum = sum(np.sin(2 * np.pi * hertz * np.arange(len(samples)) / 16000) for hertz in (49, 98, 147))
    samples += noise * (hum * 1.4 if deep else rng.normal(size=len(samples))) + rng.normal(size=len(samples)) * 3
    return samples.clip(-32768, 32767).astype(np.int16)


def said(samples) -> str:
    return "_".join(PHONES[label - 1] for label in heard_freely(log_posteriors(MODEL, filter_banks(samples))))


def test_what_was_asked_for_is_good():
    take = judge_take(spoken(), said(spoken()), MODEL, pronounce, [])
    assert take.outcome is Outcome.GOOD
    assert take.advice == ""
    assert take.print is not None


@pytest.mark.parametrize(
    ("samples", "outcome", "hint"),
    [
        (np.zeros(32000, np.int16), Outcome.SILENCE, "muted"),
        (spoken(noise=3000)[:8000], Outcome.SILENCE, "nobody"),
        ((spoken() * 40.0).clip(-32768, 32767).astype(np.int16), Outcome.TOO_LOUD, "hand's breadth"),
        ((spoken() / 200).astype(np.int16), Outcome.TOO_QUIET, "closer"),
        (spoken(noise=700, deep=True), Outcome.NOISY, "fan"),
        (spoken(noise=1200), Outcome.NOISY, "noise"),
    ],
)
def test_spoilt_sound_is_told_in_words_that_help(samples, outcome, hint):
    take = judge_take(samples, said(spoken()), MODEL, pronounce, [])
    assert take.outcome is outcome
    assert hint in take.advice
    assert take.alignment is None


def test_other_words_are_not_taken_for_the_ones_asked():
    take = judge_take(spoken(), "ZH_OY_ZH_OY_TH", MODEL, pronounce, [])
    assert take.outcome in (Outcome.SOMETHING_ELSE, Outcome.HEARD_BADLY)
    assert take.advice


def test_another_voice_is_a_question():
    own = voice_print(spoken())
    take = judge_take(spoken(), said(spoken()), MODEL, pronounce, [own + 20.0] * 4)
    assert take.outcome is Outcome.ANOTHER_VOICE
    assert take.advice.endswith("?")
    assert judge_take(spoken(), said(spoken()), MODEL, pronounce, [own] * 4).good


def test_the_first_phrases_know_nobody_yet():
    own = voice_print(spoken())
    assert judge_take(spoken(), said(spoken()), MODEL, pronounce, [own + 20.0] * 2).good
