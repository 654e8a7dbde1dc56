"""Answers and orders must not sound like one another, nor like digits."""

import itertools

import pytest

from voicelog.hearing.distance import distance, nearest, phone_distance
from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.phones import PHONES
from voicelog.meaning.phrase import read_phrase, spellings

SAFE = 1.0  # phones: more than one sound would have to be lost; "fifteen" and "fifty" lie just one apart
LEXICON = bundled_lexicon()


def ways(words):
    """Every pronunciation of a phrase."""
    parts = [LEXICON.pronounce(word) for word in words]
    return [tuple(itertools.chain(*choice)) for choice in itertools.islice(itertools.product(*parts), 64)]


def said(phrases):
    return [way for phrase in phrases for words in spellings(read_phrase(phrase)) for way in ways(words)]


@pytest.mark.parametrize("phone", PHONES)
def test_a_phone_is_at_no_distance_from_itself_only(phone):
    assert [other for other in PHONES if phone_distance(phone, other) == 0] == [phone]


def test_known_confusions_come_out_near():
    """Fifteen and fifty, five and nine: the pairs for which radiotelephony changed its digits (ICAO: fife, niner)."""
    assert distance(*(LEXICON.pronounce(word)[0] for word in ("fifteen", "fifty"))) < 2
    assert distance(*(LEXICON.pronounce(word)[0] for word in ("five", "nine"))) < distance(
        *(LEXICON.pronounce(word)[0] for word in ("five", "niner"))
    )


def test_answers_and_orders_are_far_from_each_other(grammar):
    """Of every two orders, the nearest ways to say them. The table is printed when one fails."""
    orders = {command.key: said(command.said) for command in grammar.commands.values()}
    near = {pair: round(nearest(orders[pair[0]], orders[pair[1]]), 2) for pair in itertools.combinations(orders, 2)}
    assert {pair: apart for pair, apart in near.items() if apart <= SAFE} == {}


def test_answers_and_orders_are_far_from_digits(grammar):
    digits = {word: list(LEXICON.pronounce(word)) for word in grammar.numbers.digits if word != "oh"}
    near = {
        (command.key, digit): round(nearest(said(command.said), sounds), 2)
        for command in grammar.commands.values()
        for digit, sounds in digits.items()
    }
    assert {pair: apart for pair, apart in near.items() if apart <= SAFE} == {}


def test_quantities_are_far_from_the_words_of_numbers(grammar):
    """ "Circuit two point two" said of a circuit must not become a reading of circuit two."""
    numbers = {word: list(LEXICON.pronounce(word)) for word in (*grammar.numbers.digits, "point") if word != "oh"}
    near = {
        (quantity.key, word): round(nearest(said(quantity.said), sounds), 2)
        for quantity in grammar.quantities.values()
        for word, sounds in numbers.items()
    }
    # "R two" is the trade's own name; a vowel of its own, and the read-back, keep it from "two".
    assert {pair for pair, apart in near.items() if apart <= SAFE} == {("r2_cpc", "two")}
