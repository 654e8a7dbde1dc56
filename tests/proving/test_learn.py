"""The count of what learning is worth: folders read, lengths cut, means taken; and one whole run on a small network."""

import json

import numpy as np
import pytest
import soundfile

from tests.learning.test_adaptation import QUICK
from tests.learning.test_lesson import general  # noqa: F401  a fixture
from voicelog.errors import InputError
from voicelog.hearing.word_graph import FILLER
from voicelog.learning.adaptation import Spoken
from voicelog.proving.learn import (
    CONDITIONS,
    Point,
    Sentences,
    bench_learn,
    lengths,
    read_people,
    sounding_alike,
    summary,
    table,
)
from voicelog.visiting import open_visit_or_demo, word_graph


def folder_of(tmp_path, rows):
    rng = np.random.default_rng(0)
    for number, row in enumerate(rows):
        row.setdefault("file", f"{number}.flac")
        soundfile.write(tmp_path / row["file"], rng.normal(0, 900, 24000).astype(np.int16), 16000)
    (tmp_path / "index.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
    return tmp_path


def rows(*speakers):
    words = ("zed", "s", "nine", "five")
    return [
        {"text": " ".join(words[: 1 + number % 4]), "speaker": speaker, "role": "test" if number > 3 else "enrol"}
        for speaker in speakers
        for number in range(6)
    ]


def test_little_speech_is_heard_in_parts_after_learning_from_the_others(tmp_path):
    texts = ("one", "two", "three", "four", "five", "six")
    (person,) = read_people(folder_of(tmp_path, [{"text": text, "speaker": "a", "role": "both"} for text in texts]))
    assert sorted(phrase.words[0] for phrase in person.test) == sorted(texts)
    for division in person.divisions:
        assert not {phrase.words for phrase in division.enrol} & {phrase.words for phrase in division.test}
        assert len(division.enrol) + len(division.test) == len(texts)


def test_words_that_sound_the_same_count_as_one():
    ways = {"to": (("T", "UW"), ("T", "AH")), "two": (("T", "UW"),), "ten": (("T", "EH", "N"),)}
    assert sounding_alike(ways, ways.__getitem__) == {"to": "to", "two": "to", "ten": "ten"}


def test_sentences_of_the_trade_are_heard_as_the_program_hears_them():
    visit = open_visit_or_demo(None)
    hearing = Sentences(visit, word_graph(visit))
    assert visit.reader.network.parses(("one", "point", "two"))  # so that digits alone are parted from sentences
    said = ("circuit", "four", "zed", "s", "one", "point", "two", "six", "ohms")
    assert hearing.mistakes(said, (*said[:-1], "ohm")) == 0  # the same reading
    assert hearing.mistakes(said, (FILLER, *said)) == 0
    assert hearing.mistakes(said, (*said[:-2], "five", "ohms")) == 1


def test_a_whole_run(tmp_path, general):  # noqa: F811
    kept, folder = tmp_path / "points.jsonl", folder_of(tmp_path, rows("a", "b"))
    score = bench_learn(folder, (5.0, 60.0), CONDITIONS, general, QUICK, kept=kept)
    found = score.as_json()
    assert bench_learn(folder, (5.0, 60.0), CONDITIONS, general, QUICK, kept=kept) == score  # nothing is found twice
    assert set(found["speakers"]) == {"a", "b"}
    assert {"strings_wrong_before", "strings_wrong_after"} <= set(found["speakers"]["a"]) & set(found)
    assert {(mean["condition"], mean["asked_s"]) for mean in found["curve"]} == {
        ("clean", 5.0),
        ("3.4 kHz band", 5.0),
        ("10 dB noise", 5.0),
    }
    assert all(point["speech_s"] >= 5.0 and point["strings"] == 2 for point in found["points"])
    json.dumps(found)
    assert table(score).row_count == 3


@pytest.mark.parametrize(
    "row",
    [
        {"text": "zed", "speaker": "a", "role": "other"},
        {"text": "", "speaker": "a", "role": "test"},
        {"text": "zed", "role": "test"},
    ],
)
def test_a_line_that_makes_no_sense_is_named(tmp_path, row):
    with pytest.raises(InputError) as refusal:
        read_people(folder_of(tmp_path, [row]))
    assert "line 1" in str(refusal.value)


def test_a_speaker_without_test_strings_is_refused(tmp_path):
    with pytest.raises(InputError) as refusal:
        read_people(folder_of(tmp_path, [*rows("a"), {"text": "zed", "speaker": "b", "role": "enrol"}]))
    assert "b" in str(refusal.value)


def test_a_folder_without_a_list_is_refused(tmp_path):
    with pytest.raises(InputError):
        read_people(tmp_path)


def test_lengths_stop_where_the_speech_does():
    phrases = tuple(Spoken(np.zeros(16000 * 4, np.int16), ("a",)) for _ in range(10))
    cut = {asked: sum(phrase.seconds for phrase in kept) for asked, kept in lengths(phrases, (15.0, 30.0, 45.0, 60.0))}
    assert cut == {15.0: 16.0, 30.0: 32.0, 45.0: 40.0}


def point(speaker, before, after, condition="clean", asked=90.0):
    return Point(
        speaker=speaker, condition=condition, asked_s=asked, speech_s=asked, computing_s=20.0, kind="all weights",
        strings=40, words=200, strings_wrong_before=before, strings_wrong_after=after, words_wrong_before=before / 5,
        words_wrong_after=after / 5,
    )  # fmt: skip


def test_the_top_figures_are_the_clean_ones_at_ninety_seconds():
    points = (
        point("a", 0.4, 0.1),
        point("b", 0.2, 0.05),
        point("a", 0.4, 0.3, asked=15.0),
        point("a", 0.5, 0.4, "10 dB noise"),
    )
    score = summary(points)
    assert (score.strings_wrong_before, score.strings_wrong_after) == (0.3, 0.075)
    assert score.speakers["b"]["strings_wrong_after"] == 0.05
    assert score.worse == ()
    assert score.curve[0].times_fewer == pytest.approx(4.0)


def test_a_speaker_who_does_worse_is_named():
    assert summary((point("a", 0.2, 0.1), point("b", 0.2, 0.225))).worse == ("b",)


def test_no_points_are_no_score():
    with pytest.raises(InputError):
        summary(())
