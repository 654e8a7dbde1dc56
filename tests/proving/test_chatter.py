"""The chatter bench: its sentences call no reading, its minutes can be made again, its counts can be more than zero."""

import json
import random

import numpy as np
import pytest
import soundfile

from voicelog.model import Heard, Hypothesis, Word
from voicelog.proving import bystanders
from voicelog.proving.chatter import STANCES, bench_chatter
from voicelog.proving.din import MINUTE, Talkers, minute, recordings
from voicelog.proving.rehearsal import Stage
from voicelog.proving.talk import Casting, is_reading, means_something, script, sentence


@pytest.fixture(scope="module")
def stage(grammar, sheet):
    return Stage(grammar, sheet)


class Deaf:
    """Hears the same words in every minute, whatever the sound."""

    def __init__(self, *lines, margin=None):
        self.lines, self.margin, self.minutes = lines, margin, 0

    taken_s = 0.0

    def hear(self, samples):
        self.minutes += 1
        assert samples.dtype == np.int16 and len(samples) == SHORT
        return iter(())

    def finish(self):
        for at, line in enumerate(self.lines):
            words = tuple(Word(text=word) for word in line.split())
            yield Heard(hypotheses=(Hypothesis(words=words),), end_s=float(at), filler_margin=self.margin)


class Torn(Deaf):
    """Cannot decide between two lines."""

    def finish(self):
        either = (Hypothesis(words=tuple(Word(text=word) for word in line.split())) for line in self.lines)
        yield Heard(hypotheses=tuple(either), end_s=1.0)


class Hum:
    """Talkers who hum, so that no voice need be loaded."""

    def say(self, text, draw):
        return np.sin(np.arange(40_000) * draw.uniform(0.05, 0.2))


SHORT = 16_000 * 12  # samples: minutes of 12 s are enough to test


@pytest.fixture(autouse=True)
def humming(monkeypatch):
    monkeypatch.setattr("voicelog.proving.bystanders.Talkers", Hum)
    monkeypatch.setattr("voicelog.proving.din.MINUTE", SHORT)


PROSE = "the river ran on under the bridge " * 20


def bench(stage, recogniser, hours, keep=None, **sources):
    return bench_chatter(stage, recogniser, bystanders.sources(stage.reader, hours, **sources), keep=keep)


READING = "circuit six zed s zero point five two ohms"


def test_no_sentence_is_a_reading_and_many_come_near(stage):
    draw = random.Random(1)
    sentences = [sentence(draw, stage.reader) for _ in range(60)]
    assert not any(is_reading(text, stage.reader) for text in sentences)
    assert len(set(sentences)) > 55
    assert is_reading(READING, stage.reader)  # the filter can find one
    vocabulary = stage.reader.network.words
    assert sum(sum(word in vocabulary for word in text.split()) >= 3 for text in sentences) > 20


def test_a_minute_is_a_minute_and_can_be_made_again(monkeypatch):
    monkeypatch.setattr("voicelog.proving.din.MINUTE", MINUTE)
    first, again = (minute(random.Random(7), Hum(), lambda: "what a day") for _ in range(2))
    assert first.samples.dtype == np.int16 and len(first.samples) == MINUTE
    assert np.array_equal(first.samples, again.samples)
    assert 4 <= len(first.sentences) <= 30


def test_both_voices_talk():
    draw, talkers = random.Random(8), Talkers()
    sounds = [talkers.say("we had fifteen of them", draw) for _ in range(6)]
    assert all(0.5 < len(sound) / 16_000 < 5 for sound in sounds)


def test_noise_comes_from_the_recordings(tmp_path):
    soundfile.write(tmp_path / "drill.wav", np.full(8000, 0.5), 16_000)
    (noise,) = recordings(tmp_path)
    assert len(noise) == pytest.approx(8000, abs=2)


def test_a_reading_heard_in_chatter_is_offered_but_not_kept(stage):
    found = bench(stage, Deaf(READING), hours=1 / 60)
    assert (found.offered, found.kept, found.by_stance["awaiting"]["offered"]) == (1, 0, 1)
    assert found.offers[0].reading == "DB1/6 zs 0.52 ohm"
    assert found.offered_per_hour == 300 and found.at_most_per_hour > 300


def test_chatter_that_goes_on_to_say_affirm_keeps_it(stage):
    assert bench(stage, Deaf(READING, "affirm"), hours=1 / 60).kept == 1


def test_in_a_sweep_a_bare_value_is_enough_and_the_next_lets_it_stand(stage):
    found = bench(stage, Deaf("one point five ohms", "zero point five ohms"), hours=2 / 60)
    assert [found.by_stance["sweep of zs"][what] for what in ("offered", "kept")] == [2, 1]


def test_in_a_sweep_another_quantity_does_not_stand_because_the_next_value_comes(stage):
    found = bench(stage, Deaf("number of points ten", "zero point five ohms", READING), hours=2 / 60)
    assert [found.by_stance["sweep of zs"][what] for what in ("offered", "kept")] == [1, 0]


