"""Exact conversions within one dimension, refusals across; the grammar's table is the same table."""

import tomllib
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.checking.units import FACTORS, convert, dimension
from voicelog.errors import InputError
from voicelog.resources import data_folder

CASES = [  # SI prefixes (the SI brochure, 9th edition)
    ("1.2", "Mohm", "kohm", "1200"),
    ("37", "kohm", "Mohm", "0.037"),
    ("0.25", "Gohm", "Mohm", "250"),
    ("850", "uA", "mA", "0.850"),
    ("0.03", "A", "mA", "30"),
    ("1.15", "kA", "A", "1150"),
    ("2300", "mV", "V", "2.3"),
    ("0.4", "s", "ms", "400"),
]


@pytest.mark.parametrize(("figure", "unit", "wanted", "expected"), CASES)
def test_conversions_are_exact(figure, unit, wanted, expected):
    assert convert(Decimal(figure), unit, wanted) == Decimal(expected)
    assert convert(Decimal(expected), wanted, unit) == Decimal(figure)


@pytest.mark.parametrize(("unit", "wanted"), [("ohm", "mA"), ("ms", "V"), ("", "A"), ("Mohm", "")])
def test_dimensions_never_mix(unit, wanted):
    with pytest.raises(InputError, match="cannot be given as"):
        convert(Decimal(1), unit, wanted)


def test_an_unknown_symbol_is_refused_by_name():
    with pytest.raises(InputError, match="'furlong' is not known"):
        dimension("furlong")


def test_the_grammar_has_the_same_units():
    grammar = tomllib.loads(data_folder("grammars").joinpath("units.toml").read_text(encoding="utf-8"))
    same = {symbol: (unit["dimension"], Decimal(unit["factor"])) for symbol, unit in grammar.items()}
    assert {symbol: unit for symbol, unit in FACTORS.items() if symbol} == same


@given(st.decimals("0.001", "20000", places=3), st.sampled_from(["ohm", "kohm", "Mohm", "Gohm"]))
def test_there_and_back_is_the_same_figure(figure, unit):
    assert convert(convert(figure, unit, "ohm"), "ohm", unit) == figure


def test_the_same_unit_keeps_the_figure_as_spoken():
    assert str(convert(Decimal("2.50"), "ohm", "ohm")) == "2.50"
