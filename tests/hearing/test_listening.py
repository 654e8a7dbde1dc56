"""The ear over a stream: utterances, silences, losses, clips, and deafness while the program speaks."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.hearing.tones import PRONUNCIATIONS, say, silence, write_folder
from voicelog.hearing.audio import PIECE, Piece
from voicelog.hearing.ear import Lost, Quiet
from voicelog.hearing.graph import loop
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.listening import MARGIN_S, QUIET_S, SoundEar
from voicelog.hearing.model_folder import open_folder, prepared
from voicelog.hearing.recogniser import Recogniser


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return write_folder(tmp_path_factory.mktemp("toy"))


@pytest.fixture
def recogniser(folder) -> Recogniser:
    graph = loop(["one", "two", "nine"])
    return Recogniser(prepared(open_folder(folder), graph, Lexicon(PRONUNCIATIONS), cache=folder / "cache"))


def pieces(*parts: np.ndarray, at: float = 0.0, lost: int = -1) -> Iterator[Piece]:
    sound = np.concatenate(parts)
    for number, first in enumerate(range(0, len(sound), PIECE)):
        yield Piece(sound[first : first + PIECE], at + first / 16_000, lost=number == lost)


def test_tells_utterances_and_silence(recogniser):
    events = list(SoundEar(recogniser, pieces(say("one"), silence(9.5), say("two"), silence(1.0))).events())
    first, soon, late, second = events
    assert (first.texts, second.texts) == (("one",), ("two",))
    assert [quiet.seconds for quiet in (soon, late)] == pytest.approx(QUIET_S, abs=0.07)
    assert all(isinstance(quiet, Quiet) for quiet in (soon, late))


def test_lost_sound_voids_the_utterance(recogniser):
    source = pieces(say("one", "nine"), silence(0.12), say("one"), silence(1.0), lost=13)
    lost, heard = SoundEar(recogniser, source).events()
    assert isinstance(lost, Lost)
    assert heard.texts == ("one",)


def test_keeps_the_sound_of_an_utterance(recogniser):
    listening = SoundEar(recogniser, pieces(silence(2.0), say("one"), silence(1.0)))
    (heard,) = listening.events()
    kept = listening.sound(heard)
    assert len(kept) == pytest.approx((heard.end_s - heard.start_s + 2 * MARGIN_S) * 16_000, abs=2)
    assert np.abs(kept[:1600]).max() == 0
    assert np.abs(kept).max() > 7000


def test_a_closed_ear_hears_nothing(recogniser):
    source = pieces(say("one"), silence(1.0), say("two"), silence(1.0), at=100.0)
    listening = SoundEar(recogniser, source)
    listening.close_until(100.9)
    assert [heard.texts for heard in listening.events()] == [("two",)]
