"""The crew's recogniser, with networks that say what the test wants."""

import numpy as np
import pytest

from tests.learning.test_voice_print import voice
from tests.learning.test_who import HIGH, LOW, profile
from voicelog.learning.crew import CrewRecogniser, Member
from voicelog.model import Heard, Hypothesis, Word

SOUND = voice(*LOW, 5)  # two seconds


def heard(word, cost, start=0.0, end=1.0):
    words = (Word(text=word, start_s=start, end_s=end),)
    return Heard(hypotheses=(Hypothesis(words=words, cost=cost),), start_s=start, end_s=end, filler_margin=5.0)


class First:
    """Hears one utterance in every piece."""

    taken_s, speaking = 2.0, False

    def __init__(self):
        self.forgot = False

    def hear(self, samples):
        yield heard("said", 50, 0.8, 1.8)

    def finish(self):
        yield from ()

    def forget(self):
        self.forgot = True


def crew(kit, robin, general=60):
    def network(word, cost):
        return lambda sound: heard(word, cost, 0.3, 1.3)

    members = (Member(profile("Kit", LOW), network("zed", kit)), Member(profile("Robin", HIGH), network("said", robin)))
    return CrewRecogniser(First(), network("set", general), members)


def test_the_better_network_gives_words_and_speaker_at_their_place():
    (found,) = crew(kit=30, robin=80).hear(SOUND)
    assert (found.texts, found.speaker) == (("zed",), "Kit")
    assert (found.start_s, found.end_s) == (pytest.approx(0.8), pytest.approx(1.8))
    assert found.hypotheses[0].words[0].start_s == pytest.approx(0.8)
    assert found.filler_margin == 5.0


def test_a_stranger_is_heard_by_the_general_network():
    (found,) = crew(kit=30, robin=31).hear(voice(400, (1100, 3300), 5))
    assert (found.texts, found.speaker) == (("set",), "")


def test_when_no_network_hears_words_the_first_one_counts():
    nothing = Heard(hypotheses=())
    recogniser = CrewRecogniser(First(), lambda sound: nothing, ())
    (found,) = recogniser.hear(np.zeros(32000, np.int16))
    assert found.texts == ("said",)


def test_the_rest_is_the_first_recogniser():
    recogniser = crew(1, 2)
    assert (recogniser.taken_s, recogniser.speaking, list(recogniser.finish())) == (2.0, False, [])
    recogniser.forget()
    assert recogniser._first.forgot
