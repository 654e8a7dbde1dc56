"""Leakage: budgets, phasor bounds, headroom. 30 %: three trade articles; phasor rule computed."""

import cmath
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import AFTER, D, rcd
from voicelog.checking.appliances import appliances
from voicelog.checking.leakage import (
    budget_mA,
    headroom,
    remainder_bounds,
    resolution_mA,
    sum_bounds,
    trip_floor_mA,
    whole_against_parts,
)
from voicelog.checking.weighing import nearest

LEAKS = st.decimals("0.01", "20", places=2)
QUARTER = st.floats(0, math.pi / 2)  # resistive to capacitive


@pytest.mark.parametrize(
    ("rated", "budget", "floor"), [("10", "3", "5"), ("30", "9", "15"), ("100", "30", "50"), ("300", "90", "150")]
)
def test_budgets(rated, budget, floor):
    assert budget_mA(rcd(rated=rated), AFTER) == D(budget)
    assert trip_floor_mA(rcd(rated=rated), AFTER) == D(floor)


@given(st.lists(st.tuples(LEAKS, QUARTER), min_size=1, max_size=12))
def test_phasors_of_one_phase_add_within_the_bounds(phasors):
    """Drawn as complex numbers between resistive and capacitive, and added."""
    whole = abs(sum(cmath.rect(float(size), angle) for size, angle in phasors))
    bounds = sum_bounds(size for size, _ in phasors)
    assert float(bounds.least_mA) - 1e-9 <= whole <= float(bounds.most_mA) + 1e-9


@given(st.lists(st.tuples(LEAKS, QUARTER), min_size=1, max_size=8), LEAKS, QUARTER)
def test_what_is_missing_lies_within_the_remainder(phasors, missing, angle):
    whole = abs(sum(cmath.rect(float(s), a) for s, a in phasors) + cmath.rect(float(missing), angle))
    bounds = remainder_bounds(D(str(whole)), (size for size, _ in phasors))
    assert float(bounds.least_mA) - 1e-6 <= float(missing) <= float(bounds.most_mA) + 1e-6


def test_bounds_of_nothing_are_nothing():
    assert sum_bounds(()).least_mA == sum_bounds(()).most_mA == 0


@given(st.lists(LEAKS, min_size=1, max_size=12), LEAKS)
def test_a_budget_adds_up(parts, extra):
    room = headroom(rcd(), parts, AFTER, extra)
    assert room.used_mA + room.left_mA == room.budget_mA == 9
    assert room.left_mA - room.after_mA == extra
    assert room.fits == (sum(parts) + extra <= 9)


def test_headroom_of_a_30_mA_device():
    """The worst unit trips just above 15 mA; 9 mA leaves 6 mA (a maker's article; computed)."""
    room = headroom(rcd(), (D(9),), AFTER)
    assert (room.left_mA, room.to_trip_mA) == (0, 6)


def test_three_to_nine_it_items_reach_the_budget():
    """1 to 3.5 mA each: 9 mA is reached by 3 to 9 items (a maker's article; computed)."""
    item = appliances()["computer, printer or the like"]
    assert math.ceil(9 / item.at_most_mA) == 3 and math.ceil(9 / item.typical_mA) == 9


@pytest.mark.parametrize(("kW", "mA"), [("0", "0.75"), ("1", "0.75"), ("3", "2.25"), ("9", "5")])
def test_heating_appliances_by_power(kW, mA):
    """0.75 mA or 0.75 mA per kW, whichever is larger, at most 5 (IEC 60335-1 clause 13, a public copy)."""
    assert appliances()["stationary class I heating appliance"].leakage_mA(D(kW)) == D(mA)


def test_cable_capacitance():
    """150 pF/m at 230 V and 50 Hz is 10.8 uA/m, about 1.1 mA in 100 m (150 pF/m from memory; computed)."""
    per_m = 2 * math.pi * 50 * 150e-12 * 230
    assert nearest(D(str(per_m * 1e6)), 1) == D("10.8")
    assert nearest(D(str(per_m * 100 * 1e3)), 1) == appliances()["100 m of cable"].at_most_mA
    assert abs(2 * math.pi * 50 * 1e-9 * 230 * 1e6 - 72.3) < 0.1  # per nF; a public page prints 73


@pytest.mark.parametrize(
    ("whole", "parts", "agrees", "words"),
    [
        ("8.0", ("3.0", "3.0", "3.0"), True, "lies within"),
        ("9.1", ("3.0", "3.0", "3.0"), True, "lies within"),  # as coarsely as it was read
        ("12.0", ("3.0", "3.0", "3.0"), False, "at least 3.00 mA in something not measured"),
        ("2.0", ("3.0", "3.0", "3.0"), False, "different phases"),
    ],
)
def test_a_whole_against_its_parts(whole, parts, agrees, words):
    found = whole_against_parts(D(whole), tuple(map(D, parts)))
    assert found.agrees is agrees and words in found.sentence


@pytest.mark.parametrize(("figure", "half"), [("8.1", "0.05"), ("8", "0.5"), ("0.850", "0.0005")])
def test_resolution_is_half_of_the_last_digit_called(figure, half):
    assert resolution_mA(D(figure)) == D(half)
