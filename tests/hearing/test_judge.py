"""The judge beside the recogniser: talk fits it better than a call does. Talk and calls by the program's own voice."""

import numpy as np
import pytest
import soxr

from voicelog import visiting
from voicelog.hearing.audio import RATE_HZ
from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.model_folder import common_words, open_folder, prepared, prepared_judge
from voicelog.hearing.recogniser import Recogniser, hear_all
from voicelog.talking.loudspeaker import RATE_HZ as VOICE_HZ
from voicelog.talking.natural import NaturalVoice

VISIT = visiting.open_visit_or_demo(None)
GRAPH = visiting.word_graph(VISIT)
VOICE = NaturalVoice()


def margin(words: str, judge) -> float:
    """The least of all utterances in the sound."""
    sound = soxr.resample(VOICE.render(words, 1.0).astype(np.float32), VOICE_HZ, RATE_HZ)
    sound = np.pad(sound * (8000 / np.abs(sound).max()), RATE_HZ).astype(np.int16)
    return min(heard.filler_margin for heard in hear_all(Recogniser(prepared(open_folder(), GRAPH), judge), [sound]))


@pytest.fixture(scope="module")
def judge():
    return prepared_judge(open_folder(), GRAPH.words)


def test_no_common_word_sounds_like_a_word_of_the_grammar():
    """It would explain the call as well as the call itself: "for" for "four", "too" for "two"."""
    pronounce = bundled_lexicon().pronounce
    called = {way for word in GRAPH.words for way in pronounce(word)}
    free = sorted(common_words() - set(GRAPH.words))
    assert len(free) > 400
    assert [word for word in free if called & set(pronounce(word))] == []


def test_a_circuit_named_with_a_common_word_is_not_judged_by_it(judge):
    assert prepared_judge(open_folder(), (*GRAPH.words, "about")) != judge


@pytest.mark.parametrize(
    "call", ["circuit nine zed s nought point five two ohms", "earth leakage one point nine milliamps"]
)
def test_a_call_beats_any_talk(call, judge):
    assert margin(call, judge) > 5


@pytest.mark.parametrize("talk", ["we should get another one before you go", "have you seen what they did to my house"])
def test_common_words_are_better_explained_as_talk(talk, judge):
    phones_alone = prepared_judge(open_folder(), common_words() | set(GRAPH.words))
    assert margin(talk, judge) < min(0, margin(talk, phones_alone) - 3)
