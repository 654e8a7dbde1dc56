"""The ear that hears sound: what it passes on, what it is deaf to, when it tells of silence."""

from queue import SimpleQueue

import numpy as np

from voicelog.hearing.audio import FELL_BEHIND, PIECE, Loss, Piece
from voicelog.hearing.ear import Lost, Pressed, Quiet
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.listening import SHOUT, TALK, OwnVoice, SoundEar
from voicelog.model import Heard, Hypothesis, Word

PIECES_A_SECOND = RATE_HZ / PIECE


class LoudMeansWord:
    """A recogniser double: every piece that is not silence is an utterance of one word."""

    def __init__(self):
        self.taken = 0
        self.voided = 0
        self.speaking = False  # words are being said that have not ended yet

    @property
    def taken_s(self):
        return self.taken / RATE_HZ

    def hear(self, samples):
        start_s = self.taken_s
        self.taken += len(samples)
        if np.any(samples):
            word = Word(text="affirm", start_s=start_s, end_s=self.taken_s)
            yield Heard(hypotheses=(Hypothesis(words=(word,)),), start_s=start_s, end_s=self.taken_s)

    def forget(self):
        self.voided += 1

    def finish(self):
        return iter(())


def piece(level=0, at=float("inf"), lost=None):
    return Piece(np.full(PIECE, level, np.int16), at, lost)


def kinds(ear):
    return [type(event) for event in ear.events()]


def test_an_utterance_comes_with_its_sound():
    ear = SoundEar(LoudMeansWord(), [piece(), *[piece(100)], *[piece()] * 10])
    heard = next(event for event in ear.events() if isinstance(event, Heard))
    assert 100 in ear.sound(heard)


def test_its_own_voice_is_not_heard():
    pieces = [piece(100, at=1.0), piece(100, at=3.0)]
    ear = SoundEar(LoudMeansWord(), pieces, own_voice=OwnVoice(until=lambda: 2.0))
    assert kinds(ear) == [Heard]


def test_a_raised_voice_ends_a_prompt_and_a_knock_does_not():
    stopped = []
    voice = OwnVoice(until=lambda: 2.0, stop=lambda: stopped.append(True))
    loud, soft = round(SHOUT * 1.2), round(SHOUT * 0.5)
    knocks = [piece(loud, at=1.0), piece(soft, at=1.0)] * 6
    list(SoundEar(LoudMeansWord(), knocks, own_voice=voice).events())
    assert stopped == []
    list(SoundEar(LoudMeansWord(), [piece(loud, at=1.0)] * 4, own_voice=voice).events())
    assert stopped == [True]


def test_silence_is_told_after_four_and_after_eight_seconds_and_then_anew():
    ear = SoundEar(LoudMeansWord(), [piece()] * round(17 * PIECES_A_SECOND))
    told = [round(event.seconds) for event in ear.events() if isinstance(event, Quiet)]
    assert told == [4, 8, 4, 8]


def test_no_silence_is_told_while_somebody_speaks():
    recogniser = LoudMeansWord()
    recogniser.speaking = True
    assert kinds(SoundEar(recogniser, [piece()] * round(9 * PIECES_A_SECOND))) == []


def test_no_silence_is_told_while_the_program_speaks():
    pieces = [piece(at=1.0)] * round(9 * PIECES_A_SECOND)
    assert kinds(SoundEar(LoudMeansWord(), pieces, own_voice=OwnVoice(until=lambda: 2.0))) == []


def test_lost_sound_voids_what_was_being_said():
    recogniser = LoudMeansWord()
    events = list(SoundEar(recogniser, [piece(), piece(lost=FELL_BEHIND), piece()]).events())
    assert [type(event) for event in events] == [Lost]
    assert recogniser.voided == 1


def test_a_long_gap_voids_and_was_a_silence():
    gap = Loss("no sound came for 30 s", "listening again", gap_s=30.0)
    events = list(SoundEar(LoudMeansWord(), [piece(), piece(lost=gap)]).events())
    assert [(event.why, event.say) for event in events[:1]] == [("no sound came for 30 s", "listening again")]
    assert [event.seconds for event in events[1:]] == [30.0]


def test_hands_are_looked_for_while_the_microphone_is_away():
    hand, nothing = SimpleQueue(), Piece(np.zeros(0, np.int16), 1.0)
    hand.put(Pressed("affirm", 7))
    speaking = OwnVoice(until=lambda: 2.0)
    assert list(SoundEar(LoudMeansWord(), [nothing] * 3, hand, speaking).events()) == [Pressed("affirm", 7)]


def test_push_to_talk_hears_one_utterance_a_press():
    hand = SimpleQueue()

    def pieces():
        yield piece(100)
        hand.put(Pressed(TALK))
        yield piece(100)  # pressed too late for this one's beginning: looked for before the next
        yield piece(100)
        yield piece(100)

    ear = SoundEar(LoudMeansWord(), pieces(), hand, push_to_talk=True)
    assert kinds(ear) == [Heard]


def test_answers_by_hand_come_between():
    hand = SimpleQueue()
    hand.put(Pressed("affirm", 7))
    events = list(SoundEar(LoudMeansWord(), [piece(), piece(100)], hand).events())
    assert events[0] == Pressed("affirm", 7)
    assert isinstance(events[1], Heard)
