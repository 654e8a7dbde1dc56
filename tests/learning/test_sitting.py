"""A sitting with a person made of plain values, and phrases cut out of a stream."""

import numpy as np
import pytest

from tests.learning.test_enrolment import SOUND, judge
from voicelog.errors import InputError
from voicelog.learning.enrolment import Enrolment
from voicelog.learning.phrase_recording import one_phrase
from voicelog.learning.profiles import Profiles
from voicelog.learning.sitting import Desk, begin, sitting
from voicelog.learning.takes import Outcome


class Person:
    def __init__(self, answers=(), stops_after=99):
        self.shown, self.asked, self.answers, self.left = [], [], list(answers), stops_after

    def ask(self, question):
        self.asked.append(question)
        return self.answers.pop(0)

    def listen(self):
        if not self.left:
            raise KeyboardInterrupt
        self.left -= 1
        return SOUND

    @property
    def desk(self):
        return Desk(self.shown.append, self.ask, self.listen)


START = Enrolment(("affirm", "negative"))


def in_turn(*outcomes):
    left = list(outcomes)
    return lambda *arguments: judge(left.pop(0))(*arguments)


def test_phrases_are_shown_until_all_are_said(tmp_path):
    person = Person()
    state = sitting(Profiles(tmp_path), "Kit", START, in_turn(*[Outcome.GOOD] * 2), person.desk)
    assert person.shown == ["affirm", "negative"]
    assert len(state.accepted) == 2


def test_advice_is_shown_and_the_phrase_again(tmp_path):
    person = Person()
    sitting(Profiles(tmp_path), "Kit", START, in_turn(Outcome.NOISY, Outcome.GOOD, Outcome.GOOD), person.desk)
    assert person.shown == ["affirm", "advice", "affirm", "negative"]


def test_another_voice_is_asked_about_and_not_mixed_in(tmp_path):
    person = Person(answers=[False])
    outcomes = (Outcome.ANOTHER_VOICE, Outcome.GOOD, Outcome.GOOD)
    state = sitting(Profiles(tmp_path), "Kit", START, in_turn(*outcomes), person.desk)
    assert len(person.asked) == 1
    assert [item.phrase for item in state.accepted] == ["affirm", "negative"]


def test_stopping_keeps_what_was_said(tmp_path, grammar):
    profiles = Profiles(tmp_path)
    with pytest.raises(KeyboardInterrupt):
        sitting(profiles, "Kit", START, in_turn(Outcome.GOOD), Person(stops_after=1).desk)
    again = begin(profiles, "Kit", grammar)
    assert (again.waiting, len(again.accepted)) == (("negative",), 1)
    assert profiles.names() == ()  # nothing is learnt yet


def test_a_new_person_gets_a_plan(tmp_path, grammar):
    assert begin(Profiles(tmp_path), "Robin", grammar, minutes=0.5).phrase
    with pytest.raises(InputError):
        begin(Profiles(tmp_path), "a/b", grammar)


# ---------------------------------------------------------------- one phrase out of a stream


def stream(*parts: tuple[float, float]):
    """Pieces of 60 ms of noise: (seconds, loudness)."""
    rng = np.random.default_rng(0)
    sound = np.concatenate([rng.normal(0, loud, round(seconds * 16000)) for seconds, loud in parts]).astype(np.int16)
    return [sound[first : first + 960] for first in range(0, len(sound), 960)]


def seconds(sound):
    return len(sound) / 16000


def test_a_phrase_begins_a_little_early_and_ends_after_a_pause():
    sound = one_phrase(stream((1, 20), (2, 2000), (3, 20), (1, 2000)))
    assert seconds(sound) == pytest.approx(0.4 + 2 + 0.9, abs=0.15)


def test_a_short_pause_within_a_phrase_does_not_end_it():
    assert seconds(one_phrase(stream((1, 20), (1, 2000), (0.5, 20), (1, 2000), (2, 20)))) > 3.5


@pytest.mark.parametrize(
    ("parts", "most"), [([(30, 20)], 8.1), ([(1, 20), (30, 2000)], 12.6), ([(2, 20), (1, 2000)], 1.5), ([], 0)]
)
def test_nothing_waits_for_ever(parts, most):
    pieces = stream(*parts) if parts else []
    assert seconds(one_phrase(iter(pieces))) <= most
