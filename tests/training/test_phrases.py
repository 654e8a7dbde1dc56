"""What synthetic voices are given to say."""

import random

import pytest

from voicelog.training.phrases import (
    DIGITS,
    DIGITS_AND_LETTERS,
    SHAPES,
    GrammarSampler,
    PhraseSampler,
    cardinal,
    digit_by_digit,
)
from voicelog.visiting import open_visit_or_demo

CARDINALS = [
    (0, "zero"),
    (7, "seven"),
    (15, "fifteen"),
    (40, "forty"),
    (99, "ninety nine"),
    (100, "one hundred"),
    (150, "one hundred and fifty"),
    (1005, "one thousand and five"),
    (2340, "two thousand three hundred and forty"),
]


@pytest.mark.parametrize(("number", "words"), CARDINALS)
def test_cardinals_as_a_british_speaker_says_them(number, words):
    assert cardinal(number) == words


def digits_of(words: str) -> str:
    names = DIGITS
    digit = {name: str(value) for value, name in enumerate(names)} | {"oh": "0", "nought": "0", "niner": "9"}
    digits, times = "", 1
    for word in words.split():
        if word in ("double", "triple"):
            times = {"double": 2, "triple": 3}[word]
        else:
            digits, times = digits + digit[word] * times, 1
    return digits


def test_every_way_to_say_digits_says_those_digits():
    rng = random.Random(0)
    for _ in range(300):
        digits = "".join(rng.choice("00112345567899") for _ in range(rng.randint(1, 10)))
        assert digits_of(digit_by_digit(digits, rng)) == digits


def test_the_sampler_repeats_itself_from_a_seed_and_draws_every_shape():
    one, other = random.Random(3), random.Random(3)
    sampler = PhraseSampler()
    drawn = [sampler.draw(one) for _ in range(400)]
    assert drawn == [sampler.draw(other) for _ in range(400)]
    assert any(phrase.spelled for phrase in drawn) and any("double" in phrase.words for phrase in drawn)
    assert all(phrase.words == " ".join(phrase.words.split()) != "" for phrase in drawn)
    for shapes in (SHAPES, DIGITS_AND_LETTERS):
        assert sum(weight for weight, _ in shapes) == pytest.approx(1.0)


def test_grammar_phrases_are_sentences_of_the_grammar_and_use_its_words():
    network = open_visit_or_demo(None).reader.network
    sampler, rng = GrammarSampler(network, share=1.0), random.Random(0)
    drawn = [sampler.draw(rng).words.split() for _ in range(4000)]
    assert all(network.parses(tuple(words)) for words in drawn[:200])
    used = {word for words in drawn for word in words}
    assert used <= network.words and len(used) > 0.97 * len(network.words)  # the rest in more sentences
