"""The plan for a board as text, and its refusals."""

import pytest

from tests.checking.sheets import AFTER, breaker, circuit, rcd, reading, sheet
from voicelog.checking.plan import as_text, plan
from voicelog.checking.record import Taken
from voicelog.checking.regrouping import NoSplit
from voicelog.errors import InputError
from voicelog.installation import Wishes

HOUSE = sheet(*(circuit(str(n), name=f"way {n}", rcd="R1") for n in range(1, 6)), rcds=(rcd("R1"),))


def leak(figure: str, at: str, reason: str = "") -> Taken:
    return Taken(reading=reading("earth_leakage", figure, "mA", at=at), reason=reason)


LEAKS = tuple(leak(figure, str(n)) for n, figure in enumerate(("4.0", "3.5", "3.0", "2.0"), start=1))


def test_two_rcds():
    text = as_text(plan(HOUSE, LEAKS, AFTER, 2))
    assert "Board DB1 over R1, new 1" in text
    assert "Most even: 2 circuits move" in text
    assert "Fewest moves that meet the rule: 1 circuit moves" in text
    assert "from R1 to new 1" in text
    assert "no leakage reading stands: DB1/5" in text
    assert "prove dead" in text


def test_a_board_of_which_one_search_was_cut_short():
    found = plan(HOUSE, LEAKS, AFTER, 2)
    board, late = found.boards[0], NoSplit(why="none was found in time")
    for part, told in (("even", "Fewest moves that meet the rule"), ("least_work", "Most even")):
        text = as_text(found.model_copy(update={"boards": (board.model_copy(update={part: late}),)}))
        assert told in text and ("none was found in time" in text) == (part == "even")


def test_what_an_rcd_reads_beyond_its_circuits_is_told():
    """Leakage that no circuit accounts for counts against the budget all the same (common practice)."""
    whole = Taken(reading=reading("earth_leakage", "13.9", "mA", rcd="R1"))
    assert "1.4 mA of the 13.9 mA read at R1 itself" in as_text(plan(HOUSE, (*LEAKS, whole), AFTER, 2))
    explained = Taken(reading=reading("earth_leakage", "12.4", "mA", rcd="R1"))
    assert "itself" not in as_text(plan(HOUSE, (*LEAKS, explained), AFTER, 2))


def test_one_rcd_is_not_enough():
    text = as_text(plan(HOUSE, LEAKS, AFTER, 1))
    assert "No split meets the rule: all circuits together leak 12.5 mA" in text
    assert "Each circuit on its own 30 mA device: all within the rule, the fullest uses 44 %" in text


def test_a_circuit_that_its_own_device_cannot_take():
    text = as_text(plan(HOUSE, (leak("9.7", "1"),), AFTER, 3))
    assert "still beyond the rule: DB1/1 (way 1) (9.70 mA)" in text


def test_the_last_reading_of_a_circuit_counts():
    found = plan(HOUSE, (*LEAKS, leak("1.0", "1")), AFTER, 2)
    assert sum(group.leakage_mA for group in found.boards[0].even.groups) == 9.5


def test_a_circuit_counts_as_found_and_what_it_leaks_without_an_item_is_said():
    """Common practice: what was unplugged is plugged in again one day, and the RCD must bear it then."""
    found = plan(HOUSE, (*LEAKS, leak("0.5", "1", "unplugged urn")), AFTER, 2)
    assert sum(group.leakage_mA for group in found.boards[0].even.groups) == 12.5
    said = "DB1/1 (way 1): reckoned as found, 4 mA with everything plugged in; 0.5 mA without urn"
    assert said in as_text(found)


def test_a_circuit_read_only_without_an_item_says_so():
    found = plan(HOUSE, (*LEAKS[1:], leak("0.5", "1", "unplugged urn")), AFTER, 2)
    assert sum(group.leakage_mA for group in found.boards[0].even.groups) == 9
    assert "DB1/1 (way 1): reckoned with 0.5 mA, read with urn unplugged; plugged in" in as_text(found)
    assert "unplugged" not in as_text(plan(HOUSE, LEAKS, AFTER, 2))


def test_what_feeds_another_board_is_not_put_behind_an_rcd_unless_that_is_wished():
    house = sheet(circuit("1", rcd="R1"), circuit("2", name="stage board", feeds="DB2"), rcds=(rcd("R1"),))
    text = as_text(plan(house, LEAKS[:2], AFTER, 2))
    assert "move DB1/2" not in text and "Left where it is, for it feeds another board: DB1/2 (stage board)" in text
    wished = house.model_copy(update={"regrouping": Wishes(fixed={"DB1/2": "new 1"})})
    assert "move DB1/2 (stage board) from no RCD to new 1" in as_text(plan(wished, LEAKS[:2], AFTER, 2))


def test_what_was_left_out_of_the_rcds_stays_so_unless_that_is_wished():
    """Common practice: an alarm is kept off a shared RCD; a board without any RCD has nothing left out."""
    house = sheet(circuit("1", rcd="R1"), circuit("2", name="fire alarm"), rcds=(rcd("R1"),))
    text = as_text(plan(house, LEAKS[:2], AFTER, 1))
    assert "0 circuits move" in text and "Left where it is, behind no RCD: DB1/2 (fire alarm)" in text
    wished = house.model_copy(update={"regrouping": Wishes(fixed={"DB1/2": "R1"})})
    assert "move DB1/2 (fire alarm) from no RCD to R1" in as_text(plan(wished, LEAKS[:2], AFTER, 1))
    bare = sheet(circuit("1"), circuit("2"))
    assert "move DB1/2 from no RCD to new 1" in as_text(plan(bare, LEAKS[:2], AFTER, 1))


def test_no_circuit_moves_to_a_less_sensitive_rcd_nor_sockets_above_30_mA():
    """411.3.3 asks 30 mA before socket-outlets up to 32 A (a public page on Chapter 41)."""
    ways = circuit("1", rcd="R30"), circuit("2", rcd="R30", sockets=True), circuit("3", rcd="R100")
    house = sheet(*ways, rcds=(rcd("R30"), rcd("R100", "100")))
    found = plan(house, (leak("5", "1"), leak("3.9", "2"), leak("2", "3")), AFTER, 2).boards[0]
    assert {group.rcd: group.circuits for group in found.even.groups}["R100"] == ("DB1/3",)
    text = as_text(plan(house, (leak("9.5", "2"),), AFTER, 2))
    assert "DB1/2 (9.5 mA) alone is beyond the 9.0 mA that one RCD may carry" in text


def test_an_rcbo_keeps_its_circuit_and_takes_no_other():
    """RCBOs to BS EN 61009 protect one circuit (common practice)."""
    combined = breaker("B", "32").model_copy(update={"standard": "BS EN 61009"})
    house = sheet(circuit("1", rcd="R1"), circuit("2", rcd="R2", device=combined), rcds=(rcd("R1"), rcd("R2")))
    text = as_text(plan(house, (leak("4", "1"), leak("9.8", "2")), AFTER, 2))
    assert "Board DB1 over R1, new 1" in text and "move DB1/2" not in text
    assert "Left where it is, on an RCBO of its own: DB1/2" in text
    assert "still beyond the rule: DB1/2 (9.80 mA)" in text


@pytest.mark.parametrize(
    ("record", "rcds", "words"), [(LEAKS, 0, "0 RCDs"), ((), 2, "no circuit has a leakage reading")]
)
def test_refusals(record, rcds, words):
    with pytest.raises(InputError, match=words):
        plan(HOUSE, record, AFTER, rcds)
