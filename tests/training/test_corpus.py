"""Folders of speech as one signal, held-out speech apart."""

import json
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import soundfile

from voicelog.errors import SoundError
from voicelog.training.corpus import (
    RATE_HZ,
    Utterance,
    group_files,
    read_corpora,
    read_noise,
    read_sound,
    with_silences,
)
from voicelog.training.splits import read_splits

SPLITS = read_splits()


def tone(seconds: float, hertz: float = 440.0) -> np.ndarray:
    return (8000 * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)).astype(np.int16)


def write(file, sound, rate=RATE_HZ):
    soundfile.write(file, sound, rate, format="OGG", subtype="OPUS")


@pytest.fixture
def folder(tmp_path):
    write(tmp_path / "x-000.opus", tone(1.0))
    write(tmp_path / "x-001.opus", tone(1.0, 880))
    write(tmp_path / "y.opus", tone(0.5))
    (voice, *_) = sorted(SPLITS.voices)
    rows = [
        {"group": "x", "start": 0, "samples": 8000, "text": "one", "corpus": "c", "accent": "us", "speaker": "s"},
        {"group": "x", "start": 16000, "samples": 8000, "text": "two", "corpus": "c", "accent": "gb"},
        {"group": "y", "start": 0, "samples": 8000, "text": "six", "corpus": "d", "accent": "gb", "voices": {voice: 1}},
    ]
    (tmp_path / "index.jsonl").write_text("\n".join(json.dumps(row) for row in rows))
    return tmp_path


def test_groups_are_joined_and_starts_counted_in_the_whole(folder):
    with ThreadPoolExecutor(2) as executor:
        corpus = read_corpora([folder], SPLITS, executor)
    assert len(corpus.sound) == pytest.approx(2.5 * RATE_HZ, abs=2000)
    assert [(u.text, u.start, u.british, u.speaker) for u in corpus.kept] == [
        ("one", 0, False, "s"),
        ("two", 16000, True, ""),
    ]
    assert [u.text for u in corpus.held_out] == ["six"]
    assert corpus.held_out[0].start >= 2 * RATE_HZ - 1000
    assert corpus.hours["c"] == pytest.approx(1 / 3600)


def test_without_groups_every_recording_is_joined_in_name_order(folder):
    assert [file.name for file in group_files(folder, "")] == ["x-000.opus", "x-001.opus", "y.opus"]
    assert [file.name for file in group_files(folder, "x")] == ["x-000.opus", "x-001.opus"]


def test_other_rates_and_broken_files_are_refused(tmp_path):
    write(tmp_path / "fast.opus", np.zeros(4800, np.int16), 48_000)
    (tmp_path / "broken.opus").write_bytes(b"no sound at all")
    for name in ("fast.opus", "broken.opus"):
        with pytest.raises(SoundError, match=name):
            read_sound(tmp_path / name)


def test_silence_at_the_ends_is_measured():
    sound = np.concatenate([np.zeros(4000, np.int16), tone(0.5), np.zeros(12000, np.int16)])
    found = with_silences(Utterance("c", 0, len(sound), "one", False, ""), sound)
    assert found.lead == pytest.approx(4000, abs=160)
    assert found.trail == 8000  # half a second, the most that is counted


def test_of_each_period_the_last_part_of_the_noise_is_held_out(tmp_path):
    period = SPLITS.noise_period_s
    sound = np.concatenate([np.full(RATE_HZ * (period - 45), 0, np.int16), tone(45.0)])
    write(tmp_path / "000.opus", sound)
    kept, held_out = read_noise(tmp_path, SPLITS)
    assert len(held_out) == pytest.approx(45 * RATE_HZ, abs=1000)
    assert np.abs(kept[: -RATE_HZ // 2].astype(int)).max() < 100 < np.abs(held_out.astype(int)).max()
