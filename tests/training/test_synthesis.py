"""Text on its way to a synthetic voice, and who speaks."""

import random

import numpy as np
import pytest

from voicelog.training import synthesis
from voicelog.training.phrases import PhraseSampler, single_word
from voicelog.training.splits import read_splits
from voicelog.training.synthesis import (
    MARGIN,
    TOKENS,
    Studio,
    as_spoken,
    join_indexes,
    respelt,
    scoring_casting,
    training_casting,
    trimmed,
)

VOICES = ("af_one", "bf_two", "bm_three", "zf_four", *sorted(read_splits().voices))


@pytest.mark.parametrize(
    ("ipa", "ours"), [("nˈaɪn", "nˈIn"), ("dʒˈeɪ", "ʤˈA"), ("ɐ", "ə"), ("tˈʉː", "tˈuː"), ("n̪", "n")]
)
def test_sounds_are_spelt_as_the_synthesiser_expects(ipa, ours):
    assert respelt(ipa) == ours
    assert set(ours) <= set(TOKENS)


def test_letters_and_trade_words_are_respelt_for_the_voice():
    assert as_spoken("a b", spelled=True) == "eigh b."
    assert as_spoken("a lamp") == "a lamp."
    assert as_spoken("two megohms") == "two megg ohms."


def test_silent_ends_are_cut_to_a_tenth_of_a_second():
    sound = np.concatenate([np.zeros(9000), np.full(100, 5000), np.zeros(9000)]).astype(np.int16)
    assert len(trimmed(sound)) == pytest.approx(100 + 2 * MARGIN, abs=2)
    assert len(trimmed(np.zeros(10, np.int16))) == 10


def test_training_never_casts_a_held_out_voice_or_accent():
    splits, rng = read_splits(), random.Random(0)
    casting = training_casting(VOICES, splits.voices)
    for _ in range(300):
        speaker = casting.draw(rng)
        assert not splits.keeps_out(speaker.voices, speaker.accent)
        assert sum(speaker.voices.values()) == pytest.approx(1.0) and 0.7 < speaker.speed < 1.45


def test_a_speaker_who_says_several_words_in_a_row_is_named(tmp_path, monkeypatch):
    monkeypatch.setattr(synthesis, "synthesiser_of", lambda voices: _Mute())
    casting = training_casting(VOICES, read_splits().voices)
    words = PhraseSampler(((1.0, single_word),))
    rows = [row for _, row in Studio(tmp_path, casting, words, tmp_path, "synthetic-words", 10).utterances(7)]
    assert [row["speaker"] for row in rows] == [f"7-{n // 10}" for n in range(60)]
    assert len({str(row["voices"]) + str(row["speed"]) for row in rows}) <= 6
    assert all(row["corpus"] == "synthetic-words" and len(row["text"].split()) == 1 for row in rows)
    (row, *_) = [row for _, row in Studio(tmp_path, casting, words, tmp_path).utterances(7)]
    assert row["corpus"] == "synthetic-trade" and "speaker" not in row


class _Mute:
    def speak(self, *said) -> np.ndarray:
        return np.zeros(10, np.int16)


def test_scoring_casts_held_out_voices_alone():
    splits, rng = read_splits(), random.Random(0)
    drawn = [scoring_casting(splits).draw(rng) for _ in range(200)]
    assert {voice for speaker in drawn for voice in speaker.voices} == splits.voices
    assert any(speaker.accent in splits.accents for speaker in drawn)
    assert all(len(speaker.voices) == 1 and not speaker.way for speaker in drawn)


def test_chunks_become_one_index(tmp_path):
    for number in range(2):
        (tmp_path / f"000{number}.jsonl").write_text('{"start": 0, "text": "one"}\n')
    join_indexes(tmp_path)
    lines = (tmp_path / "index.jsonl").read_text().splitlines()
    assert [line[:18] for line in lines] == ['{"group": "0000", ', '{"group": "0001", ']
