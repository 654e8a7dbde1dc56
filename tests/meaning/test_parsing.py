"""Said -> meaning -> said back, refusals beside acceptances; and words that nobody foresaw."""

import random
import re
import tomllib
from decimal import Decimal
from itertools import combinations
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz import fuzz

from voicelog.meaning.names import NEAR
from voicelog.meaning.parsing import Context, Reader
from voicelog.model import Called, Command, Heard, Hypothesis, NotUnderstood, Number, Place, Reading, Result, Word
from voicelog.proving.script import in_short
from voicelog.talking.calling import reading_from
from voicelog.talking.conversation import Conversation, Desk
from voicelog.talking.phrasing import Phrasing

ROWS = tomllib.loads((Path(__file__).parent / "said.toml").read_text(encoding="utf-8"))["row"]
ACCEPTED = [row for row in ROWS if "means" in row]
REFUSED = [row for row in ROWS if "not" in row]


@pytest.fixture(scope="module")
def desk(grammar, sheet):
    return Desk(grammar, sheet, Phrasing(grammar, sheet), None, None, None)


def reading_of(said, reader, context, desk) -> Reading:
    talk = Conversation(place=Place(board="DB1"))
    return reading_from(reader.read(tuple(said.split()), context), talk, desk)


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: row["said"])
def test_said_means(row, reader, context, desk):
    assert in_short(reading_of(row["said"], reader, context, desk)) == row["means"]


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: row["said"])
def test_meaning_is_said_back(row, reader, context, desk):
    assert desk.phrasing.reading(reading_of(row["said"], reader, context, desk)) == row["back"]


@pytest.mark.parametrize("row", ACCEPTED, ids=lambda row: row["said"])
def test_said_back_means_the_same(row, reader, context, desk):
    """What the program says, a listener could call out, and it would be understood alike."""
    first = reading_of(row["said"], reader, context, desk)
    back = re.sub(r"[.,]", " ", desk.phrasing.reading(first))
    if first.place.circuit:  # number and name name one circuit twice: a listener would say one of them
        back = back.replace(desk.phrasing.place(first.place).replace(",", " "), f"circuit {first.place.circuit}")
        back = back.replace(f"circuit {first.place.circuit}", desk.phrasing.place(first.place, with_name=False))
    assert reading_of(back, reader, context, desk) == first


@pytest.mark.parametrize("row", REFUSED, ids=lambda row: row["said"])
def test_refused_with_the_reason(row, reader, context):
    meaning = reader.read(tuple(row["said"].split()), context)
    assert isinstance(meaning, NotUnderstood)
    assert row["not"] in meaning.why


def test_the_table_covers_every_quantity(grammar):
    known = set(grammar.quantities)
    named = {re.split(r"[ \[]", row["means"])[1] for row in ACCEPTED}
    assert known - named <= {"spd"}


@pytest.mark.parametrize(
    ("said", "name", "carries"),
    [
        ("affirm", "affirm", None),
        ("yes", "affirm", None),
        ("negative", "negative", None),
        ("correction two point six", "correction", Called(value=Number(figure=Decimal("2.6")))),
        ("that was circuit seven", "wrong_place", Called(place=Place(board="DB1", circuit="7"))),
        ("start sweep earth leakage", "start_sweep", Called(quantity="earth_leakage")),
        ("start dead tests", "start_sequence", None),
        ("start ring test", "start_sequence", None),
        ("begin r c d sequence", "start_sequence", None),
        ("what's left", "what_is_left", None),
        ("unplugged everything retest", "unplugged", None),
        ("back to point thirteen", "back_to_point", None),
        ("retest polarity", "retest", Called(quantity="polarity")),
        ("retest circuit seven", "retest", Called(place=Place(board="DB1", circuit="7"))),
        ("observation circuit seven", "observation", Called(place=Place(board="DB1", circuit="7"))),
        (
            "change circuit six leakage to two point four",
            "change",
            Called(
                place=Place(board="DB1", circuit="6"), quantity="earth_leakage", value=Number(figure=Decimal("2.4"))
            ),
        ),
    ],
)
def test_commands(said, name, carries, reader, context):
    meaning = reader.read(tuple(said.split()), context)
    assert isinstance(meaning, Command)
    assert (meaning.name, meaning.called) == (name, carries)


