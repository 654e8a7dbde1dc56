"""Recorded strings cut at their pauses: AN4's people (held out of training) are cut here, and what comes out is heard.

The cuts are judged by another way of hearing than the one that places them: Vosk's search through a loop over words.
"""

import json
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
import soundfile

from voicelog.hearing.model_folder import BUNDLED
from voicelog.hearing.nnet3 import read_model
from voicelog.proving.strings import score
from voicelog.resources import data_folder
from voicelog.training.corpus import RATE_HZ, Utterance, read_corpora
from voicelog.training.pieces import Piece, pieces_of, write_pieces
from voicelog.training.pronunciations import Lexicon, bundled_dictionary
from voicelog.training.splits import read_splits

PEOPLE = data_folder("audio_samples") / "people"
MODEL = read_model(BUNDLED / "am" / "final.mdl")
RECORDINGS = [
    row
    for row in map(json.loads, (PEOPLE / "index.jsonl").read_text().splitlines())
    if row["corpus"] == "an4-train" and len(row["text"].split()) > 3
]

pytest.importorskip("pocketsphinx")


@pytest.fixture(scope="module")
def lexicon() -> Lexicon:
    return Lexicon(bundled_dictionary())


def cut(row: dict, lexicon: Lexicon) -> list[Piece]:
    sound, _ = soundfile.read(PEOPLE / row["file"], dtype="int16")
    utterance = Utterance(row["corpus"], 0, len(sound), row["text"], False, row["speaker"])
    return pieces_of(sound, utterance, MODEL, lexicon.every_way)


@pytest.fixture(scope="module")
def pieces(lexicon) -> list[tuple[dict, list[Piece]]]:
    return [(row, cut(row, lexicon)) for row in RECORDINGS]


def test_pieces_are_the_words_in_their_order(pieces):
    for row, found in pieces:
        rest = iter(row["text"].split())
        assert all(word in rest for piece in found for word in piece.text.split()), row
    assert sum(len(found) for _, found in pieces) > 2 * len(RECORDINGS)


def test_every_cut_lies_in_a_pause(pieces):
    for _, found in pieces:
        for piece in found:
            ends = np.concatenate([piece.sound[:160], piece.sound[-160:]]).astype(float)
            loudest = np.abs(piece.sound.astype(float)).max()
            assert np.sqrt((ends**2).mean()) < 0.1 * loudest


def test_another_search_hears_the_pieces_as_their_words(pieces, tmp_path):
    rows = []
    for number, piece in enumerate(piece for _, found in pieces for piece in found):
        soundfile.write(tmp_path / f"{number}.flac", np.pad(piece.sound, RATE_HZ // 4), RATE_HZ)
        rows.append(json.dumps({"file": f"{number}.flac", "text": piece.text}))
    (tmp_path / "index.jsonl").write_text("\n".join(rows))
    assert score(tmp_path).words_wrong < 0.1


def test_what_does_not_hold_its_words_is_left_whole(lexicon):
    row = RECORDINGS[0] | {"text": "march fourteenth nineteen sixty"}
    assert cut(row, lexicon) == []
    assert cut(RECORDINGS[0] | {"text": "one"}, lexicon) == []


@pytest.mark.parametrize(("first", "some"), [(22, False), (20, True)])
def test_people_held_out_are_not_cut(tmp_path, lexicon, first, some):
    """Utterances 22 to 34 of AN4 are held out (shared/splits.toml); only those from ``first`` on have words to part."""
    sound, _ = soundfile.read(PEOPLE / RECORDINGS[0]["file"], dtype="int16")
    soundfile.write(tmp_path / "0.opus", sound, RATE_HZ, format="OGG", subtype="OPUS")
    row = {"start": 0, "samples": len(sound), "corpus": "an4-train", "accent": "us"}
    texts = ["one"] * first + [RECORDINGS[0]["text"]] * 2
    (tmp_path / "index.jsonl").write_text("".join(json.dumps(row | {"text": text}) + "\n" for text in texts))
    with ThreadPoolExecutor(1) as executor:
        corpus = read_corpora([tmp_path], read_splits(), executor)
    assert (write_pieces(tmp_path / "out", corpus, "an4-train", MODEL, lexicon.every_way) > 0) is some
    rows = [json.loads(line) for line in (tmp_path / "out" / "index.jsonl").read_text().splitlines()]
    assert {row["corpus"] for row in rows} == ({"an4-train-pieces"} if some else set())
