"""Longest runs, fault current, breaking capacity, three phases."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.checking.sheets import AFTER, D, at_board, breaker, cable, circuit, rcd, sheet, value
from voicelog.checking.continuity import predicted_r1_r2
from voicelog.checking.fault import fault_current_A, three_phase_kA
from voicelog.checking.loop import (
    longest_run_m,
    origin_ohm,
    permitted_zs,
    predicted_zs,
    tabulated_zs,
)
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown
from voicelog.installation import Board
from voicelog.model import Outcome, Place, Reading

RADIAL = circuit(cable=cable("2.5", "1.5", "30"), device=breaker("B", "20"))


@given(
    st.decimals("0.05", "0.80", places=2), st.sampled_from([("1.5", "1.0"), ("2.5", "1.5"), ("4", "1.5"), ("6", "2.5")])
)
def test_the_longest_run_is_the_longest(ze, sizes):
    """One metre more would break the limit at operating temperature; the run itself does not (computed)."""
    run = RADIAL.model_copy(update={"cable": cable(*sizes)})
    house = sheet(run)
    limit, longest = permitted_zs(run, house, AFTER), longest_run_m(run, ze, house, AFTER)
    zs = [predicted_zs(ze, predicted_r1_r2(cable(*sizes, str(longest + more))), D(70)) for more in (0, 1)]
    assert zs[0] <= limit.tabulated_ohm < zs[1]


def test_a_ring_may_be_four_times_as_long_once_round():
    ring = RADIAL.model_copy(update={"ring": True})
    radial_m, ring_m = (longest_run_m(c, D("0.35"), sheet(c), AFTER) for c in (RADIAL, ring))
    assert 4 * radial_m <= ring_m <= 4 * (radial_m + 1)


def test_no_run_is_long_enough_when_the_supply_takes_it_all():
    assert longest_run_m(RADIAL, D(3), sheet(RADIAL), AFTER) == 0


@pytest.mark.parametrize("bare", [circuit(cable=None), circuit(device=None, cable=cable())])
def test_a_run_without_cable_or_device_is_unknown(bare):
    assert isinstance(longest_run_m(bare, D("0.2"), sheet(bare), AFTER), Unknown)


def test_ze_measured_comes_before_ze_on_the_sheet():
    house = sheet(RADIAL, ze_ohm="0.35")
    assert origin_ohm(house.boards[0], house, ()) == D("0.35")
    assert origin_ohm(house.boards[0], house, (at_board("ze", "0.21", "ohm"),)) == D("0.21")
    assert isinstance(origin_ohm(sheet(RADIAL).boards[0], sheet(RADIAL), ()), Unknown)


def test_a_bound_is_no_ze():
    """ "> 0.3" cannot be added to anything."""
    assert isinstance(origin_ohm(sheet(RADIAL).boards[0], sheet(RADIAL), (at_board("ze", ">0.3", "ohm"),)), Unknown)


@given(st.decimals("0.01", "10", places=2), st.decimals("0.01", "10", places=2))
def test_more_impedance_never_gives_more_current(one, other):
    low, high = sorted((one, other))
    assert fault_current_A(high, D(230)) <= fault_current_A(low, D(230))


@pytest.mark.parametrize(
    ("kA", "phases", "fuse", "outcome"),
    [
        ("5.3", 1, "80", Outcome.PASS),
        ("5.5", 1, "80", Outcome.MARGINAL),  # over 90 % of 6 kA
        ("6.1", 1, "80", Outcome.MARGINAL),  # the consumer unit as a whole may be rated 16 kA
        ("6.1", 1, "125", Outcome.FAIL),
        ("16.1", 1, "100", Outcome.FAIL),
        ("2.9", 3, "80", Outcome.PASS),
        ("3.1", 3, "80", Outcome.MARGINAL),  # doubled for three phases
        (">6", 1, "125", Outcome.FAIL),
        (">5", 1, "80", Outcome.MARGINAL),  # cannot tell
    ],
)
def test_breaking_capacity(kA, phases, fuse, outcome):
    house = sheet(circuit(device=breaker(breaking_capacity_kA="6")), phases=phases, main_fuse_A=fuse)
    assert judge(at_board("pfc", kA, "kA"), house, AFTER).outcome is outcome


def test_the_weakest_device_of_the_board_counts():
    strong, weak = breaker(breaking_capacity_kA="10"), breaker("C", "16", breaking_capacity_kA="3")
    house = sheet(circuit("1", device=strong), circuit("2", device=weak))
    verdict = judge(at_board("pfc", "3.5", "kA"), house, AFTER)
    assert (verdict.outcome, verdict.limit) == (Outcome.FAIL, 3)
    assert "C16" in verdict.sentence


def test_doubling_is_on_the_safe_side_of_root_three():
    assert three_phase_kA(D("1.15"), AFTER) > D("1.15") * D(3).sqrt()


@pytest.mark.parametrize(
    ("earthing", "behind", "greatest"), [("TT", True, "500"), ("TT", False, "1.37"), ("TN-S", True, "1.37")]
)
def test_the_greatest_zs_of_a_schedule_is_that_of_the_device_that_verdicts_rest_on(earthing, behind, greatest):
    house = sheet(circuit(), earthing=earthing)
    device = rcd(rated="100") if behind else None
    assert tabulated_zs(circuit(), device, house, AFTER) == D(greatest)


def test_ze_called_at_a_board_that_another_feeds_is_not_the_supplys():
    """Ze is the loop before the installation (common practice); at a board within it Zs counts."""
    fed = Board(reference="DB2", supplied_from="DB1/5")
    house = sheet(circuit("5", feeds="DB2"), boards=(fed,))
    taken = Reading(place=Place(board="DB2"), quantity="ze", value=value("0.44"), unit="ohm")
    verdict = judge(taken, house, AFTER)
    assert verdict.outcome is Outcome.NO_LIMIT and "DB2 is fed from DB1/5: call Zs here" in verdict.sentence
