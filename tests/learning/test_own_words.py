"""A person's own pronunciations, with a network replaced by rows made by hand."""

import numpy as np
import pytest

from tests.learning.test_alignment import rows
from voicelog.learning import said as room
from voicelog.learning.adaptation import Spoken
from voicelog.learning.own_words import own_words, variants

WAYS = {"three": (("TH", "R", "IY"),), "nine": (("N", "AY", "N"),)}
THREE_AS_FREE, THREE = "- F R IY - - - - - -", "- TH R IY - - - - - -"


@pytest.fixture
def heard(monkeypatch):
    """Makes the network hear the rows given, one after the other."""

    def hear(*paths):
        outputs = iter([rows(path, 0.95) for path in paths])
        monkeypatch.setattr(room, "log_posteriors", lambda model, banks: next(outputs))
        monkeypatch.setattr(room, "filter_banks", lambda sound: np.zeros((30, 64)))
        return tuple(Spoken(np.zeros(4800, np.int16), ("three",)) for _ in paths)

    return hear


def test_a_way_that_always_wins_is_added(heard):
    phrases = heard(THREE_AS_FREE, THREE_AS_FREE, THREE_AS_FREE, THREE_AS_FREE)
    assert own_words(None, phrases, WAYS.__getitem__) == {"three": (("F", "R", "IY"),)}


@pytest.mark.parametrize(
    "paths",
    [
        (THREE_AS_FREE, THREE_AS_FREE),  # too seldom
        (THREE_AS_FREE, THREE, THREE, THREE_AS_FREE),  # half the time
        (THREE, THREE, THREE),  # the dictionary serves
    ],
)
def test_the_dictionary_stays_when_it_serves(heard, paths):
    assert own_words(None, heard(*paths), WAYS.__getitem__) == {}


def test_variants_change_one_phone():
    found = variants(WAYS["three"])
    assert ("F", "R", "IY") in found
    assert ("TH", "IY") in found
    assert WAYS["three"][0] not in found
    for way in found:
        assert abs(len(way) - 3) <= 1
