"""R1+R2 from cable and length, R2 by wander lead, bonding."""

import pytest

from tests.checking.sheets import AFTER, D, at_board, cable, circuit, reading, sheet
from voicelog.checking.continuity import bond_length_m, predicted_r1_r2, run_length_m
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown
from voicelog.model import OpenCircuit, Outcome


def test_prediction_and_length_are_inverse():
    run = cable("6", "2.5", "37")
    for ring in (False, True):
        assert run_length_m(predicted_r1_r2(run, ring=ring), run, ring=ring) == D("37.0")


def test_a_ring_reads_a_quarter():
    run = cable(length="60")
    assert predicted_r1_r2(run, ring=True) == predicted_r1_r2(run) / 4


@pytest.mark.parametrize("run", [cable(), cable("3", "1.5", "10")])
def test_without_length_or_size_there_is_no_prediction(run):
    assert isinstance(predicted_r1_r2(run), Unknown)


def test_the_verdict_tells_what_cable_and_length_give():
    house = sheet(circuit(cable=cable(length="30")), ze_ohm="0.2")
    assert "0.59 ohm at 20 degC" in judge(reading("r1_r2", "0.60", "ohm"), house, AFTER).sentence


@pytest.mark.parametrize(
    ("ring", "told"),
    [(False, "It would be 49.7 m of 2.5/1.5 mm2 at"), (True, "198.9 m of 2.5/1.5 mm2 once round")],
)
def test_without_a_length_on_the_sheet_the_verdict_tells_what_length_was_found(ring, told):
    """0.97 / 0.01951 ohm/m, and four times that (computed)."""
    house = sheet(circuit(cable=cable(), ring=ring), ze_ohm="0.1")
    assert told in judge(reading("r1_r2", "0.97", "ohm"), house, AFTER).sentence


def test_r2_alone_leaves_room_for_the_line_that_belongs_to_it():
    """1.09 - 0.20 = 0.89 for R1+R2; of that 12.10/(12.10 + 7.41) may be R2: 0.55 (computed)."""
    known, unknown = sheet(circuit(cable=cable()), ze_ohm="0.2"), sheet(circuit(), ze_ohm="0.2")
    assert judge(reading("r2_cpc", "0.5", "ohm"), known, AFTER).limit == D("0.55")
    verdict = judge(reading("r2_cpc", "0.5", "ohm"), unknown, AFTER)
    assert verdict.limit == D("0.89") and "nothing is left for the line" in verdict.sentence


def test_no_earth_at_a_named_point_fails():
    house = sheet(circuit(), ze_ohm="0.2")
    verdict = judge(reading("r2_cpc", "no_earth", "ohm", point="cloakroom switch"), house, AFTER)
    assert verdict.outcome is Outcome.FAIL and "keep people away" in verdict.caution


def test_without_ze_there_is_no_limit_but_an_open_circuit_still_fails():
    house = sheet(circuit())
    assert judge(reading("r1_r2", "0.3", "ohm"), house, AFTER).outcome is Outcome.NO_LIMIT
    assert judge(reading("r1_r2", OpenCircuit(), "ohm"), house, AFTER).outcome is Outcome.FAIL


def test_a_bond_says_what_length_it_would_be():
    assert bond_length_m(D("0.2")) == D("109.3")
    assert "109.3 m of 10 mm2" in judge(at_board("bonding", "0.2", "ohm", part="gas"), sheet(), AFTER).sentence
