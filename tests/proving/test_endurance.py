"""A day of a few seconds, with a recogniser whose faults are known: what the long run must notice."""

import shutil
from pathlib import Path

import numpy as np
import pytest

from voicelog.hearing.audio import PIECE
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.listening import SoundEar
from voicelog.model import Heard, Hypothesis, Word
from voicelog.proving.endurance import Block, Compared, Endurance, Sound, compare, endure
from voicelog.resources import data_folder
from voicelog.visit import open_visit

CALLS = {1: "circuit one polarity pass", 2: "affirm", 3: "end of visit"}
BLOCKS = 6


class Marks:
    """Hears call N in a piece whose first sample is N. ``misses`` utterances, and is ``late_s`` more for each."""

    def __init__(self, misses: tuple[int, ...] = (), late_s: float = 0.0) -> None:
        self.taken, self.count, self.misses, self.late_s = 0, 0, misses, late_s
        self.speaking = False

    @property
    def taken_s(self) -> float:
        return self.taken / RATE_HZ

    def hear(self, samples):
        start_s = self.taken_s
        self.taken += len(samples)
        if text := CALLS.get(int(samples[0])):
            self.count += 1
            if self.count not in self.misses:
                start_s -= self.late_s * self.count
                words = tuple(Word(text=word) for word in text.split())
                yield Heard(hypotheses=(Hypothesis(words=words),), start_s=start_s, end_s=self.taken_s)

    def finish(self):
        return iter(())


def said(number: int) -> np.ndarray:
    return np.concatenate([np.full(PIECE, number), np.random.default_rng(number).integers(9, 999, 9 * PIECE)])


@pytest.fixture
def day(tmp_path: Path):
    shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", tmp_path)
    hush = np.zeros(20 * PIECE)
    shared = np.concatenate([hush, said(1), said(2), said(3)])
    sound = Sound(shared.astype(np.int16), lambda n: said(9).astype(np.int16))

    def run(recogniser: Marks) -> Endurance:
        return endure(open_visit(tmp_path), recogniser, sound, BLOCKS)

    return run


def test_a_day_without_fault(day):
    found = day(Marks())
    assert found.passed and (found.missed, found.drift_ms, found.clips_astray) == (0, 0, 0)
    assert found.utterances_a_block == (2,) * BLOCKS  # the end of the visit is not taken at its word
    assert found.entries == found.clips == 2 * BLOCKS
    assert found.rows[-1].resident_MB > 0 and found.hours == pytest.approx(BLOCKS * 60 * 0.06 / 3600, abs=1e-3)


def test_a_missed_utterance_is_noticed(day):
    found = day(Marks(misses=(8,)))
    assert found.missed == 1 and not found.passed


def test_a_call_that_is_lost_counts_and_talk_heard_otherwise_is_told_apart():
    first = Block(heard=[(1.0, "circuit one"), (2.0, "where am i"), (3.0, "affirm")], calls={0, 2})
    assert compare(first, Block(heard=first.heard)) == Compared(0, 0, 0, 0.0)
    talk = Block(heard=[(1.0, "circuit one"), (2.0, "water heater"), (3.0, "affirm")])
    assert compare(first, talk) == Compared(missed=0, otherwise=1, added=1, drift_s=0.0)
    assert compare(first, Block(heard=[(1.0, "circuit one"), (2.0, "where am i")])).missed == 1
    assert compare(first, Block(heard=[*first.heard[:2], (3.6, "affirm")])).missed == 1


def test_a_clock_that_drifts_is_noticed(day):
    found = day(Marks(late_s=0.005))
    assert found.drift_ms == pytest.approx(5 * 3 * (BLOCKS - 1), abs=1) and not found.passed


def test_a_clip_of_another_sound_is_noticed(day, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(SoundEar, "sound", lambda self, heard: np.arange(2000, dtype=np.int16))
    found = day(Marks())
    assert found.clips_astray == 2 * BLOCKS and not found.passed
