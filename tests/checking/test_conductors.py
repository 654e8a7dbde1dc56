"""Temperature in both directions (the tables are reciprocals), operating factors, lengths."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import D, cable
from voicelog.checking.conductors import (
    at_temperature,
    copper,
    length_m,
    ohm_per_m,
    operating_factor,
    pair_ohm_per_m,
    r2_to_r1,
    reading_at_20C,
    temperature_factor,
)
from voicelog.checking.weighing import Unknown, nearest
from voicelog.resources import data_folder


@pytest.mark.parametrize("name", ["conductors.toml", "appliances.toml"])
def test_shared_data_carries_its_sources(name):
    text = data_folder("shared").joinpath(name).read_text(encoding="utf-8")
    tables = text.count("\n[")
    assert text.count("\nsource = ") == text.count("\nmark = ") == tables


READING_TO_20 = [("5", "1.06"), ("10", "1.04"), ("15", "1.02"), ("20", "1.00"), ("25", "0.98")]
TABLE_TO_AMBIENT = [("5", "0.94"), ("10", "0.96"), ("15", "0.98"), ("20", "1.00"), ("25", "1.02")]


@pytest.mark.parametrize(("ambient", "factor"), READING_TO_20)
def test_a_cold_reading_brought_to_twenty(ambient, factor):
    """A public electrician's guide, Table 8.6, and a cable maker's table."""
    assert nearest(reading_at_20C(D(1), D(ambient))) == D(factor)
    assert copper().reading_to_20C.factors[D(ambient)] == D(factor)


@pytest.mark.parametrize(("ambient", "factor"), TABLE_TO_AMBIENT)
def test_a_table_value_brought_to_ambient(ambient, factor):
    """On-Site Guide Table I2, from memory; computed from the coefficient."""
    assert nearest(at_temperature(D(1), D(ambient))) == D(factor)
    assert copper().table_to_ambient.factors[D(ambient)] == D(factor)


@pytest.mark.parametrize(("ambient", "exact"), [("5", "1.064"), ("10", "1.042"), ("15", "1.020"), ("25", "0.980")])
def test_a_cable_maker_prints_three_decimals(ambient, exact):
    assert nearest(reading_at_20C(D(1), D(ambient)), 3) == D(exact)


@pytest.mark.parametrize("ambient", ["5", "10", "15", "25"])
def test_the_two_directions_are_not_the_same(ambient):
    """Taking the wrong one of the two tables is an error of 4 to 12 %."""
    right, wrong = reading_at_20C(D(1), D(ambient)), at_temperature(D(1), D(ambient))
    assert abs(right / wrong - 1) > D("0.035")


@given(st.decimals("0.001", "20", places=3), st.decimals("-10", "40", places=1))
def test_there_and_back(ohm, temperature):
    assert abs(reading_at_20C(at_temperature(ohm, temperature), temperature) - ohm) < D("1e-20")


@given(st.decimals("-10", "89", places=1))
def test_warmer_is_more(temperature):
    assert temperature_factor(temperature + 1) > temperature_factor(temperature)


@pytest.mark.parametrize(("limit", "factor"), [("70", "1.20"), ("85", "1.26"), ("90", "1.28")])
def test_operating_temperature(limit, factor):
    """70 degC: two published worked examples; the others computed from the coefficient."""
    assert operating_factor(D(limit)) == D(factor) == nearest(temperature_factor(D(limit)))


def test_a_separate_protective_conductor_starts_warm():
    """1.04: On-Site Guide Table I3, from memory; computed from 30 degC."""
    assert operating_factor(D(70), separate=True) == D("1.04") == temperature_factor(D(30))


@pytest.mark.parametrize("found", [ohm_per_m(D("3")), operating_factor(D(60)), length_m(D(1), D("3"))])
def test_what_is_not_tabulated_is_unknown(found):
    assert isinstance(found, Unknown)


def test_a_cable_with_an_unknown_size_is_unknown():
    assert isinstance(pair_ohm_per_m(cable("3", "1.5")), Unknown)
    assert isinstance(r2_to_r1(cable("2.5", "3")), Unknown)
