"""Typed lines as they are taken for speech."""

import pytest

from voicelog.hearing.ear import Quiet, ScriptedEar, said_in


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("Zed S, point five-two!", "zed s point five two"),
        ("don't", "don't"),
        ("zed s 5 point two", "zed s 5 point two"),  # without its five it would be another value
        ("circuit 1: zed s 0.52 ohms;", "circuit 1 zed s 0.52 ohms"),
        ("cafe\u0301", "caf\u00e9"),
    ],
)
def test_typed_text_as_words(typed, words):
    assert said_in(typed) == tuple(words.split())


@pytest.mark.parametrize(("line", "seconds"), [("...", 10), ("... 12", 12), ("...0.5", 0.5)])
def test_a_line_that_stands_for_silence(line, seconds):
    (event,) = ScriptedEar([line]).events()
    assert isinstance(event, Quiet) and event.seconds == seconds


@pytest.mark.parametrize("line", ["... what", "... nan", "... -3", ".....", "... 1e9"])
def test_other_dots_are_words_and_end_no_visit(line):
    (event,) = ScriptedEar([line]).events()
    assert not isinstance(event, Quiet)
