"""Insulation: least values by voltage, parallel circuits, and what an unplugged item must have been."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import AFTER, D, at_board, circuit, reading, sheet, value
from voicelog.checking.insulation import in_parallel, resistive_mA, short, unplugged_item, without
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown, nearest
from voicelog.model import Outcome

HOUSE = sheet(circuit())


@pytest.mark.parametrize("voltage", ["500", "1000", "250"])
def test_table_64(voltage):
    """Table 64: an examination study page; 250 V on a low-voltage circuit still needs 1 Mohm (643.3.3, memory)."""
    assert judge(reading("ir_le", "200", "Mohm", test_voltage_V=voltage), HOUSE, AFTER).limit == 1


def test_half_a_megohm_of_old_records_is_superseded():
    assert judge(reading("ir_le", "0.6", "Mohm", test_voltage_V="500"), HOUSE, AFTER).outcome is Outcome.FAIL


def test_an_unknown_voltage_has_no_limit():
    assert judge(reading("ir_le", "5", "Mohm", test_voltage_V="50"), HOUSE, AFTER).outcome is Outcome.NO_LIMIT


def test_a_whole_installation_at_37_kohm():
    """Line and neutral linked to earth at 250 V, 37 kohm: 6.2 mA, under 9 and a nuisance all the same.

    A professional institution's forum, thread 24314; the current computed.
    """
    verdict = judge(at_board("ir_lne", "37", "kohm", test_voltage_V="250"), HOUSE, AFTER)
    assert verdict.outcome is Outcome.FAIL and "6.2 mA" in verdict.sentence
    assert nearest(resistive_mA(D("0.037"), D(230)), 1) == D("6.2")


def test_the_current_is_that_of_the_supply_on_the_sheet():
    """Ohm's law: 0.5 Mohm lets 0.5 mA flow at 240 V, and 0.2 mA at 110 V."""
    low = reading("ir_le", "0.5", "Mohm", test_voltage_V="500")
    for volts, flows in (("240", "At 240 V it lets 0.5 mA flow"), ("110", "At 110 V it lets 0.2 mA flow")):
        assert flows in judge(low, sheet(circuit(), nominal_voltage_V=volts), AFTER).sentence


@given(st.lists(st.decimals("0.1", "500", places=1), min_size=1, max_size=12))
def test_parallel_is_less_than_the_least_and_no_less_than_its_share(resistances):
    together = in_parallel(resistances)
    slack = D("1e-20")
    assert min(resistances) / len(resistances) - slack <= together <= min(resistances) + slack


@given(st.decimals("0.1", "500", places=1), st.decimals("0.1", "500", places=1))
def test_a_part_taken_off_leaves_the_rest(one, other):
    assert abs(without(in_parallel((one, other)), one) - other) < D("1e-15")


def test_more_cannot_be_taken_off_than_is_there():
    assert isinstance(without(D(2), D(1)), Unknown)


def test_a_dead_short_in_parallel_leaves_nothing():
    """1/Rt = sum of 1/Ri: nothing is left where one of them is nothing."""
    assert in_parallel((D("0.00"), D(5))) == 0


@given(st.decimals("0.05", "50", places=2), st.decimals("0.05", "50", places=2))
def test_the_item_lies_within_its_interval(item, rest):
    """Build the readings from a known item, and find it again between the bounds."""
    before, after = in_parallel((item, rest)), rest
    found = unplugged_item(value(f"{before:f}"), value(f"{after:f}"))
    assert abs(found.likely_Mohm - item) < D("1e-10")
    assert found.least_Mohm <= item
    assert found.most_Mohm is None or item <= found.most_Mohm


@given(
    st.decimals("0.05", "5", places=2),
    st.decimals("0.05", "50", places=2),
    st.floats(-0.29, 0.29),
    st.floats(-0.29, 0.29),
)
def test_the_interval_holds_for_readings_off_by_the_accuracy(item, rest, off_before, off_after):
    """Each reading may be off by up to 30 % (BS EN 61557-2, from memory); the bounds still hold the item."""
    before = in_parallel((item, rest)) * (1 + D(str(off_before)))
    after = rest * (1 + D(str(off_after)))
    found = unplugged_item(value(f"{before:.6f}"), value(f"{after:.6f}"))
    if isinstance(found, Unknown):
        return
    assert found.least_Mohm <= item * D("1.0001")
    assert found.most_Mohm is None or item <= found.most_Mohm * D("1.0001")


def test_a_tea_urn_that_held_the_reading_down():
    found = unplugged_item(value("0.7"), value(">200"))
    assert (found.likely_Mohm, short(found.most_Mohm)) == (D("0.7"), "1.01")
    assert "about 0.700 Mohm" in found.sentence


@pytest.mark.parametrize("after", ["5", ">200"])
def test_an_item_with_a_dead_short(after):
    found = unplugged_item(value("0.00"), value(after))
    assert found.likely_Mohm == 0 and "dead short" in found.sentence


@pytest.mark.parametrize(
    ("before", "after"), [("5", "5"), ("5", "2"), (">5", "200"), ("0.7", "<5"), ("0.00", "0.00"), ("5", "0")]
)
def test_readings_that_cannot_tell_say_so(before, after):
    assert isinstance(unplugged_item(value(before), value(after)), Unknown)


def test_a_small_rise_gives_no_upper_bound():
    found = unplugged_item(value("100"), value("120"))
    assert found.most_Mohm is None and "no bound" in found.sentence


@pytest.mark.parametrize(
    ("figure", "text"), [("0.0371234", "0.0371"), ("1.23456", "1.23"), ("567.8", "568"), ("12345", "12345")]
)
def test_short_figures(figure, text):
    assert short(D(figure)) == text
