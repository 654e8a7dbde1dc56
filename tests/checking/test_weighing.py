"""Comparisons: what > and < settle and what they leave open."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import D, reading
from voicelog.checking.weighing import Limit, down, nearest, weigh
from voicelog.errors import InputError
from voicelog.model import Comparison, Number, OpenCircuit, Outcome, OverRange

PASS, MARGINAL, FAIL = Outcome.PASS, Outcome.MARGINAL, Outcome.FAIL
MOST = Limit(sentence="", source="", unit="ohm", at_most=D("1.09"), watch_above=D("1.00"))
LEAST = Limit(sentence="", source="", unit="Mohm", at_least=D("1.0"), watch_below=D(2))
BETWEEN = Limit(sentence="", source="", unit="ms", at_least=D(130), at_most=D(500))


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        ("0.50", PASS),
        ("1.00", PASS),
        ("1.01", MARGINAL),
        ("1.09", MARGINAL),
        ("1.091", FAIL),
        ("<0.01", PASS),
        ("<1.09", MARGINAL),
        ("<2", MARGINAL),  # cannot tell
        (">0.5", MARGINAL),  # cannot tell
        (">1.09", FAIL),
        (">5", FAIL),
    ],
)
def test_an_upper_limit(said, outcome):
    assert weigh(reading("zs", said, "ohm"), MOST).outcome is outcome


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        (">200", PASS),
        (">2", PASS),
        (">1.0", MARGINAL),
        (">0.5", MARGINAL),  # cannot tell
        ("0.99", FAIL),
        ("1.0", MARGINAL),
        ("2.0", PASS),
        ("<0.01", FAIL),
        ("<1.0", FAIL),
        ("<5", MARGINAL),  # cannot tell
    ],
)
def test_a_lower_limit(said, outcome):
    assert weigh(reading("ir_le", said, "Mohm"), LEAST).outcome is outcome


@pytest.mark.parametrize(
    ("said", "outcome", "bound"),
    [("129", FAIL, "130"), ("130", PASS, None), ("500", PASS, None), ("501", FAIL, "500"), (">400", MARGINAL, None)],
)
def test_a_window_names_the_side_that_failed(said, outcome, bound):
    found = weigh(reading("rcd_time", said, "ms"), BETWEEN)
    assert (found.outcome, found.bound) == (outcome, D(bound) if bound else None)


@pytest.mark.parametrize("said", ["<2", ">0.5"])
def test_what_cannot_be_told_is_said(said):
    assert "Cannot tell" in weigh(reading("zs", said, "ohm"), MOST).remark


@pytest.mark.parametrize("value", [OverRange(), OpenCircuit()])
def test_over_range_fails_an_upper_limit_and_passes_a_lower_one(value):
    assert weigh(reading("zs", value, "ohm"), MOST).outcome is FAIL
    assert weigh(reading("ir_le", value, "Mohm"), LEAST).outcome is PASS


def test_units_are_converted_and_never_mixed():
    assert weigh(reading("ir_le", "37", "kohm"), LEAST).outcome is FAIL
    assert weigh(reading("ir_le", "0.25", "Gohm"), LEAST).outcome is PASS
    with pytest.raises(InputError):
        weigh(reading("ir_le", "37", "mA"), LEAST)


FIGURES = st.decimals("0.001", "2000", places=3)


@given(FIGURES, FIGURES)
def test_more_is_never_better_under_an_upper_limit(one, other):
    rank = [PASS, MARGINAL, FAIL]
    low, high = sorted((one, other))
    outcomes = [weigh(reading("zs", Number(figure=f), "ohm"), MOST).outcome for f in (low, high)]
    assert rank.index(outcomes[0]) <= rank.index(outcomes[1])


@given(FIGURES, FIGURES, st.sampled_from(Comparison))
def test_a_comparison_never_claims_more_than_every_value_it_allows(figure, true, comparison):
    """A pass or a failure on a comparison holds for every value that the comparison allows."""
    allowed = {">": true > figure, "<": true < figure, "=": true == figure}[comparison.value]
    if not allowed:
        return
    for limit, quantity, unit in ((MOST, "zs", "ohm"), (LEAST, "ir_le", "Mohm")):
        claimed = weigh(reading(quantity, Number(figure=figure, comparison=comparison), unit), limit).outcome
        actual = weigh(reading(quantity, Number(figure=true), unit), limit).outcome
        if claimed is FAIL:
            assert actual is FAIL
        if claimed is PASS:
            assert actual is not FAIL


@given(st.decimals("0", "9999", places=6))
def test_rounding_has_directions(figure):
    assert down(figure) <= figure < down(figure) + D("0.01")
    assert abs(nearest(figure) - figure) <= D("0.005")
