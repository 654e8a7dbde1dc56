"""Pronunciations: those of the file, those of the dictionaries, and words that have none."""

import re

import pytest

from voicelog.errors import GrammarError, ModelError
from voicelog.hearing.lexicon import FILE, Lexicon, VoiceReader, bundled_lexicon, phones_of, read_pronunciations
from voicelog.hearing.phones import PHONES
from voicelog.resources import data_folder


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return bundled_lexicon()


def said(lexicon: Lexicon, word: str) -> list[str]:
    return [" ".join(way) for way in lexicon.pronounce(word)]


@pytest.mark.parametrize(
    ("word", "way"),
    [
        ("zed", "Z EH D"),
        ("zee", "Z IY"),
        ("nought", "N AO T"),
        ("zero", "Z IH R OW"),
        ("niner", "N AY N ER"),
        ("four", "F AO R"),
        ("four", "F AO"),
        ("earth", "ER TH"),
        ("megohms", "M EH G OW M Z"),
        ("half", "HH AA F"),
        ("half", "HH AE F"),
        ("neutral", "N Y UW T R AH L"),
        ("h", "EY CH"),
        ("h", "HH EY CH"),
    ],
)
def test_ways_of_the_trade(lexicon, word, way):
    assert way in said(lexicon, word)


# A sample of words that are not in the file, as the public-domain Carnegie Mellon dictionary has them.
@pytest.mark.parametrize(
    ("word", "way"),
    [
        ("gazebo", "G AH Z IY B OW"),
        ("orchard", "AO R CH ER D"),
        ("orchard", "AO CH ER D"),
        ("museum", "M Y UW Z IY AH M"),
        ("dinosaur", "D AY N AH S AO R"),
        ("pharmacy", "F AA R M AH S IY"),
    ],
)
def test_other_words_come_from_the_dictionaries(lexicon, word, way):
    assert word not in read_pronunciations(data_folder("grammars") / FILE)
    assert way in said(lexicon, word)


def test_accents_are_no_obstacle(lexicon):
    assert lexicon.pronounce("café") == lexicon.pronounce("cafe")


def test_invented_names_are_read_by_rule(lexicon):
    assert all(set(way) <= set(PHONES) and len(way) >= 5 for way in lexicon.pronounce("brintlehope"))


@pytest.mark.parametrize("word", ["db1", "", "Kitchen", "12", "'", "two words", "..."])
def test_what_is_no_word_is_refused_by_name(lexicon, word):
    with pytest.raises(ModelError, match=re.escape(repr(word))):
        lexicon.pronounce(word)


def test_every_entry_of_the_file_is_sound():
    table = read_pronunciations(data_folder("grammars") / FILE)
    assert len(table) > 600
    assert all(len(way) <= 16 for ways in table.values() for way in ways)
    for letter in "abcdefghijklmnopqrstuvwxyz":
        assert letter in table


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ('zed = "Z E D"', "E is not a phone"),
        ('zed = ""', "without phones"),
        ('zed = "Z EH D |"', "without phones"),
        ("zed = 3", "'zed'"),
        ("zed = ", "cannot be read"),
    ],
)
def test_a_wrong_line_is_named(tmp_path, line, why):
    (tmp_path / FILE).write_text(line)
    with pytest.raises(GrammarError, match=why):
        read_pronunciations(tmp_path / FILE)


def test_the_voices_phonemes_become_phones():
    assert " ".join(phones_of("kˈɪʧɪn")) == "K IH CH IH N"
    assert " ".join(phones_of("wˈɔTəɹ")) == "W AO T ER"
    assert " ".join(phones_of("klˈQkɹuːm")) == "K L OW K R UW M"


def test_dictionaries_are_not_loaded_for_known_words():
    reader = VoiceReader()
    Lexicon({"zed": (("Z", "EH", "D"),)}, reader).pronounce("zed")
    assert "_readers" not in vars(reader)
