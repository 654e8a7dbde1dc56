"""The nouns of the job sheet: consistent with themselves, and lookups that say what is missing."""

import pytest
from pydantic import ValidationError

from tests.checking.sheets import breaker, circuit, fuse, rcd, sheet
from voicelog.errors import SheetError
from voicelog.installation import Board
from voicelog.model import Place

HOUSE = sheet(circuit("5", rcd="R"), circuit("6"), rcds=(rcd("R"), rcd("S")))


def test_lookups():
    assert HOUSE.circuit(Place(board="DB1", circuit="5")).number == "5"
    assert HOUSE.circuit(Place(board="DB1")) is None
    assert HOUSE.rcd(Place(board="DB1", circuit="5")).reference == "R"
    assert HOUSE.rcd(Place(board="DB1", rcd="S")).reference == "S"
    assert HOUSE.rcd(Place(board="DB1", circuit="6")) is None
    assert [c.number for c in HOUSE.board("DB1").behind("R")] == ["5"]


@pytest.mark.parametrize(
    ("place", "missing"),
    [(Place(board="DB9"), "board 'DB9'"), (Place(board="DB1", circuit="7"), "circuit '7'")],
)
def test_what_is_not_there_is_named(place, missing):
    with pytest.raises(SheetError, match=missing):
        HOUSE.board(place.board)
        HOUSE.circuit(place)


def test_boards_that_feed_each_other_have_no_rcd_before_them():
    one, other = (Board(reference=a, supplied_from=f"{b}/1", circuits=(circuit("1"),)) for a, b in ("AB", "BA"))
    assert sheet().model_copy(update={"boards": (one, other)}).protecting_rcd(Place(board="A")) is None


def test_an_unknown_feeder_is_named():
    lost = Board(reference="DB2", supplied_from="DB9/1")
    with pytest.raises(SheetError, match="'DB9/1'"):
        sheet(boards=(lost,)).feeder(lost)


def test_an_unknown_rcd_is_named():
    with pytest.raises(SheetError, match="RCD 'X'"):
        HOUSE.rcd(Place(board="DB1", rcd="X"))


@pytest.mark.parametrize(
    ("circuits", "rcds", "words"),
    [
        ((circuit("5"), circuit("5")), (), "'5' appears more than once"),
        ((), (rcd("R"), rcd("R")), "'R' appears more than once"),
        ((circuit("5", rcd="R"),), (), "RCD 'R', which the board does not have"),
    ],
)
def test_a_board_agrees_with_itself(circuits, rcds, words):
    with pytest.raises(ValidationError, match=words):
        Board(reference="DB1", circuits=circuits, rcds=rcds)


def test_two_boards_of_one_name_are_refused():
    with pytest.raises(ValidationError, match="'DB1' appears more than once"):
        sheet(boards=(Board(reference="DB1"),))


@pytest.mark.parametrize("rating", ["0", "-6", "abc"])
def test_a_rating_is_positive(rating):
    with pytest.raises(ValidationError):
        breaker(rating=rating)


@pytest.mark.parametrize(
    ("device", "name"),
    [(breaker("C", "32.0"), "C32"), (breaker("B", "6"), "B6"), (fuse("BS 88-3", "80"), "BS 88-3 80 A")],
)
def test_a_device_has_the_name_people_say(device, name):
    assert device.name == name
