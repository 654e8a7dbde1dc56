"""A crew of known voices: the general network leads, the better fitting one counts."""

from types import SimpleNamespace

import numpy as np

from voicelog.learning.crew import CrewRecogniser, Member
from voicelog.model import Heard, Hypothesis, Word


class Scripted:
    """A recogniser double that ends an utterance after so many pieces, with these words at this cost."""

    def __init__(self, text, cost, ends_after):
        self.text, self.cost, self.ends_after = text, cost, ends_after
        self.pieces = 0
        self.speaking = False

    @property
    def taken_s(self):
        return self.pieces * 0.06

    def _heard(self):
        words = tuple(Word(text=text, end_s=0.06) for text in self.text.split())
        return Heard(hypotheses=(Hypothesis(words=words, cost=self.cost),), end_s=0.06 * self.pieces)

    def hear(self, samples):
        self.pieces += 1
        if self.pieces == self.ends_after:
            yield self._heard()

    def finish(self):
        yield self._heard()

    def forget(self):
        self.forgotten = True


def person(name):
    return SimpleNamespace(name=name, about=SimpleNamespace(print=()), print=np.zeros(0))


def crew(general, **people):
    members = tuple(Member(person(name), recogniser) for name, recogniser in people.items())
    return CrewRecogniser(general, members)


SOUND = np.zeros(960 * 5, np.int16)


def test_the_better_fitting_voice_counts_and_is_named():
    heard = list(
        crew(Scripted("fifty", 20.0, 5), ann=Scripted("fifteen", 8.0, 4), bob=Scripted("fifty", 15.0, 6)).hear(SOUND)
    )
    assert [(one.texts, one.speaker) for one in heard] == [(("fifteen",), "ann")]


def test_a_network_that_has_not_ended_gives_what_it_has():
    heard = list(crew(Scripted("fifty", 20.0, 5), ann=Scripted("fifteen", 8.0, 99)).hear(SOUND))
    assert heard[0].speaker == "ann"


def test_after_each_utterance_all_begin_anew():
    ann = Scripted("fifteen", 8.0, 2)
    list(crew(Scripted("fifty", 20.0, 5), ann=ann).hear(SOUND))
    assert ann.forgotten


def test_a_microphone_unlike_the_profile_is_told_once(monkeypatch):
    told, ann = [], Scripted("fifteen", 8.0, 5)
    monkeypatch.setattr(
        "voicelog.learning.crew.MicrophoneWatch.remark", lambda self, profile, sound: f"not {profile.name}'s"
    )
    members = (Member(person("ann"), ann), Member(person("bob"), Scripted("fifty", 15.0, 5)))
    list(CrewRecogniser(Scripted("fifty", 20.0, 5), members, told.append).hear(SOUND))
    assert told == ["not ann's"]


def test_without_known_voices_the_general_network_is_heard():
    heard = list(crew(Scripted("fifty", 20.0, 5)).hear(SOUND))
    assert (heard[0].texts, heard[0].speaker) == (("fifty",), "")
