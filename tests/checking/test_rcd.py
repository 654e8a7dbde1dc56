"""RCDs: break times by edition and kind, ramp windows, types against loads and d.c.

Break times: product standards on five public pages. A2 asks for one a.c. test at the rated residual
current (a professional institution's forum, thread 28337).
"""

import pytest

from tests.checking.sheets import AFTER, BEFORE, D, circuit, rcd, reading, sheet
from voicelog.checking.rcd import least_type, ramp_window, smooth_dc_mA
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown
from voicelog.model import Choice, Outcome, OverRange

PASS, MARGINAL, FAIL, NONE = Outcome.PASS, Outcome.MARGINAL, Outcome.FAIL, Outcome.NO_LIMIT
HOUSE = sheet(circuit("5", rcd="G"), rcds=(rcd("G", type="A"), rcd("S", "100", delayed=True), rcd("M", "300")))


@pytest.mark.parametrize("edition", [AFTER, BEFORE], ids=["after", "before"])
@pytest.mark.parametrize(
    ("device", "said", "outcome"),
    [
        ("G", "28.4", PASS),
        ("G", "45", PASS),  # one times is never failed against 40 ms
        ("G", "199", PASS),
        ("G", "270", PASS),
        ("G", "271", MARGINAL),
        ("G", "300", MARGINAL),
        ("G", "301", FAIL),
        ("G", ">300", FAIL),
        ("G", ">200", MARGINAL),  # cannot tell
        ("G", "no_trip", FAIL),
        ("G", OverRange(), FAIL),
        ("S", "129", FAIL),  # a delayed device that trips too soon
        ("S", "130", PASS),
        ("S", "450", PASS),
        ("S", "500", MARGINAL),
        ("S", "501", FAIL),
        ("S", "no_trip", FAIL),
    ],
)
def test_one_times(device, said, outcome, edition):
    assert judge(reading("rcd_time", said, "ms", rcd=device, multiple="1"), HOUSE, edition).outcome is outcome


@pytest.mark.parametrize(
    ("device", "said", "before", "after"),
    [
        ("G", "38", MARGINAL, MARGINAL),
        ("G", "35", PASS, PASS),
        ("G", "41", FAIL, MARGINAL),
        ("G", "no_trip", FAIL, MARGINAL),
        ("S", "100", PASS, PASS),
        ("S", "49", MARGINAL, MARGINAL),  # delayed, it is no additional protection
        ("S", "151", MARGINAL, MARGINAL),
        ("M", "41", MARGINAL, MARGINAL),  # over 30 mA it is none either
    ],
)
def test_five_times_fails_only_where_the_edition_asks_for_it(device, said, before, after):
    five = reading("rcd_time", said, "ms", rcd=device, multiple="5")
    assert judge(five, HOUSE, BEFORE).outcome is before
    assert judge(five, HOUSE, AFTER).outcome is after


def test_a_time_not_asked_for_says_so():
    verdict = judge(reading("rcd_time", "41", "ms", rcd="G", multiple="5"), HOUSE, AFTER)
    assert "does not ask for the test" in verdict.sentence and verdict.limit == 40


@pytest.mark.parametrize(
    ("said", "outcome"),
    [
        ("no_trip", PASS),
        (OverRange(), PASS),
        (">1999", PASS),
        ("2000", PASS),
        (">300", MARGINAL),
        ("15", FAIL),
        ("<300", FAIL),
    ],
)
def test_half_has_to_hold(said, outcome):
    """Must not trip for 2 s: Basic Electrical Installation Work, p359."""
    assert judge(reading("rcd_time", said, "ms", rcd="G", multiple="0.5"), HOUSE, AFTER).outcome is outcome


@pytest.mark.parametrize("multiple", ["", "2", "10"])
def test_a_multiple_without_a_row_has_no_limit(multiple):
    assert judge(reading("rcd_time", "20", "ms", rcd="G", multiple=multiple), HOUSE, AFTER).outcome is NONE


