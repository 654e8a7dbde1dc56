"""Getting to know a person, with a judge that says what the test wants."""

import json

import numpy as np
import pytest

from voicelog.errors import KeepingError
from voicelog.hearing.audio import level_of
from voicelog.learning.enrolment import ATTEMPTS, STATE, Enrolment
from voicelog.learning.takes import Outcome, Take

SOUND = np.arange(16000, dtype=np.int16)
START = Enrolment(("zed s one ohms", "affirm", "negative"))


def judge(outcome):
    def judged(sound, phrase, earlier):
        print_ = np.ones(10) if outcome in (Outcome.GOOD, Outcome.HEARD_BADLY, Outcome.ANOTHER_VOICE) else None
        return Take(outcome, "" if outcome is Outcome.GOOD else "advice", level_of(sound), print=print_)

    return judged


def test_a_good_take_brings_the_next_phrase():
    state, take = START.take(SOUND, judge(Outcome.GOOD))
    assert take.good
    assert (state.phrase, state.seconds) == ("affirm", 1.0)
    assert state.spoken[0].words == ("zed", "s", "one", "ohms")


def test_a_bad_take_asks_again_and_then_puts_off():
    state = START
    for _ in range(ATTEMPTS):
        assert state.phrase == "zed s one ohms"
        state, _ = state.take(SOUND, judge(Outcome.NOISY))
    assert state.waiting == ("affirm", "negative", "zed s one ohms")
    assert not state.accepted


def test_a_phrase_that_fails_twice_over_is_given_up():
    state = Enrolment(("affirm",))
    for _ in range(2 * ATTEMPTS):
        state, _ = state.take(SOUND, judge(Outcome.SOMETHING_ELSE))
    assert state.phrase == ""
    assert not state.accepted


def test_a_phrase_heard_badly_twice_is_how_this_person_says_it():
    state, take = START.take(SOUND, judge(Outcome.HEARD_BADLY))
    assert take.advice and not state.accepted
    state, _ = state.take(SOUND, judge(Outcome.HEARD_BADLY))
    assert (len(state.accepted), state.phrase) == (1, "affirm")


@pytest.mark.parametrize(("answer", "accepted", "phrase"), [(True, 1, "affirm"), (False, 0, "zed s one ohms")])
def test_another_voice_waits_for_an_answer(answer, accepted, phrase):
    state, take = START.take(SOUND, judge(Outcome.ANOTHER_VOICE))
    assert take.advice
    assert state.asks
    assert not state.accepted
    state = state.same_person(answer)
    assert (len(state.accepted), state.phrase, state.asks) == (accepted, phrase, False)


def test_an_answer_to_no_question_changes_nothing():
    assert START.same_person(True) is START


def test_it_can_be_stopped_and_resumed(tmp_path):
    state, _ = START.take(SOUND, judge(Outcome.GOOD))
    state.save(tmp_path)
    again = Enrolment.resume(tmp_path)
    assert again is not None
    assert (again.waiting, again.seconds) == (state.waiting, 1.0)
    np.testing.assert_array_equal(again.accepted[0].sound, SOUND)
    np.testing.assert_array_equal(again.prints[0], np.ones(10))

    more, _ = again.take(SOUND[:8000], judge(Outcome.GOOD))
    more.save(tmp_path)
    final = Enrolment.resume(tmp_path)
    assert final is not None and [len(item.sound) for item in final.accepted] == [16000, 8000]
    Enrolment.forget(tmp_path)
    assert Enrolment.resume(tmp_path) is None


@pytest.mark.parametrize("damage", ["", "[]", '{"waiting": []}'])
def test_a_damaged_state_is_refused_in_words(tmp_path, damage):
    (tmp_path / STATE).write_text(damage)
    with pytest.raises(KeepingError):
        Enrolment.resume(tmp_path)


def test_lost_takes_are_refused_in_words(tmp_path):
    state, _ = START.take(SOUND, judge(Outcome.GOOD))
    state.save(tmp_path)
    (tmp_path / "take-001.flac").unlink()
    with pytest.raises(KeepingError):
        Enrolment.resume(tmp_path)
    assert json.loads((tmp_path / STATE).read_text())["accepted"]
