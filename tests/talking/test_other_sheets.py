"""Conversations on sheets other than the demonstration's: a circuit behind no RCD, two boards with the same names."""

import pytest

from tests.talking.test_conversations import Rehearsal
from voicelog.meaning.parsing import Reader
from voicelog.talking.conversation import Policy


@pytest.fixture(scope="module")
def rehearse(grammar, sheet):
    """What the program says to lines on a sheet whose boards are put in."""

    def rehearsed(boards, *lines):
        altered = sheet.model_copy(update={"boards": tuple(boards)})
        rehearsal = Rehearsal(grammar, altered, Reader(grammar, altered), Policy.EVERY)
        for line in lines:
            rehearsal.say(line)
        return [line.split(") ", 1)[1] for line in rehearsal.done if line.startswith("< ")]

    return rehearsed


@pytest.fixture(scope="module")
def boards(sheet):
    """Circuit 3 of the first has no RCD; the second has two of its circuits, by the same names."""
    first = sheet.boards[0]
    third = first.circuits[2].model_copy(update={"rcd": ""})
    circuits = (*first.circuits[:2], third, *first.circuits[3:])
    first = first.model_copy(update={"circuits": circuits})
    return first, first.model_copy(update={"reference": "DB2", "circuits": circuits[:2]})


def test_a_circuit_is_asked_for_no_test_that_it_cannot_have(rehearse, boards):
    """Live tests behind no RCD, dead tests of a ring and of a radial circuit: common practice of the trade."""
    said = rehearse(
        boards[:1],
        *("circuit three", "start sequence live tests", "what is left", "finish sequence"),
        *("start sequence dead tests", "what is left", "finish sequence"),
        *("circuit four", "start sequence dead tests", "what is left"),
    )
    assert said[2] == "left: zed s, functional check"
    assert said[5].startswith("left: r one plus r two, insulation live to live")
    assert said[9].startswith(
        "left: ring line, ring neutral, ring earth, ring crossed neutral, ring crossed earth, r one"
    )


def test_a_sweep_goes_round_the_circuits_that_have_the_test_and_says_which(rehearse, boards):
    said = rehearse(boards[:1], "start sweep ring earth", "what is left", "sweep r c d five times", "what is left")
    assert said[1] == "left: circuit one, circuit four"
    assert said[2].startswith("sweep, r c d five times. circuit one")
    assert "circuit two, circuit four" in said[3]
    none = [boards[0].model_copy(update={"circuits": boards[0].circuits[1:3]})]
    assert rehearse(none, "start sweep ring earth") == ["ring earth is not measured circuit by circuit here"]


def test_a_name_is_that_of_the_board_in_hand(rehearse, boards):
    said = rehearse(boards, "tea urn", "board d b two", "tea urn", "hall lights", "kitchen sockets")
    assert said[0] == "board d b one, circuit two, tea urn"
    assert said[2:4] == ["board d b two, circuit two, tea urn", "board d b one, circuit seven, hall lights"]
    assert said[4] == "board d b one, circuit one, kitchen sockets"


def test_a_board_is_said_once_for_the_circuits_on_it(rehearse, boards):
    said = rehearse(boards, "circuit one zed s nought point five", "affirm", "what is left")
    left = said[2].rpartition("zed s: ")[2]
    assert left.startswith("board d b one, circuit two, circuit three, circuit four")
    assert left.endswith("circuit nine, board d b two, circuit one, circuit two")


def test_what_is_gone_round_needs_no_unit_where_it_is_named(rehearse, boards):
    said = rehearse(
        boards[:1],
        *("circuit one", "start sequence r c d", "r c d ramp twenty two", "affirm", "finish sequence"),
        *("r c d ramp twenty two", "start sequence insulation", "insulation neutral to earth above two hundred"),
    )
    assert said[2] == "circuit one. r c d ramp, two two milliamps. pass"
    assert "r c d ramp: say the unit: milliamps" in said
    assert said[-1].endswith("greater than two zero zero megohms. pass")


def test_a_watch_is_told(rehearse, boards):
    said = rehearse(boards[:1], "watch leakage on circuit three", "where am i")
    assert said[-1] == "circuit three, water heater. earth leakage? watching"