def test_a_circuit_is_judged_by_the_rcd_it_lies_behind():
    assert judge(reading("rcd_time", "301", "ms", multiple="1"), HOUSE, AFTER).outcome is FAIL
    bare = sheet(circuit("5"))
    assert judge(reading("rcd_time", "20", "ms", multiple="1"), bare, AFTER).outcome is NONE


@pytest.mark.parametrize(
    ("kind", "rated", "waveform", "low", "high"),
    [
        ("AC", "30", "sine", "0.5", "1.0"),
        ("A", "30", "sine", "0.5", "1.0"),
        ("A", "30", "pulsating", "0.35", "1.4"),
        ("A", "10", "pulsating", "0.35", "2.0"),
        ("A", "30", "pulsating 90", "0.25", "1.4"),
        ("A", "10", "pulsating 90", "0.25", "2.0"),
        ("A", "30", "pulsating 135", "0.11", "1.4"),
        ("A", "10", "pulsating 135", "0.11", "2.0"),
        ("F", "30", "composite", "0.5", "1.4"),
        ("B", "30", "smooth", "0.5", "2.0"),
    ],
)
def test_ramp_windows(kind, rated, waveform, low, high):
    """An instrument maker's manual p31 and public tables; 135 degrees, composite, smooth, and 10 mA at 90 degrees from
    memory (IEC 61008 and 61009)."""
    window = ramp_window(rcd(rated=rated, type=kind), waveform, AFTER)
    assert (window.low, window.high) == (D(low), D(high))


@pytest.mark.parametrize(("kind", "waveform"), [("AC", "pulsating"), ("A", "smooth"), ("A", "composite")])
def test_a_type_has_no_window_for_what_it_does_not_detect(kind, waveform):
    assert isinstance(ramp_window(rcd(type=kind), waveform, AFTER), Unknown)


@pytest.mark.parametrize(
    ("said", "outcome"),
    [("14.9", FAIL), ("15", MARGINAL), ("16.4", MARGINAL), ("22.5", PASS), ("27", PASS), ("30.1", FAIL)],
)
def test_a_ramp(said, outcome):
    """A healthy 30 mA device trips at about 24 to 27 mA; lower is suspect (a trade article, September 2017)."""
    assert judge(reading("rcd_ramp", said, "mA", rcd="G"), HOUSE, AFTER).outcome is outcome


@pytest.mark.parametrize(
    ("kind", "rated", "bears"),
    [("AC", "30", "6"), ("A", "30", "6"), ("F", "30", "10"), ("B", "30", "12"), ("B", "10", "10")],
)
def test_smooth_dc_by_type(kind, rated, bears):
    """531.3.3 Notes 1 to 3 on public pages; type B: 0.4 of the rating or 10 mA, whichever is higher."""
    assert smooth_dc_mA(rcd(rated=rated, type=kind), AFTER) == D(bears)


def test_dc_without_a_known_type_has_no_limit():
    house = sheet(circuit(rcd="X"), rcds=(rcd("X"),))
    verdict = judge(reading("earth_leakage_dc", "2", "mA"), house, AFTER)
    assert verdict.outcome is NONE and "type of RCD X" in verdict.sentence


@pytest.mark.parametrize(
    ("loads", "least"),
    [
        ((), "AC"),
        (("resistive",), "AC"),
        (("electronic",), "A"),
        (("resistive", "single-phase drive"), "F"),
        (("three-phase drive",), "B"),
        (("vehicle charging", "resistive"), "B"),
    ],
)
def test_the_least_type_for_the_loads(loads, least):
    assert least_type((circuit(loads=loads),), AFTER) == least


def test_type_ac_for_general_use_depends_on_the_edition():
    """Allowed by 531.3.3 before A2; after it only for equipment known to have no d.c. (Wiring Matters no. 91)."""
    house = sheet(circuit(rcd="X", loads=("electronic",)), rcds=(rcd("X", type="AC"),))
    called = reading("rcd_type", Choice(word="AC"), rcd="X")
    assert judge(called, house, BEFORE).outcome is PASS
    verdict = judge(called, house, AFTER)
    assert verdict.outcome is FAIL and "Type A would be" in verdict.sentence
