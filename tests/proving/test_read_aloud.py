"""Reading aloud: what is said is written down with its words, and a mishearing is named."""

import json

import pytest
import soundfile

from voicelog.proving import read_aloud
from voicelog.proving.read_aloud import bench_read_aloud, read_back_texts
from voicelog.proving.strings import Row, read_index, scored
from voicelog.talking.espeak import EspeakVoice


def test_texts_are_read_backs_of_many_kinds():
    texts = list(read_back_texts(20, seed=1))
    assert len(set(texts)) == 20
    assert all(text.startswith("circuit ") for text in texts)
    assert any("pass" in text for text in texts) and any("zed s" in text for text in texts)


def test_each_read_back_lies_as_sound_beside_its_words(tmp_path, monkeypatch):
    def heard(folder, words, model):
        rows = read_index(folder)
        assert {word for row in rows for word in row.text} == set(words)
        return scored(_row(row.text, _worse(row.text, number)) for number, row in enumerate(rows))

    monkeypatch.setattr(read_aloud, "score", heard)
    (found,) = bench_read_aloud(4, voices=[EspeakVoice()], keep=tmp_path).voices
    lines = [json.loads(line) for line in (tmp_path / "espeak-1" / "index.jsonl").read_text().splitlines()]
    assert found.read_backs == len(lines) == 4
    for line in lines:
        assert soundfile.info(tmp_path / "espeak-1" / line["file"]).duration == pytest.approx(line["seconds"], abs=0.05)
        assert not set(line["text"]) & set(",.?")
    assert found.read_backs_right == 0.75 and found.words_right == 1 - 1 / found.words
    assert list(found.confused.values()) == [1] and found.put_in == 2


def _worse(text, number):
    """The first loses its last word, the others have one put in or changed for its like."""
    return {0: text[:-1], 1: ("r", *text), 2: (*text, "r")}.get(number, tuple("to" if w == "two" else w for w in text))


def _row(said, heard):
    return Row(file="", group="", said=said, heard=heard, sound_s=1.0, spent_s=0.1)
