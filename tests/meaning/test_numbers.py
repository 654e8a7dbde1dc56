"""Numbers both ways. Spoken forms: ICAO digit-by-digit practice (public pages) and trade usage (common practice)."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.errors import GrammarError
from voicelog.meaning.network import compile_phrase
from voicelog.meaning.numbers import load_number_words, number_phrase, read_number, say_number
from voicelog.model import Comparison, Number
from voicelog.resources import data_folder

WORDS = load_number_words(data_folder("grammars") / "numbers.toml")

SAID = [  # said, meant; None is a refusal and stands beside what it could be taken for
    ("nought point two seven", "0.27"),
    ("zero point two seven", "0.27"),
    ("point two seven", "0.27"),
    ("point twenty seven", "0.27"),
    ("point oh five", "0.05"),
    ("point five", "0.5"),
    ("two point five zero", "2.50"),
    ("two point five", "2.5"),
    ("one hundred and fifty", "150"),
    ("one hundred fifty", "150"),
    ("one fifty", "150"),
    ("one five zero", "150"),
    ("a hundred", "100"),
    ("a hundred and", None),
    ("fifteen", "15"),
    ("fifty", "50"),
    ("fifty five", "55"),
    ("fifty fifteen", None),
    ("double four", "44"),
    ("double four seven", "447"),
    ("double", None),
    ("double double four", None),
    ("triple seven", "777"),
    ("niner", "9"),
    ("two point niner niner", "2.99"),
    ("twenty", "20"),
    ("twenty oh", None),
    ("twenty ten", None),
    ("two thirty", "230"),
    ("two thirty one", "231"),
    ("nine hundred and ninety nine", "999"),
    ("one thousand", "1000"),
    ("two thousand and five", "2005"),
    ("two thousand three hundred and one", "2301"),
    ("twelve hundred", "1200"),
    ("oh", None),  # alone it is an exclamation
    ("nought", "0"),
    ("oh five", None),  # no instrument shows 05: a word was lost
    ("two point", None),
    ("point", None),
    ("two point five point one", None),
    ("hundred", None),
    ("and five", None),
    ("circuit", None),
    ("", None),
]


@pytest.mark.parametrize(("said", "meant"), SAID)
def test_what_is_said_is_what_is_meant(said, meant):
    found = read_number(tuple(said.split()), WORDS)
    assert (None if found is None else format(found, "f")) == meant


@pytest.mark.parametrize(
    ("figure", "comparison", "said"),
    [
        ("2.50", "=", "two point five zero"),
        ("0.27", "=", "zero point two seven"),
        ("200", ">", "greater than two zero zero"),
        ("0.01", "<", "less than zero point zero one"),
        ("15", "=", "one five"),  # never "fifteen": it is heard as fifty
        ("50", "=", "five zero"),
    ],
)
def test_said_back_digit_by_digit(figure, comparison, said):
    assert say_number(Number(figure=Decimal(figure), comparison=Comparison(comparison)), WORDS) == said


@given(st.integers(0, 9_999_999), st.integers(0, 3))
def test_said_back_reads_as_it_was(figures, decimals):
    figure = Decimal(figures).scaleb(-decimals)
    said = say_number(Number(figure=figure), WORDS)
    assert str(read_number(tuple(said.split()), WORDS)) == format(figure, "f")


def test_every_value_that_instruments_show_comes_back(grammar):
    """All figures of one to three digits with up to the quantity's decimals: 0.00 to 999."""
    for decimals in (0, 1, 2, 3):
        for figures in range(1000):
            figure = Decimal(figures).scaleb(-decimals)
            said = tuple(say_number(Number(figure=figure), WORDS).split())
            assert str(read_number(said, WORDS)) == format(figure, "f")


def test_the_phrase_of_numbers_covers_all_that_reads_as_one():
    network = compile_phrase(number_phrase(WORDS, 3))
    for said, meant in SAID:
        if meant is not None:
            assert network.parses(tuple(said.split())), said


@given(
    st.lists(
        st.sampled_from(
            sorted([*WORDS.digits, *WORDS.teens, *WORDS.tens, "hundred", "thousand", "and", "point", "double", "a"])
        ),
        max_size=7,
    )
)
def test_any_words_give_a_number_or_nothing(said):
    found = read_number(tuple(said), WORDS)
    assert found is None or (found.is_finite() and found >= 0)


def test_broken_number_words_name_the_file(tmp_path):
    file = tmp_path / "numbers.toml"
    file.write_text("[digits]\n", encoding="utf-8")
    with pytest.raises(GrammarError, match=r"numbers\.toml"):
        load_number_words(file)