@pytest.mark.parametrize(
    ("written", "heard"),
    [
        ("no nought point eight", "negative nought point eight"),
        ("no circuit three", "negative circuit three"),
        ("no no trip", "negative no trip"),
        ("no zed s two point six ohms", "negative zed s two point six ohms"),
    ],
)
def test_no_with_a_value_is_written_and_never_heard(written, heard, reader, context):
    """ "No point eight" lies one sound from "oh point eight": the network of the ear does not have it."""
    assert reader.read(tuple(written.split()), context) == reader.read(tuple(heard.split()), context)
    assert not reader.network.parses(tuple(written.split()))


@pytest.mark.parametrize(
    ("written", "circuit", "name"),
    [
        ("rename circuit five stage left sockets", "5", "stage left sockets"),
        ("rename tea urn boiler", "2", "boiler"),
        ("rename circuit five café lights", "5", "café lights"),
    ],
)
def test_a_new_name_is_written_behind_its_circuit_and_never_heard_there(written, circuit, name, reader, context):
    """The ear knows no free words: its network ends with the circuit."""
    called = Called(place=Place(board="DB1", circuit=circuit))
    assert reader.read(tuple(written.split()), context) == Command(
        name="rename", called=called, arguments={"name": name}
    )
    assert not reader.network.parses(tuple(written.split()))


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ("rename circuit twenty two lights", "there is no circuit twenty two on the sheet"),  # not 20
        ("rename circuit one zero lights", "there is no circuit one zero on the sheet"),  # not 1
        ("rename circuit nineteen lights", "there is no circuit nineteen on the sheet"),
        ("rename stage lights", "'lights' means nothing here after 'rename stage'"),
        ("circuit five stage left sockets", "'stage' means nothing here after 'circuit five'"),
    ],
)
def test_a_new_name_needs_a_circuit_that_is_plain(written, why, reader, context):
    assert why in reader.read(tuple(written.split()), context).why


def test_no_alone_stays_an_answer(reader, context):
    assert reader.read(("no",), context) == Command(name="negative")
    assert reader.read(("no", "trip"), context).value == Result(word="no_trip")
    assert not reader.read(("no", "change"), context).nearly


def test_every_command_of_the_file_can_be_said(grammar, reader, context):
    """One sentence drawn from the network for each: none is out of reach."""
    chance, met = random.Random(5), set()
    for _ in range(6000):
        meaning = reader.read(reader.network.sample(chance), context)
        met |= {meaning.name} if isinstance(meaning, Command) else set()
        if met == set(grammar.commands):
            break
    assert met == set(grammar.commands)


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_any_words_at_all_are_read_or_refused(data, reader, grammar, context):
    words = data.draw(st.lists(st.sampled_from(sorted(reader.network.words)), max_size=9))
    meaning = reader.read(tuple(words), context)
    if isinstance(meaning, Called) and meaning.value is not None and meaning.quantity:
        quantity = grammar.quantities[meaning.quantity]
        assert meaning.unit in quantity.units or not isinstance(meaning.value, Number)
        assert not isinstance(meaning.value, Number) or meaning.value.figure <= quantity.greatest * 1_000_000
    if isinstance(meaning, NotUnderstood):
        assert meaning.why


def test_the_rival_is_the_nearest_different_meaning(reader, context):
    heard = Heard(
        hypotheses=(
            _hypothesis("circuit six earth leakage fifteen milliamps", 10.0),
            _hypothesis("circuit six leakage fifteen milliamps", 10.5),
            _hypothesis("circuit six earth leakage fifty milliamps", 11.5),
        )
    )
    understood = reader.understand(heard, context)
    assert understood.meaning.value == Number(figure=Decimal(15))
    assert understood.rival.value == Number(figure=Decimal(50))
    assert understood.margin == pytest.approx(1.5)


def test_a_board_may_be_in_hand_that_has_no_such_circuit(reader):
    assert isinstance(reader.read(("circuit", "twelve"), Context(board="DB1")), NotUnderstood)


def test_with_more_boards_than_one_the_reason_speaks_of_the_board_in_hand(grammar, sheet):
    second = sheet.boards[0].model_copy(update={"reference": "DB2", "circuits": sheet.boards[0].circuits[:2]})
    reader = Reader(grammar, sheet.model_copy(update={"boards": (*sheet.boards, second)}))
    why = reader.read(("circuit", "nine"), Context(board="DB2")).why
    assert why == "there is no circuit nine on the board in hand"


