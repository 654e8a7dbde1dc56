"""Ring final circuits: agreement, ratio, open legs, spurs, and what each step should read at every point.

Rules: Basic Electrical Installation Work, p354, and public pages. For step 3 the circuit is solved independently below,
as a network of resistors.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import AFTER, D, cable, circuit, reading, sheet
from voicelog.checking.conductors import ohm_per_m
from voicelog.checking.rings import (
    LEGS,
    Ends,
    assess_ends,
    ends_of,
    open_legs,
    ring_length_m,
    spur_length_m,
    step2_ohm,
    step3_range_ohm,
)
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown, nearest
from voicelog.model import OpenCircuit, Outcome

RING = sheet(circuit(ring=True, cable=cable(length="60")), ze_ohm="0.2")
GOOD = tuple(reading(q, said, "ohm") for q, said in (("ring_r1", "0.44"), ("ring_rn", "0.45"), ("ring_r2", "0.72")))


@pytest.mark.parametrize(
    ("line", "cpc", "r1", "r2", "low", "high"),
    [("2.5", "1.5", "0.741", "1.210", "0.460", "0.488"), ("4", "1.5", "0.461", "1.210", "0.334", "0.418")],
)
def test_hundred_metres_of_ring(line, cpc, r1, r2, low, high):
    """Computed from the conductor tables: 2.5/1.5 changes little along the ring, 4/1.5 clearly."""
    assert (ohm_per_m(D(line)) * 100, ohm_per_m(D(cpc)) * 100) == (D(r1), D(r2))
    found = step3_range_ohm(D(r1), D(r2))
    assert (nearest(found[0], 3), nearest(found[1], 3)) == (D(low), D(high))


OHMS = st.decimals("0.05", "5", places=3)


@given(OHMS, OHMS)
def test_the_crossed_ends_read_least_and_the_middle_most(r1, r2):
    """Four conductors between the socket and the two crossed joints, solved by Kirchhoff's current law."""
    low, high = map(float, step3_range_ohm(r1, r2))
    assert _network_ohm(float(r1), float(r2), 1e-6) == pytest.approx(low, rel=2e-4)
    assert _network_ohm(float(r1), float(r2), 0.5) == pytest.approx(high, rel=1e-9)


@given(OHMS, OHMS, st.floats(0.01, 0.99))
def test_every_point_lies_between(r1, r2, fraction):
    low, high = map(float, step3_range_ohm(r1, r2))
    found = _network_ohm(float(r1), float(r2), fraction)
    assert low * (1 - 1e-9) <= found <= high * (1 + 1e-9)


def _network_ohm(line: float, cpc: float, x: float) -> float:
    """Nodes: L and E at the socket, P and Q the joints (line's one end with the other end of the cpc)."""
    branches = [("L", "P", line * x), ("L", "Q", line * (1 - x)), ("E", "Q", cpc * x), ("E", "P", cpc * (1 - x))]
    index = {"L": 0, "P": 1, "Q": 2}  # E is the reference
    laplacian = np.zeros((4, 4))
    order = {**index, "E": 3}
    for a, b, ohm in branches:
        i, j, g = order[a], order[b], 1 / ohm
        laplacian[i, i] += g
        laplacian[j, j] += g
        laplacian[i, j] -= g
        laplacian[j, i] -= g
    return float(np.linalg.solve(laplacian[:3, :3], [1.0, 0.0, 0.0])[0])


@given(OHMS, st.floats(0.01, 0.99))
def test_step_2_of_equal_conductors_is_the_same_everywhere(r1, fraction):
    assert _network_ohm(float(r1), float(r1), fraction) == pytest.approx(float(step2_ohm(r1, r1)), rel=1e-9)


@pytest.mark.parametrize(
    ("r1", "rn", "r2", "outcome", "words"),
    [
        ("0.44", "0.45", "0.72", Outcome.PASS, "agree within 0.05"),
        ("0.44", "0.49", "0.72", Outcome.PASS, "agree"),
        ("0.44", "0.50", "0.72", Outcome.MARGINAL, "differ by 0.06"),
        ("0.44", "0.45", "1.20", Outcome.MARGINAL, "poor joint"),
        ("0.44", "0.45", "0.30", Outcome.MARGINAL, "parallel path"),
    ],
)
def test_what_the_ends_say(r1, rn, r2, outcome, words):
    found, said = assess_ends(Ends(r1=r1, rn=rn, r2=r2), cable(), AFTER)
    assert found is outcome and any(words in sentence for sentence in said)


def test_the_length_is_told():
    assert any("59 m" in s for s in assess_ends(Ends(r1="0.44", rn="0.44"), cable(), AFTER)[1])
    assert ring_length_m(D("0.44"), D("2.5")) == D("59.4")


@pytest.mark.parametrize("leg", LEGS)
def test_an_open_leg_fails_and_is_named(leg):
    verdict = judge(reading(leg, OpenCircuit(), "ohm"), RING, AFTER)
    assert verdict.outcome is Outcome.FAIL and LEGS[leg] in verdict.sentence
    assert open_legs((reading(leg, OpenCircuit(), "ohm"),), reading(leg, "1", "ohm").place) == (LEGS[leg],)


def test_one_end_alone_has_no_limit_and_says_what_is_missing():
    verdict = judge(GOOD[0], RING, AFTER)
    assert verdict.outcome is Outcome.NO_LIMIT and "neutral (rn)" in verdict.sentence
    assert isinstance(ends_of(GOOD[:1], GOOD[0].place), Unknown)


@pytest.mark.parametrize(
    ("quantity", "said", "outcome", "words"),
    [
        ("ring_step2", "0.22", Outcome.PASS, "0.22 ohm"),
        ("ring_step2", "0.27", Outcome.PASS, ""),
        ("ring_step2", "0.35", Outcome.MARGINAL, "spur"),
        ("ring_step2", "0.05", Outcome.MARGINAL, "bridged"),
        ("ring_step3", "0.28", Outcome.PASS, "0.27 to 0.29"),
        ("ring_step3", "0.45", Outcome.MARGINAL, "spur"),
        ("ring_step3", "1.20", Outcome.FAIL, "Zs"),
        ("ring_step2", OpenCircuit(), Outcome.FAIL, "Open circuit"),
    ],
)
def test_steps(quantity, said, outcome, words):
    verdict = judge(reading(quantity, said, "ohm"), RING, AFTER, GOOD)
    assert verdict.outcome is outcome and words in verdict.sentence


def test_a_spur_has_a_length():
    """0.13 ohm above the ring through line and return of 2.5 mm2: 0.065 / 0.00741 = 8.8 m (computed)."""
    assert spur_length_m(D("0.355"), D("0.225"), D("2.5")) == D("8.8")


def test_steps_without_ends_have_no_limit():
    assert judge(reading("ring_step2", "0.22", "ohm"), RING, AFTER).outcome is Outcome.NO_LIMIT
    assert judge(reading("ring_step3", "0.28", "ohm"), RING, AFTER, GOOD[:2]).outcome is Outcome.NO_LIMIT
