"""Utterances joined into strings, strings into batches, batches laid out in time."""

import random

from hypothesis import given
from hypothesis import strategies as st

from voicelog.training.batching import UNIT, Strings, batches, lay_out, length_s, smooth_length
from voicelog.training.corpus import RATE_HZ, Utterance
from voicelog.training.recipe import NetworkShape, Share


def utterance(number: int, corpus: str = "words", speaker: str = "", seconds: float = 1.0) -> Utterance:
    samples = int(seconds * RATE_HZ)
    return Utterance(corpus, number * 100_000, samples, "one", False, speaker, lead=3000, trail=4000)


PEOPLE = tuple(utterance(n, speaker=f"p{n % 5}") for n in range(40))
LONG = tuple(utterance(100 + n, "books", seconds=12.0) for n in range(8))
SHARES = {"words": Share(1.5, 0.9, True), "books": Share(0.5)}


@given(st.integers(1, 400 * UNIT // 2))
def test_lengths_are_never_shorter_and_have_only_small_factors(samples):
    length = smooth_length(samples)
    assert length >= samples and length % UNIT == 0
    units = length // UNIT
    for prime in (2, 3, 5, 7):
        while units % prime == 0:
            units //= prime
    assert units == 1


def test_an_epoch_draws_each_corpus_by_its_weight():
    strings = Strings(PEOPLE + LONG, SHARES).epoch(random.Random(0))
    first = [string[0] for string in strings]
    assert sum(u.corpus == "words" for u in first) == 60
    assert sum(u.corpus == "books" for u in first) == 4
    assert all(len(string) == 1 for string in strings if string[0].corpus == "books")
    assert any(len(string) > 3 for string in strings)


def test_strings_are_mostly_by_one_person():
    strings = [s for s in Strings(PEOPLE, SHARES).epoch(random.Random(1)) if len(s) > 1]
    followers = [(string[0], other) for string in strings for other in string[1:]]
    same = sum(first.speaker == other.speaker for first, other in followers) / len(followers)
    assert 0.75 < same < 1.0


def test_batches_hold_every_string_and_no_more_than_their_seconds():
    strings = Strings(PEOPLE + LONG, SHARES).epoch(random.Random(2))
    groups = batches(strings, 60.0, random.Random(2))
    assert sorted(map(str, (s for group in groups for s in group))) == sorted(map(str, strings))
    for group in groups:
        assert len(group) == 1 or max(length_s(s) for s in group) * len(group) <= 60.0


@given(st.integers(0, 10_000))
def test_pieces_follow_one_another_inside_the_batch(seed):
    rng = random.Random(seed)
    group = [tuple(rng.choices(PEOPLE, k=rng.randint(1, 4))) for _ in range(5)]
    layout = lay_out(group, lambda u: (1, 2), rng)
    for row, string in enumerate(group):
        ends = 0
        for column, piece in enumerate(string):
            assert layout.place[row, column] >= ends
            ends = layout.place[row, column] + layout.stretched[row, column]
            assert piece.start <= layout.source[row, column]
            assert layout.source[row, column] + layout.samples[row, column] <= piece.start + piece.samples
        assert ends <= layout.ends[row] <= layout.length
        assert layout.labels[row] == (1, 2) * len(string)


def test_for_scoring_nothing_is_cut_or_stretched():
    layout = lay_out([(PEOPLE[0],)], lambda u: (1,), random.Random(0), varied=False)
    assert layout.source[0, 0] == PEOPLE[0].start
    assert layout.samples[0, 0] == layout.stretched[0, 0] == PEOPLE[0].samples


def test_the_network_looks_ahead_less_than_a_quarter_of_a_second():
    assert NetworkShape().right * 10 <= 250
