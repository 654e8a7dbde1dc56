"""Training texts as phones."""

import random

import pytest

from voicelog.hearing.phones import PHONE_ID, PHONES
from voicelog.training.pronunciations import (
    TRADE,
    Lexicon,
    from_ipa,
    is_letter_a,
    joined_from_two,
    read_dictionary,
    read_lexicon,
    write_lexicon,
)

DICTIONARY = read_dictionary(["either IY DH ER", "either(2) AY DH ER", "snow S N OW", "boats B OW T S", "car K AA R"])


def test_ways_of_one_word_are_kept_together_in_order():
    assert DICTIONARY["either"] == (("IY", "DH", "ER"), ("AY", "DH", "ER"))


def test_two_known_words_make_a_third():
    assert joined_from_two("snowboats", DICTIONARY) == (("S", "N", "OW", "B", "OW", "T", "S"),)
    assert joined_from_two("snowing", DICTIONARY) == ()
    assert joined_from_two("car", DICTIONARY) == ()


@pytest.mark.parametrize(
    ("ipa", "phones"),
    [("tʃˈɛɹi", "CH EH R IY"), ("ɡˈæðɚ", "G AE DH ER"), ("ˈaɪɚn", "AY ER N"), ("bˈɑːɹ", "B AA R"), ("ʔ", "")],
)
def test_espeaks_american_sounds_as_phones(ipa, phones):
    assert from_ipa(ipa) == tuple(phones.split())


@pytest.mark.parametrize(
    ("text", "letter"),
    [
        ("a", True),
        ("b a d", True),
        ("rubout t a six", True),
        ("fifty a", False),
        ("fourteen a", False),
        ("nine a", True),
        ("type a", True),
        ("half a minute", False),
        ("i a", False),
    ],
)
def test_a_lone_a_is_the_letter_beside_letters_and_digits(text, letter):
    words = text.split()
    assert is_letter_a(words, words.index("a")) is letter


def test_british_readers_drop_r_where_no_vowel_follows():
    lexicon = Lexicon({"car": (("K", "AA", "R"),), "alarm": (("AH", "L", "AA", "R", "M"),)})
    spoken = [PHONES[number - 1] for number in lexicon.draw("car alarm", True, random.Random(0))]
    assert " ".join(spoken) == "K AA R AH L AA M"  # the first R is followed by a vowel
    american = lexicon.draw("car", False, random.Random(0))
    assert american == tuple(PHONE_ID[phone] for phone in ("K", "AA", "R"))
    with pytest.raises(KeyError):
        lexicon.draw("bus", False, random.Random(0))


def test_the_words_of_the_trade_use_known_phones():
    for ways in TRADE.values():
        assert all(set(way.split()) <= set(PHONES) and way for way in ways.split("|"))


def test_a_lexicon_survives_its_file(tmp_path):
    lexicon = Lexicon(DICTIONARY)
    write_lexicon(lexicon, tmp_path / "lexicon.json")
    assert read_lexicon(tmp_path / "lexicon.json") == lexicon
