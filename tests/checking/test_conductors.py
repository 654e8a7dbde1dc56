"""Resistances, operating factors, lengths."""

import pytest

from tests.checking.sheets import D, cable
from voicelog.checking.conductors import (
    length_m,
    ohm_per_m,
    operating_factor,
    pair_ohm_per_m,
    r2_to_r1,
)
from voicelog.checking.weighing import Unknown
from voicelog.resources import data_folder


@pytest.mark.parametrize("name", ["conductors.toml", "appliances.toml"])
def test_shared_data_carries_its_sources(name):
    text = data_folder("shared").joinpath(name).read_text(encoding="utf-8")
    tables = text.count("\n[")
    assert text.count("\nsource = ") == text.count("\nmark = ") == tables


@pytest.mark.parametrize(("limit", "factor"), [("70", "1.20"), ("85", "1.26"), ("90", "1.28")])
def test_operating_temperature(limit, factor):
    """70 degC: two published worked examples; the others computed, R(t) = R20 x (1 + 0.004 (t - 20)), from memory."""
    assert operating_factor(D(limit)) == D(factor) == 1 + D("0.004") * (D(limit) - 20)


@pytest.mark.parametrize("found", [ohm_per_m(D("3")), operating_factor(D(60)), length_m(D(1), D("3"))])
def test_what_is_not_tabulated_is_unknown(found):
    assert isinstance(found, Unknown)


def test_a_cable_with_an_unknown_size_is_unknown():
    assert isinstance(pair_ohm_per_m(cable("3", "1.5")), Unknown)
    assert isinstance(r2_to_r1(cable("2.5", "3")), Unknown)
