"""Slips of the point and of the unit."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import D
from voicelog.checking.slips import same_digits, slip_between


@pytest.mark.parametrize(
    ("called", "expected", "kind", "power"),
    [
        ("5.2", "0.52", "decimal", 1),
        ("0.0216", "0.2196", "decimal", -1),  # published: a professional institution's forum, thread 29061
        ("52", "0.52", "decimal", 2),
        ("1200", "1.2", "unit", 3),
        ("0.0012", "1.15", "unit", -3),
        ("23.1", "230", "decimal", -1),
    ],
)
def test_slips(called, expected, kind, power):
    slip = slip_between(D(called), D(expected))
    assert (slip.kind, slip.power) == (kind, power) and "perhaps" in slip.sentence


@pytest.mark.parametrize(
    ("called", "expected"), [("0.52", "0.50"), ("1.3", "0.52"), ("3.0", "0.52"), ("0", "1"), ("1", "0"), ("10400", "1")]
)
def test_no_slip(called, expected):
    assert slip_between(D(called), D(expected)) is None


@given(st.decimals("0.01", "1000", places=2), st.sampled_from([-3, -2, -1, 1, 2, 3]))
def test_an_exact_slip_is_always_found_and_undone(figure, power):
    called = figure.scaleb(power)
    slip = slip_between(called, figure)
    assert slip.power == power and called.scaleb(-slip.power) == figure


@pytest.mark.parametrize(
    ("one", "other", "same"), [("5.2", "0.52", True), ("0.520", "52", True), ("5.2", "0.53", False)]
)
def test_digits(one, other, same):
    assert same_digits(D(one), D(other)) is same
