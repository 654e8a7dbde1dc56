"""Words laid over sound, with rows of outputs made by hand."""

from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from voicelog.hearing.phones import PHONE_ID
from voicelog.learning.alignment import align

WAYS = {
    "nine": (("N", "AY", "N"),),
    "nought": (("N", "AO", "T"), ("N", "AA", "T")),
    "a": (("AH",), ("EY",)),
    "two": (("T", "UW"),),
}


def rows(path: str, sure: float = 0.9) -> np.ndarray:
    """``"- N N - AY"`` as log posteriors; "-" is blank."""
    found = np.full((len(path.split()), 40), (1 - sure) / 39)
    for row, name in zip(found, path.split(), strict=True):
        row[PHONE_ID.get(name, 0)] = sure
    return np.log(found).astype(np.float32)


def test_words_lie_where_they_were_said():
    alignment = align(rows("- - N AY AY N - - T UW UW -"), ("nine", "two"), WAYS.__getitem__)
    nine, two = alignment.words
    assert (nine.text, nine.start_s, nine.end_s) == ("nine", pytest.approx(0.06), pytest.approx(0.18))
    assert (two.start_s, two.end_s) == (pytest.approx(0.24), pytest.approx(0.33))
    assert alignment.gap == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize(("path", "way"), [("- N AO T -", 0), ("- N AA T -", 1)])
def test_the_pronunciation_that_was_said_wins(path, way):
    (word,) = align(rows(path), ("nought",), WAYS.__getitem__).words
    assert word.pronunciation == WAYS["nought"][way]


def test_other_words_leave_a_gap():
    said = rows("- N AY AY N - - T UW UW -")
    right = align(said, ("nine", "two"), WAYS.__getitem__)
    wrong = align(said, ("nine", "nine"), WAYS.__getitem__)
    assert right.gap < 0.1 < 2 < wrong.gap
    assert wrong.words[0].gap < 0.1 < 2 < wrong.words[1].gap


def test_one_phone_said_twice_needs_a_blank_between():
    assert align(rows("N AY N N AY N"), ("nine", "nine"), WAYS.__getitem__).gap > 1
    assert align(rows("N AY N - N AY N"), ("nine", "nine"), WAYS.__getitem__).gap < 0.1


@pytest.mark.parametrize("outputs", [0, 1, 2])
def test_sound_too_short_for_its_words_has_no_alignment(outputs):
    alignment = align(rows("- N AY")[:outputs], ("nine",), WAYS.__getitem__)
    assert alignment.cost == np.inf
    assert alignment.words[0].text == "nine"


@given(st.integers(0, 10**6), st.lists(st.sampled_from(sorted(WAYS)), min_size=1, max_size=2), st.integers(2, 6))
@settings(max_examples=40, deadline=None)
def test_no_other_path_is_better(seed, words, time):
    """Against every path over the phones concerned, written out."""
    raw = np.random.default_rng(seed).normal(0, 3, (time, 40))
    scores = (raw - np.log(np.exp(raw).sum(axis=1, keepdims=True))).astype(np.float32)
    best = np.inf
    for ways in product(*(WAYS[word] for word in words)):
        labels = tuple(PHONE_ID[phone] for way in ways for phone in way)
        for path in product(sorted({0, *labels}), repeat=time):
            if tuple(x for before, x in zip((0, *path), path, strict=False) if x and x != before) == labels:
                best = min(best, -scores[range(time), path].sum())
    found = align(scores, tuple(words), WAYS.__getitem__)
    assert found.cost == pytest.approx(best, rel=1e-5)