def _hypothesis(text: str, cost: float) -> Hypothesis:
    return Hypothesis(words=tuple(Word(text=word) for word in text.split()), cost=cost)


@pytest.mark.parametrize(
    ("said", "place"),
    [
        ("board d b two circuit one", Place(board="DB2", circuit="1")),
        ("board d b one circuit one", Place(board="DB1", circuit="1")),
        ("board d b two tails", Place(board="DB2")),
        ("board d b two", Place(board="DB2")),
        ("board d b two r c d one", Place(board="DB2", rcd="RCD1")),
        ("circuit one", Place(board="DB1", circuit="1")),
    ],
)
def test_a_board_may_be_said_before_a_place_on_it(grammar, sheet, said, place):
    second = sheet.boards[0].model_copy(update={"reference": "DB2", "circuits": sheet.boards[0].circuits[:2]})
    reader = Reader(grammar, sheet.model_copy(update={"boards": (*sheet.boards, second)}))
    assert reader.read(tuple(said.split()), Context(board="DB1")).place == place
    moved = reader.read(("that", "was", *said.split()), Context(board="DB1"))
    assert moved.called.place == place
    why = reader.read(("board", "d", "b", "two", "circuit", "nine"), Context(board="DB1")).why
    assert why == "there is no circuit nine on board d b two"


@pytest.mark.parametrize(
    ("name", "said", "place"),
    [
        ("Dairy", "dairy board", Place(board="DB2")),
        ("Dairy board", "dairy board circuit one", Place(board="DB2", circuit="1")),
        ("Dairy", "board dairy r c d one", Place(board="DB2", rcd="RCD1")),
        ("Barn 2", "board barn two", Place(board="DB2")),
        ("Tea urn", "tea urn board", Place(board="DB2")),
        ("Tea urn", "tea urn", Place(board="DB1", circuit="2")),
        ("Stage left", "stage left lights", Place(board="DB1", circuit="5")),
        ("Garage", "garage board", Place(board="DB1", circuit="9")),  # the circuit of that name, which may well feed it
        ("Garage", "board garage", Place(board="DB2")),
    ],
)
def test_a_board_may_be_said_by_its_name(grammar, sheet, name, said, place):
    first = sheet.boards[0]
    feeding = first.circuits[-1].model_copy(update={"name": "Garage board"})
    first = first.model_copy(update={"circuits": (*first.circuits[:-1], feeding)})
    second = first.model_copy(update={"reference": "DB2", "name": name, "circuits": sheet.boards[0].circuits[:1]})
    reader = Reader(grammar, sheet.model_copy(update={"boards": (first, second)}))
    assert reader.read(tuple(said.split()), Context(board="DB1")).place == place


def test_no_name_of_the_demonstration_is_taken_for_another(reader):
    scores = [fuzz.ratio(one, other) for one, other in combinations(reader.names.names, 2)]
    assert max(scores) <= 80 < NEAR


def test_a_name_finds_its_circuit_on_a_board_whose_reference_holds_a_stroke(grammar, sheet):
    only = sheet.boards[0].model_copy(update={"reference": "A/1"})
    reader = Reader(grammar, sheet.model_copy(update={"boards": (only,)}))
    assert reader.read(("tea", "urn"), reader.at_first).place == Place(board="A/1", circuit="2")


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("Café Küche, größe", "cafe kuche grosse"),
        ("smørrebrød – Łódź", "smorrebrod lodz"),
        ("cook’s oven 12", "cook's oven twelve"),
    ],
)
def test_accents_leave_whole_words_to_say(name, said, reader):
    assert reader.utterances.spoken_name(name) == said


@pytest.mark.parametrize("said", ["zed s 5 point two ohms", "circuit 1 zed s point five two ohms", "zed s ½ ohms"])
def test_figures_are_refused_not_dropped(said, reader, context):
    meaning = reader.read(tuple(said.split()), context)
    assert isinstance(meaning, NotUnderstood) and meaning.nearly and "typed as they are said" in meaning.why


def test_a_word_with_accents_is_the_name_without_them(reader, context):
    plain, accented = (
        reader.read(tuple(said.split()), context) for said in ("tea urn zed s five ohms", "téa ürn zed s five ohms")
    )
    assert plain == accented and plain.place.circuit == "2"
