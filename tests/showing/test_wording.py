"""Written words: digits stay as they were spoken, units move by powers of ten, every kind of value has its word."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.showing import sample
from voicelog.errors import GrammarError
from voicelog.model import Choice, Number, OpenCircuit, Outcome, OverRange, Place, Result, Standing
from voicelog.showing.wording import (
    STANDING_WORDS,
    VERDICT_SIGNS,
    VERDICT_WORDS,
    load_wording,
)

WORDS = load_wording()


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (Number(figure="2.50"), "Mohm", "2.50 MΩ"),  # not 2.5
        (Number(figure="0.270"), "ohm", "0.270 Ω"),
        (Number(figure="500", comparison=">"), "Mohm", "> 500 MΩ"),
        (Number(figure="1E+3"), "ohm", "1000 Ω"),
        (Number(figure="9"), "", "9"),
        (OverRange(), "Mohm", "over range"),
        (OpenCircuit(), "", "open circuit"),
        (Result(word="limitation"), "", "LIM"),
        (Result(word="not_applicable"), "", "N/A"),
        (Result(word="no_trip"), "", "no trip"),
        (Choice(word="3-2-1"), "", "3-2-1"),
    ],
)
def test_values_in_print(value, unit, text):
    assert WORDS.value(value, unit) == text


@pytest.mark.parametrize(
    ("figure", "unit", "wanted", "text"),
    [
        ("1.20", "kohm", "ohm", "1200"),
        ("250", "kohm", "Mohm", "0.250"),
        ("3.50", "A", "mA", "3500"),
        ("850", "uA", "mA", "0.850"),
        ("2.50", "Mohm", "Mohm", "2.50"),
        ("6000", "A", "kA", "6.000"),
    ],
)
def test_moving_to_another_unit_keeps_the_digits(figure, unit, wanted, text):
    assert f"{WORDS.in_unit(Decimal(figure), unit, wanted):f}" == text


FIGURES = st.decimals(min_value=0, max_value=20000, places=3, allow_nan=False)


@given(FIGURES, st.sampled_from([("kohm", "Mohm"), ("Mohm", "kohm"), ("Gohm", "Mohm"), ("uA", "mA"), ("A", "kA")]))
def test_moving_there_and_back_is_exact(figure, units):
    there = WORDS.in_unit(figure, *units)
    assert there * WORDS.factors[units[1]] == figure * WORDS.factors[units[0]]
    assert WORDS.in_unit(there, *reversed(units)).as_tuple() == figure.as_tuple()


def test_every_unit_is_a_power_of_ten_of_its_base():
    assert all(factor.normalize().as_tuple().digits == (1,) for factor in WORDS.factors.values())


def test_places_and_quantities():
    sheet = sample.sheet()
    assert WORDS.place(sample.place("5"), sheet) == "DB1 circuit 5, stage right sockets"
    assert WORDS.place(sample.place("77"), sheet) == "DB1 circuit 77"
    assert WORDS.place(sample.place(rcd="RCD1"), sheet) == "DB1 RCD1"
    assert WORDS.place(Place(board="DB1"), sheet) == "DB1, at the board"
    assert WORDS.quantity("ir_le", {"test_voltage_V": "500"}) == "insulation resistance, live to earth, at 500 V"
    assert WORDS.quantity("rcd_time", {"multiple": "5", "half_cycle": "180"}) == "RCD operating time, 5 × IΔn, 180°"
    assert WORDS.quantity("of another grammar", {"depth": "2"}) == "of another grammar, depth 2"


def test_every_outcome_and_standing_has_words_and_a_sign_of_its_own():
    assert set(VERDICT_WORDS) == set(VERDICT_SIGNS) == set(Outcome)
    assert len(set(VERDICT_SIGNS.values())) == len(set(VERDICT_WORDS.values())) == len(Outcome)
    assert set(STANDING_WORDS) == set(Standing)


def test_a_grammar_that_cannot_be_read_is_named(tmp_path):
    with pytest.raises(GrammarError, match=r"fixed-wiring\.toml"):
        load_wording(folder=tmp_path)