def test_a_stray_affirm_confirms_what_was_said_back(stage):
    assert bench(stage, Deaf("affirm"), hours=3 / 60).confirmed_by_chance == 1


def test_what_other_talk_explains_as_well_is_passed_over(stage):
    assert bench(stage, Deaf(READING, margin=-40.0), hours=1 / 60).offered == 0
    assert bench(stage, Deaf(READING, margin=40.0), hours=1 / 60).offered == 1


@pytest.mark.parametrize(
    ("words", "margin", "offered"),
    [
        ("five", 5.0, {"sweep of zs": 0, "sweep of leakage": 1}),  # a whole number of ohms, and of milliamps
        ("five", 30.0, {"sweep of zs": 1, "sweep of leakage": 1}),
        ("one point five", 5.0, {"sweep of zs": 1, "sweep of leakage": 1}),
        ("limitation", 5.0, {"sweep of zs": 0, "sweep of leakage": 0}),
    ],
)
def test_what_is_suspect_must_beat_talk_by_more(stage, words, margin, offered):
    found = bench(stage, Deaf(words, margin=margin), hours=5 / 60)
    assert {stance: found.by_stance[stance]["offered"] for stance in offered} == offered


def test_to_ask_which_of_two_it_was_is_an_offer(stage):
    """Two readings alike in sound: none is kept, and yet somebody is asked."""
    found = bench(stage, Torn(READING, READING.replace("five", "nine")), hours=1 / 60)
    assert (found.offered, found.asked, found.offered_per_hour) == (0, 1, 300)


def test_words_outside_the_grammar_offer_nothing(stage):
    found = bench(stage, Deaf("[unk]", "[unk] five", "yes", "circuit five [unk]"), hours=3 / 60)
    assert (found.offered, found.utterances) == (0, 12)


def test_a_run_cut_short_goes_on_where_it_stopped(stage, tmp_path):
    file = tmp_path / "minutes.jsonl"
    first = Deaf(READING)
    bench(stage, first, hours=2 / 60, keep=file)
    file.write_text(file.read_text() + '{"number": 2, "sta')  # the machine went off here
    second = Deaf(READING)
    found = bench(stage, second, hours=4 / 60, keep=file)
    assert (first.minutes, second.minutes) == (2, 2)
    third = Deaf(READING)
    assert bench(stage, third, hours=4 / 60, keep=file) == found and third.minutes == 0


def test_every_stance_is_taken_in_turn(stage):
    found = bench(stage, Deaf(), hours=2 * len(STANCES) / 60)
    assert {stance: counts["hours"] for stance, counts in found.by_stance.items()} == dict.fromkeys(STANCES, 0.007)


def test_a_script_repeats_nothing_and_means_nothing(stage):
    lines = list(script(random.Random(2), stage.reader, 6000, Casting("t", ("bf_lily",), ("en-029",)), (PROSE,)))
    assert len({line["text"] for line in lines}) == len(lines) > 60
    assert not any(means_something(line["text"], stage.reader) for line in lines)
    assert all(set(line["text"]) <= set("abcdefghijklmnopqrstuvwxyz ,") for line in lines)
    assert means_something("well, circuit five, what a day", stage.reader)  # the filter can find one


@pytest.fixture
def folder(tmp_path):
    """Three recordings, one of them a value in itself."""
    texts = ("what a day it was", "nine", "pass me the ladder")
    for number, text in enumerate(texts):
        soundfile.write(tmp_path / f"{number}.wav", np.sin(np.arange(20_000) * 0.1) * 0.3, 16_000)
        with open(tmp_path / "index.jsonl", "a") as index:
            index.write(json.dumps({"file": f"{number}.wav", "text": text}) + "\n")
    return tmp_path


def test_recordings_are_used_once_and_an_offer_says_which_and_where(stage, folder):
    source, values = bystanders.recorded(folder, stage.reader)
    near = source.minute(0, random.Random(1)).sentences
    assert near == ("what a day it was", "pass me the ladder")
    assert (len(source), len(values), values.meant) == (1, 1, True)
    found = bench(stage, Deaf(READING), 0, folders=[folder])
    assert [offer.source for offer in found.offers] == [source.name, values.name]


def test_nothing_is_awaited_where_values_and_answers_are_played(stage, folder):
    meant = bystanders.Recorded("v", bystanders.read_index(folder), True, ())
    assert list(bench_chatter(stage, Deaf(), [meant] * 3).by_stance) == ["awaiting"]


def test_a_babble_has_no_words_of_its_own_and_keeps_to_a_radios_band(stage, folder):
    (source, _) = bystanders.recorded(folder, stage.reader)
    made = bystanders.Babble(source, 1).minute(0, random.Random(3))
    assert made.parts == () and len(made.samples) == SHORT
