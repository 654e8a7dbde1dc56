"""Words that another fits nearly as well are told, with rows made by hand for a network."""

import numpy as np

from tests.learning.test_alignment import rows
from voicelog.learning import said as room
from voicelog.learning.adaptation import Spoken
from voicelog.learning.risky import Risk, risky_words, rivals

WAYS = {
    "five": (("F", "AY", "V"),), "nine": (("N", "AY", "N"),), "one": (("W", "AH", "N"),), "ohms": (("OW", "M", "Z"),),
}  # fmt: skip


def pronounce(word):
    return WAYS.get(word, (("ZH", "ZH", "ZH"),))


def heard(monkeypatch, *paths_and_share):
    outputs = iter([rows(path, share) for path, share in paths_and_share])
    monkeypatch.setattr(room, "log_posteriors", lambda model, banks: next(outputs))
    monkeypatch.setattr(room, "filter_banks", lambda sound: np.zeros((30, 64)))
    return tuple(Spoken(np.zeros(4800, np.int16), ("nine",)) for _ in paths_and_share)


def test_a_word_near_another_is_told_with_how_often(monkeypatch):
    clear, blurred = ("- N AY N - - - - - -", 0.99), ("- F AY V - - - - - -", 0.5)
    risks = risky_words(None, heard(monkeypatch, clear, blurred), pronounce)
    assert risks == (Risk("nine", "five", near=1, of=2),)
    assert str(risks[0]) == "nine (near five, 1 of 2 times)"


def test_clear_words_are_not_told(monkeypatch):
    assert risky_words(None, heard(monkeypatch, ("- N AY N - - - - - -", 0.99)), pronounce) == ()


def test_digits_are_held_against_each_other_and_other_words_against_their_pairs():
    assert {"five", "one", "seven"} <= set(rivals("nine"))
    assert rivals("megohms") == ("ohms",)
    assert rivals("circuit") == ()
