"""Disconnection times by system, voltage and circuit (Table 41.1, 411.3.2: public pages, as the edition marks them)."""

import pytest

from tests.checking.sheets import AFTER, D, breaker, circuit
from voicelog.checking.disconnection import disconnection, system
from voicelog.checking.weighing import Unknown
from voicelog.installation import Supply


@pytest.mark.parametrize(
    ("earthing", "voltage", "final", "other"),
    [
        ("TN-C-S", "110", "0.8", "5"),
        ("TN-S", "230", "0.4", "5"),
        ("TN-C-S", "277", "0.2", "5"),
        ("TT", "110", "0.3", "1"),
        ("TT", "230", "0.2", "1"),
        ("TT", "277", "0.07", "1"),
    ],
)
def test_table_41_1(earthing, voltage, final, other):
    supply = Supply(earthing=earthing, nominal_voltage_V=voltage)
    assert disconnection(circuit(), supply, AFTER).time_s == D(final)
    assert disconnection(circuit(feeds="DB2"), supply, AFTER).time_s == D(other)


@pytest.mark.parametrize(
    ("rating", "sockets", "time"),
    [
        ("32", None, "0.4"),
        ("32", False, "0.4"),
        ("40", True, "0.4"),
        ("63", True, "0.4"),
        ("80", True, "5"),
        ("40", False, "5"),
        ("40", None, "0.4"),  # not known: the shorter time is the safe one
        ("63", None, "0.4"),
    ],
)
def test_which_final_circuits_are_short(rating, sockets, time):
    """Up to 63 A with sockets, up to 32 A without (411.3.2.2 since 2018: a public page and two forum threads)."""
    found = disconnection(circuit(device=breaker("B", rating), sockets=sockets), Supply(earthing="TN-S"), AFTER)
    assert found.time_s == D(time)


def test_not_knowing_is_said():
    found = disconnection(circuit(device=breaker("B", "40")), Supply(earthing="TN-S"), AFTER)
    assert "not known" in found.sentence


def test_a_stated_time_comes_first():
    assert disconnection(circuit(disconnection_s="5"), Supply(earthing="TT"), AFTER).time_s == 5


def test_a_voltage_outside_the_table_is_unknown():
    found = disconnection(circuit(), Supply(earthing="TN-S", nominal_voltage_V="690"), AFTER)
    assert isinstance(found, Unknown) and "690 V" in found.why


@pytest.mark.parametrize(("earthing", "kind"), [("TN-C-S", "TN"), ("TN-S", "TN"), ("TT", "TT")])
def test_systems(earthing, kind):
    assert system(Supply(earthing=earthing)) == kind
