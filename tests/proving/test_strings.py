"""Scoring strings: what is compared, how mistakes are counted, and folders that cannot be scored."""

import json
from pathlib import Path

import pytest
import soundfile

from tests.hearing.tones import PRONUNCIATIONS, say, silence, write_folder
from voicelog.errors import InputError, ModelError, SoundError
from voicelog.proving import strings
from voicelog.proving.strings import digits_meant, mistakes_between, read_index, score, scored, table

MODEL_WORDS = set(PRONUNCIATIONS)


@pytest.fixture
def model(tmp_path, monkeypatch) -> Path:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return write_folder(tmp_path / "toy")


def recorded(folder: Path, *rows: tuple[str, str, str]) -> Path:
    """(what is truly said, text of the index, group) -> a folder of recordings."""
    folder.mkdir()
    lines = []
    for number, (said, text, group) in enumerate(rows):
        sound = [silence(0.3), say(*said.split()), silence(0.3)]
        soundfile.write(folder / f"{number}.flac", [sample for part in sound for sample in part], 16_000, "PCM_16")
        lines.append(json.dumps({"file": f"{number}.flac", "text": text} | ({"group": group} if group else {})))
    (folder / "index.jsonl").write_text("\n".join(lines))
    return folder


@pytest.mark.parametrize(
    ("words", "digits"),
    [
        ("one oh nine", "109"),
        ("nought zero oh", "000"),
        ("double five", "55"),
        ("nine triple oh two", "90002"),
        ("niner treble one", "9111"),
        ("double", ""),
        ("", ""),
    ],
)
def test_digits_meant(words, digits):
    assert digits_meant(words.split()) == tuple(digits)


def test_words_that_are_no_digits_stay_and_count():
    assert digits_meant(["one", "point", "two"]) == ("1", "point", "2")


@pytest.mark.parametrize(
    ("said", "heard", "mistakes"),
    [
        ("one two", "one two", 0),
        ("one two", "one", 1),
        ("one", "one one", 1),
        ("one two", "two one", 2),
        ("one", "", 1),
    ],
)
def test_mistakes_are_words_put_in_left_out_or_changed(said, heard, mistakes):
    assert mistakes_between(tuple(said.split()), tuple(heard.split())) == mistakes


def test_shares_of_strings_and_words():
    def row(group, said, heard):
        return strings.Row(file="x", group=group, said=said.split(), heard=heard.split(), sound_s=2.0, spent_s=0.1)

    found = scored([row("a", "one two", "one two"), row("a", "one", "two"), row("b", "one two nine", "one nine")])
    assert (found.strings, found.words) == (3, 6)
    assert found.strings_wrong == pytest.approx(2 / 3)
    assert found.words_wrong == pytest.approx(2 / 6)
    assert found.groups["a"].strings_wrong == pytest.approx(1 / 2)
    assert found.groups["b"].words_wrong == pytest.approx(1 / 3)
    assert found.real_time_factor == pytest.approx(0.05)
    assert [mistake.heard for mistake in found.mistakes] == [("two",), ("one", "nine")]
    assert table(found).row_count == 3


class TestScore:
    def test_right_and_wrong_strings(self, tmp_path, model):
        folder = recorded(tmp_path / "said", ("one nine", "one nine", "a"), ("two", "nine", "b"))
        found = score(folder, model=model)
        assert found.strings_wrong == 0.5
        assert found.words_wrong == pytest.approx(1 / 3)
        assert found.as_json()["groups"]["a"]["strings_wrong"] == 0.0
        assert 0 < found.real_time_factor < 5

    def test_digits_are_what_was_meant(self, tmp_path, model):
        folder = recorded(tmp_path / "said", ("one oh", "one zero", ""), ("nine nine", "double nine", ""))
        words = ["one", "oh", "nine"]
        assert score(folder, words, digits=True, model=model).strings_wrong == 0.0
        assert score(folder, words, model=model).strings_wrong == 1.0

    def test_many_recordings_are_shared_out(self, tmp_path, model):
        folder = recorded(tmp_path / "said", *[("one two", "one two", "")] * (strings.BATCH + 1))
        told = []
        found = score(folder, model=model, progress=lambda done, of: told.append((done, of)))
        assert (found.strings, found.strings_wrong) == (21, 0.0)
        assert told == [(20, 21), (21, 21)]

    def test_a_word_that_cannot_be_said_is_named(self, tmp_path, model):
        folder = recorded(tmp_path / "said", ("one", "one", ""))
        with pytest.raises(ModelError, match="'db1'"):
            score(folder, ["db1"], model=model)

    def test_a_missing_recording_is_named(self, tmp_path, model):
        folder = recorded(tmp_path / "said", ("one", "one", ""))
        (folder / "0.flac").unlink()
        with pytest.raises(SoundError, match=r"0\.flac"):
            score(folder, model=model)


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("", "is empty"),
        ("{", "line 1"),
        ('{"file": "a"}', "line 1"),
        ('{"file": "a", "text": " "}', "no words"),
        ("3", "line 1"),
    ],
)
def test_a_wrong_index_is_refused_by_line(tmp_path, line, why):
    (tmp_path / "index.jsonl").write_text(line)
    with pytest.raises(InputError, match=why):
        read_index(tmp_path)


def test_a_missing_index_is_refused(tmp_path):
    with pytest.raises(InputError, match=r"index\.jsonl"):
        read_index(tmp_path)
