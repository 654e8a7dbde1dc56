"""Talk is told from calls by the margin over free talk, as much as a mistake of that kind would cost."""

import pytest

from voicelog.meaning.parsing import Context
from voicelog.model import Heard, Hypothesis, Number, Place, Reading, Word
from voicelog.talking.overhearing import Demands, Overhearing, kind, margin

ELEVEN, TWELVE = (
    Reading(place=Place(board="DB1", circuit="5"), quantity="zs", value=Number(figure=figure), unit="ohm")
    for figure in ("11", "12")
)
DEMANDS = Demands(-9.0, -7.0, -5.0, -3.0, -1.0, 1.0, each_word=0.5, soon=3.0, soon_value=9.0)


@pytest.fixture(scope="module")
def understood(reader, sheet):
    context = Context(board=sheet.boards[0].reference)

    def understand(words, over=0.0, **fields):
        hypothesis = Hypothesis(words=tuple(Word(text=word) for word in words.split()))
        heard = Heard(hypotheses=(hypothesis,), filler_margin=over, **fields)
        return heard, reader.understand(heard, context)

    return understand


KINDS = {
    "status": "harmless",
    "undo": "harmless",
    "start sweep earth leakage": "order",
    "affirm": "answer",
    "correction two point six": "answer",
    "circuit five": "place",
    "circuit five zed s nought point two ohms": "reading",
    "change circuit five zed s to nought point two": "reading",
    "nought point two ohms": "value",
    "what a day it was": "reading",
}


@pytest.mark.parametrize(("words", "expected"), KINDS.items())
def test_every_kind_has_its_demand(understood, words, expected):
    assert kind(understood(words)[1]) == expected


@pytest.mark.parametrize(("words", "demand"), [("status", -9), ("undo", -9), ("affirm", -5), ("circuit five", -3)])
def test_what_costs_little_needs_little(understood, words, demand):
    for over, talk in ((demand - 0.5, True), (demand + 0.5, False)):
        assert Overhearing(DEMANDS).is_talk(*understood(words, over)) == talk


def test_a_value_in_one_word_needs_less_than_one_in_many(understood):
    assert not Overhearing(DEMANDS).is_talk(*understood("eleven", 1.6))  # 1, and a half for each word
    assert Overhearing(DEMANDS).is_talk(*understood("nought point two ohms", 2.9))
    assert not Overhearing(DEMANDS).is_talk(*understood("nought point two ohms", 3.1))


def test_what_follows_talk_in_the_same_breath_is_mostly_talk(understood):
    overhearing = Overhearing(DEMANDS)
    assert overhearing.is_talk(*understood("what a day it was", -50.0, start_s=1.0, end_s=3.0))
    assert overhearing.is_talk(*understood("circuit five", -2.0, start_s=3.4, end_s=4.0))
    assert overhearing.is_talk(*understood("nought point two ohms", 7.0, start_s=4.2, end_s=5.0))
    assert not overhearing.is_talk(*understood("circuit five", -2.0, start_s=7.0, end_s=7.8))


def test_nobody_calls_two_values_in_one_breath(understood):
    overhearing = Overhearing(DEMANDS)
    assert not overhearing.is_talk(*understood("eleven", 5.0, start_s=1.0, end_s=1.4))
    assert overhearing.is_talk(*understood("nine sixty eight", 5.0, start_s=1.7, end_s=2.4))
    assert not overhearing.is_talk(*understood("nine sixty eight", 5.0, start_s=9.0, end_s=9.7))


def test_what_is_hard_to_believe_needs_more_and_said_twice_it_is_meant(understood):
    heard = [understood("eleven", 5.0, start_s=at, end_s=at + 0.4) for at in (1.0, 9.0, 60.0)]
    overhearing = Overhearing(DEMANDS)
    assert not Overhearing(DEMANDS).is_talk(*heard[0])
    assert [overhearing.is_talk(*one, suspect=ELEVEN) for one in heard] == [True, False, True]


def test_what_other_talk_explains_is_not_meant_however_often_it_is_said(understood):
    overhearing = Overhearing(DEMANDS)
    for at in (1.0, 9.0):
        assert overhearing.is_talk(*understood("eleven", -9.0, start_s=at, end_s=at + 0.4), suspect=ELEVEN)


def test_said_again_in_more_words_it_is_the_same_call(understood):
    overhearing = Overhearing(DEMANDS)
    assert overhearing.is_talk(*understood("eleven", 5.0, start_s=1.0, end_s=1.4), suspect=ELEVEN)
    in_full = understood("circuit five zed s eleven ohms", 5.0, start_s=5.0, end_s=7.0)
    assert not overhearing.is_talk(*in_full, suspect=ELEVEN)


def test_another_value_is_no_repetition(understood):
    overhearing = Overhearing(DEMANDS)
    assert overhearing.is_talk(*understood("eleven", 5.0, start_s=1.0, end_s=1.4), suspect=ELEVEN)
    assert overhearing.is_talk(*understood("twelve", 5.0, start_s=9.0, end_s=9.4), suspect=TWELVE)


def test_without_a_judge_nothing_is_talk(understood):
    heard, meant = understood("affirm")
    assert not Overhearing(DEMANDS).is_talk(heard.model_copy(update={"filler_margin": None}), meant)


def test_the_margin_is_that_of_the_words_understood(reader, sheet):
    best, second = (
        Hypothesis(words=tuple(Word(text=word) for word in words.split()), cost=cost)
        for words, cost in (("zed s point", 10.0), ("zed s point two ohms", 12.0))
    )
    heard = Heard(hypotheses=(best, second), filler_margin=5.0)
    assert margin(heard, reader.understand(heard, Context(board=sheet.boards[0].reference))) == 3.0
