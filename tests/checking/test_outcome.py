"""Codes, the overall rule, and suggestions that leave the decision to a qualified person."""

import itertools

import pytest

from tests.checking.sheets import AFTER, at_board, circuit, rcd, reading, sheet
from voicelog.checking.outcome import FAILED, MARGINAL, MEANINGS, TOO_HIGH, Observation, overall, suggest
from voicelog.checking.verdicts import judge
from voicelog.model import OpenCircuit, OverRange

HOUSE = sheet(circuit("5", rcd="R"), rcds=(rcd("R"),), ze_ohm="0.2")


@pytest.mark.parametrize("codes", [c for n in range(4) for c in itertools.product(MEANINGS, repeat=n)], ids="-".join)
def test_any_c1_c2_or_fi_is_unsatisfactory(codes):
    """Three public pages on condition reports."""
    found = overall(tuple(Observation(code=code) for code in codes))
    assert found.satisfactory == (not set(codes) & {"C1", "C2", "FI"})
    assert "qualified person decides" in found.sentence


@pytest.mark.parametrize(
    ("called", "code"),
    [
        (reading("zs", "2.0", "ohm"), "C2"),
        (reading("r2_cpc", "no_earth", "ohm"), "C2"),
        (reading("ring_r2", OpenCircuit(), "ohm"), "C2"),
        (reading("polarity", "fail"), "C1"),
        (reading("rcd_time", "no_trip", "ms", rcd="R", multiple="1"), "C2"),
        (reading("earth_leakage", "9.5", "mA", rcd="R"), "C3"),
        (at_board("ir_lne", "0.2", "Mohm"), "FI"),
        (at_board("ze", "0.9", "ohm"), "FI"),
    ],
)
def test_suggestions(called, code):
    suggestion = suggest(called, judge(called, HOUSE, AFTER))
    assert suggestion.code == code and suggestion.words and suggestion.why


@pytest.mark.parametrize(
    ("figure", "words"),
    [("3.0", "resistance above"), ("no_earth", "No effective"), (OverRange(), "No effective")],
)
def test_a_figure_too_high_is_not_called_a_missing_conductor(figure, words):
    called = reading("r2_cpc", figure, "ohm")
    assert words in suggest(called, judge(called, HOUSE, AFTER)).words


@pytest.mark.parametrize(
    "called",
    [
        reading("zs", "0.5", "ohm"),
        reading("ir_le", "1.5", "Mohm"),
        reading("zs", "limitation", "ohm"),
        reading("polarity", "pass"),
    ],
)
def test_what_passes_or_has_no_limit_suggests_nothing(called):
    assert suggest(called, judge(called, HOUSE, AFTER)) is None


@pytest.mark.parametrize("table", [FAILED, TOO_HIGH, MARGINAL])
def test_every_suggestion_has_a_known_code(table):
    assert all(code in MEANINGS and words for code, words in table.values())
