"""Waiting times, on sound whose last word ends at a known sample."""

import numpy as np
import pytest

from tests.hearing.tones import PRONUNCIATIONS, say, silence, write_folder
from voicelog.hearing.graph import from_phrases
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.model_folder import open_folder, prepared
from voicelog.hearing.recogniser import Recogniser
from voicelog.hearing.search import Search
from voicelog.proving.latency import speech_end, spread, waits_in


@pytest.fixture
def recogniser(tmp_path) -> Recogniser:
    folder = write_folder(tmp_path / "toy")
    graph = from_phrases(["one nine", "two"])
    ear = prepared(
        open_folder(folder), graph, Lexicon(PRONUNCIATIONS), search=Search(whole_s=0.3), cache=tmp_path / "cache"
    )
    return Recogniser(ear)


@pytest.mark.parametrize("before_s", [0.0, 0.4])
@pytest.mark.parametrize("after_s", [0.1, 0.7])
@pytest.mark.parametrize("noise", [0, 30])
def test_the_end_of_speech_is_read_off_the_sound(before_s, after_s, noise):
    sound = np.concatenate([silence(before_s), say("one", "nine"), silence(after_s)]).astype(np.float64)
    sound += np.random.default_rng(0).normal(0, noise, len(sound)) if noise else 0
    end_s = before_s + len(say("one", "nine")) / 16_000 - 0.03  # each word of the toy ends in 30 ms of silence
    assert speech_end(sound.astype(np.int16)) / 16_000 == pytest.approx(end_s, abs=0.021)


def test_silence_has_no_end_of_speech():
    assert speech_end(silence(1.0)) == 0


def test_a_wait_is_the_silence_asked_for_and_the_piece_in_hand(recogniser):
    parts = [
        part for _ in range(4) for part in (silence(0.5), say("one", "nine"), silence(0.7), say("two"), silence(0.7))
    ]
    waits = list(waits_in(recogniser, np.concatenate(parts)))
    assert [wait.text for wait in waits] == ["one nine", "two"] * 4
    assert all(0.3 <= wait.sound_s <= 0.3 + 0.2 for wait in waits)
    assert all(0 < wait.spent_s < 1 for wait in waits)


def test_median_and_95th_of_100():
    found = spread([0.1 * n for n in range(1, 102)])
    assert (found.count, found.median_s, found.p95_s) == (101, pytest.approx(5.1), pytest.approx(9.6))
