"""The plan for a board as text, and its refusals."""

import pytest

from tests.checking.sheets import AFTER, circuit, rcd, reading, sheet
from voicelog.checking.plan import as_text, plan
from voicelog.errors import InputError

HOUSE = sheet(*(circuit(str(n), name=f"way {n}", rcd="R1") for n in range(1, 6)), rcds=(rcd("R1"),))
LEAKS = tuple(
    reading("earth_leakage", leak, "mA", at=str(n)) for n, leak in enumerate(("4.0", "3.5", "3.0", "2.0"), start=1)
)


def test_two_rcds():
    text = as_text(plan(HOUSE, LEAKS, AFTER, 2))
    assert "Board DB1 over R1, new 1" in text
    assert "Most even: 2 circuits move" in text
    assert "Fewest moves that meet the rule: 1 circuit moves" in text
    assert "from R1 to new 1" in text
    assert "no leakage reading stands: DB1/5" in text
    assert "prove dead" in text


def test_one_rcd_is_not_enough():
    text = as_text(plan(HOUSE, LEAKS, AFTER, 1))
    assert "No split meets the rule: all circuits together leak 12.5 mA" in text
    assert "Each circuit on its own 30 mA device: all within the rule, the fullest uses 44 %" in text


def test_a_circuit_that_its_own_device_cannot_take():
    text = as_text(plan(HOUSE, (reading("earth_leakage", "9.7", "mA", at="1"),), AFTER, 3))
    assert "still beyond the rule: DB1/1 (way 1) (9.70 mA)" in text


def test_the_last_reading_of_a_circuit_counts():
    found = plan(HOUSE, (*LEAKS, reading("earth_leakage", "1.0", "mA", at="1")), AFTER, 2)
    assert sum(group.leakage_mA for group in found.boards[0].even.groups) == 9.5


@pytest.mark.parametrize(
    ("record", "rcds", "words"), [(LEAKS, 0, "0 RCDs"), ((), 2, "no circuit has a leakage reading")]
)
def test_refusals(record, rcds, words):
    with pytest.raises(InputError, match=words):
        plan(HOUSE, record, AFTER, rcds)
