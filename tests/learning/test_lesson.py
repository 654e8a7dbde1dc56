"""From recordings to a profile in use, with small random networks."""

import json
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from tests.learning.test_adaptation import QUICK, phrases, pronounce, someone
from tests.networks import random_network
from voicelog.errors import InputError, SoundError
from voicelog.hearing.filterbank import CONF
from voicelog.hearing.model_folder import Kind, open_folder
from voicelog.hearing.nnet3 import read_model, write_model
from voicelog.learning import person
from voicelog.learning.adaptation import Kind as Learned
from voicelog.learning.adaptation import Spoken
from voicelog.learning.lesson import learn_from_job, learn_voice, spoken_in
from voicelog.learning.profiles import Profiles, digest_of


@pytest.fixture(scope="module")
def general(tmp_path_factory):
    folder = tmp_path_factory.mktemp("general")
    (folder / "am").mkdir()
    (folder / "conf").mkdir()
    write_model(random_network(seed=2, width=24, bottleneck=10), folder / "am/final.mdl")
    (folder / "conf/fbank.conf").write_text(CONF)
    return folder


@pytest.fixture(scope="module")
def said(general):
    return phrases(someone(read_model(general / "am/final.mdl"), 0.25), 12)


def test_a_voice_is_learnt_and_in_use(general, said, tmp_path):
    profiles = Profiles(tmp_path)
    outcome = learn_voice(
        profiles, "Kit", said, "phrases", general=general, recipe=QUICK, pronounce=pronounce, keep_sound=True
    )
    profile = profiles.profile("Kit")
    assert outcome.profile == profile
    assert open_folder(profile.folder).kind is Kind.OWN
    assert (profile.folder / "am/final.mdl").stat().st_size == (general / "am/final.mdl").stat().st_size
    assert profile.about.general == digest_of(general / "am/final.mdl")
    assert profile.about.loss_after < profile.about.loss_before
    assert len(profile.about.print) == 10
    assert "Kit" in outcome.sentence
    assert len(profiles.sound("Kit")) == len(said)

    # The same phrases again, from where it stands: the sound kept joins in, and a worse voice never replaces it.
    again = learn_voice(
        profiles, "Kit", said[:4], "job 1", True, True, general=general, recipe=QUICK, pronounce=pronounce
    )
    assert again.learnt.speech_s > sum(phrase.seconds for phrase in said)
    assert again.learnt.after.loss <= again.learnt.before.loss


def test_nothing_better_changes_nothing(general, tmp_path):
    right = phrases(read_model(general / "am/final.mdl"), 8)
    mixed = tuple(
        phrase if number % 4 == 1 else Spoken(phrase.sound, ("ZH_OY_TH_ZH",)) for number, phrase in enumerate(right)
    )
    outcome = learn_voice(Profiles(tmp_path), "Kit", mixed, "files", general=general, recipe=QUICK, pronounce=pronounce)
    assert outcome.profile is None
    assert Profiles(tmp_path).names() == ()
    assert "stays as it is" in outcome.sentence


LEFT = SimpleNamespace(kind=Learned.GENERAL)
VON = {"one": (("V", "AH", "N"),)}


def test_ones_own_words_are_kept_though_the_network_stays_and_only_once(general, said, tmp_path, monkeypatch):
    """Somebody says "von" for "one" and is heard well otherwise."""
    asked = []

    def own_words(model, phrases, pronounce):
        asked.append(pronounce)
        return {} if VON["one"][0] in pronounce("one") else VON

    monkeypatch.setattr(person, "own_words", own_words)
    well = replace(QUICK, clear=1e9)  # nothing beats the general network clearly enough
    profiles = Profiles(tmp_path)

    def ways(word):
        return (("W", "AH", "N"),) if word == "one" else pronounce(word)

    def again(go_on):
        return learn_voice(profiles, "Kit", said, "phrases", False, go_on, general=general, recipe=well, pronounce=ways)

    first = again(False)
    assert first.learnt.kind == "general" and first.words == ("one",)
    profile = profiles.profile("Kit")
    assert profile.own_words == VON
    assert (profile.folder / "am/final.mdl").read_bytes() == (general / "am/final.mdl").read_bytes()
    assert "stays as it is" in first.sentence and "Own pronunciations added: one" in first.sentence

    assert again(True).profile is None  # nothing new: the voice in use stays
    assert profiles.profile("Kit").own_words == VON
    assert asked[-1]("one") == (VON["one"][0], ("W", "AH", "N"))


def test_the_network_learns_from_what_was_said_and_not_from_the_dictionary(general, said, monkeypatch):
    told = []
    monkeypatch.setattr(person, "own_words", lambda model, phrases, pronounce: VON)

    def left(model, phrases, pronounce, recipe, progress):
        told.append((pronounce("one"), recipe.heard_well))
        return LEFT

    monkeypatch.setattr(person, "learn", left)
    found = person.learn_person(None, said, lambda word: (("W", "AH", "N"),))
    assert told == [((VON["one"][0], ("W", "AH", "N")), 0.0)]  # nobody with words of their own is heard well enough
    assert found == (LEFT, VON)


def test_a_bad_name_is_refused_before_any_work(general, said, tmp_path):
    with pytest.raises(InputError):
        learn_voice(Profiles(tmp_path), "../Kit", said, "files", general=general, pronounce=pronounce)


def test_a_job_without_a_journal_is_refused(tmp_path):
    from voicelog.errors import KeepingError

    with pytest.raises(KeepingError):
        learn_from_job(Profiles(tmp_path / "voices"), "Kit", tmp_path)


def write(file, seconds=1.0):
    soundfile.write(file, np.zeros(int(16000 * seconds), np.int16), 16000)


def test_recordings_come_with_an_index_or_with_words_beside_them(tmp_path):
    for name in ("a.flac", "b.wav"):
        write(tmp_path / name)
    (tmp_path / "index.jsonl").write_text(
        json.dumps({"file": "a.flac", "text": "Zed S"})
        + "\n\n"
        + json.dumps({"file": "b.wav", "text": "affirm"})
        + "\n"
    )
    assert [phrase.words for phrase in spoken_in([tmp_path])] == [("zed", "s"), ("affirm",)]
    (tmp_path / "b.txt").write_text("negative\n")
    assert [phrase.words for phrase in spoken_in([tmp_path / "b.wav"])] == [("negative",)]
    assert spoken_in([tmp_path / "b.wav"])[0].seconds == 1.0


def test_recordings_that_cannot_be_used_are_refused_by_name(tmp_path):
    write(tmp_path / "a.flac")
    with pytest.raises(SoundError) as refusal:
        spoken_in([tmp_path / "a.flac"])
    assert "a.flac" in str(refusal.value)
    with pytest.raises(InputError):
        spoken_in([])
    with pytest.raises(InputError):
        spoken_in([tmp_path])
    for damage in ("{", '{"file": "a.flac"}', "[]"):
        (tmp_path / "index.jsonl").write_text(damage)
        with pytest.raises(InputError):
            spoken_in([tmp_path / "index.jsonl"])
    (tmp_path / "index.jsonl").write_text('{"file": "gone.flac", "text": "affirm"}')
    with pytest.raises(SoundError):
        spoken_in([tmp_path])
