"""Voices kept, listed, carried, taken back and deleted."""

import zipfile

import numpy as np
import pytest

from tests.networks import random_network
from voicelog.errors import InputError, StorageFull
from voicelog.hearing.model_folder import Kind, open_folder
from voicelog.learning.adaptation import Spoken
from voicelog.learning.layers import arrays
from voicelog.learning.profiles import About, Profiles, now

MODEL = random_network()
SAID = (Spoken(np.arange(8000, dtype=np.int16), ("affirm",)), Spoken(np.ones(1600, np.int16), ("zed", "s")))


def about(name="Kit", **changes) -> About:
    facts = dict(
        name=name, learnt_at=now(), source="phrases", kind="all weights", blend=1.0, speech_s=90.0, phrases=24,
        loss_before=0.8, loss_after=0.3, wrong_before=0.2, wrong_after=0.05, general="0" * 64, print=(1.0,) * 10,
    )  # fmt: skip
    return About(**facts | changes)


@pytest.fixture
def profiles(tmp_path):
    return Profiles(tmp_path / "voices")


def test_nobody_is_known_at_first(profiles):
    assert profiles.names() == ()
    with pytest.raises(InputError) as refusal:
        profiles.profile("Kit")
    assert "nobody" in str(refusal.value)


def test_a_profile_is_an_ordinary_model_folder(profiles):
    kept = profiles.keep(about(), MODEL, {"three": (("F", "R", "IY"),)})
    assert open_folder(kept.folder).kind is Kind.OWN
    assert kept.own_words["three"][0] == ("F", "R", "IY")
    assert profiles.names() == ("Kit",)
    assert profiles.profile("kit").about.speech_s == 90.0
    assert kept.model.weights == MODEL.weights


def test_versions_follow_and_go_back(profiles):
    profiles.keep(about(speech_s=30.0), MODEL)
    profiles.keep(about(speech_s=60.0), MODEL)
    assert [item.version for item in profiles.history("Kit")] == [1, 2]
    assert profiles.profile("Kit").about.speech_s == 60.0
    assert profiles.back("Kit").about.speech_s == 30.0
    assert profiles.profile("Kit").version == 1
    with pytest.raises(InputError):
        profiles.back("Kit")
    assert profiles.profile("Kit").version == 1
    assert profiles.keep(about(speech_s=70.0), MODEL).version == 3  # nothing is overwritten


def test_sound_is_kept_only_with_leave(profiles):
    profiles.keep(about(), MODEL, sound=SAID)
    assert profiles.sound("Kit") == ()
    assert not list(profiles.root.rglob("*.flac"))
    profiles.keep(about(sound_kept=True), MODEL, sound=SAID)
    profiles.keep(about(sound_kept=True), MODEL, sound=SAID[:1])
    kept = profiles.sound("Kit")
    assert [phrase.words for phrase in kept] == [("affirm",), ("zed", "s"), ("affirm",)]
    np.testing.assert_array_equal(kept[0].sound, SAID[0].sound)


def test_delete_leaves_nothing(profiles):
    profiles.keep(about(sound_kept=True), MODEL, sound=SAID)
    profiles.keep(about("Robin"), MODEL)
    profiles.delete("Kit")
    assert profiles.names() == ("Robin",)
    assert not (profiles.root / "Kit").exists()


def test_export_and_import_carry_the_voice_without_sound(profiles, tmp_path):
    profiles.keep(about(sound_kept=True), MODEL, {"three": (("F", "R", "IY"),)}, SAID)
    profiles.export("Kit", tmp_path / "kit.voice")
    with zipfile.ZipFile(tmp_path / "kit.voice") as archive:
        assert not [name for name in archive.namelist() if "flac" in name or "sound" in name]

    elsewhere = Profiles(tmp_path / "other")
    came = elsewhere.import_(tmp_path / "kit.voice")
    assert (came.name, came.about.source, came.about.sound_kept) == ("Kit", "import", False)
    assert came.own_words == profiles.profile("Kit").own_words
    for name, array in arrays(profiles.profile("Kit").model).items():
        np.testing.assert_array_equal(array, arrays(came.model)[name])
    assert elsewhere.import_(tmp_path / "kit.voice", "Sam").name == "Sam"
    assert elsewhere.names() == ("Kit", "Sam")


def bad_archive(file, **members):
    with zipfile.ZipFile(file, "w") as archive:
        for name, content in members.items():
            archive.writestr(name.replace("__", "/").replace("_dot_", "."), content)


@pytest.mark.parametrize(
    "members",
    [
        {},
        {"about_dot_json": "{}"},
        {"_dot__dot___escape_dot_txt": "x"},
        {"about_dot_json": about().model_dump_json(), "am__final_dot_mdl": "not a model"},
    ],
)
def test_what_is_no_voice_is_not_imported(profiles, tmp_path, members):
    bad_archive(tmp_path / "bad.voice", **members)
    with pytest.raises(InputError):
        profiles.import_(tmp_path / "bad.voice")
    assert profiles.names() == ()


def test_a_file_that_is_no_archive_is_not_imported(profiles, tmp_path):
    (tmp_path / "bad.voice").write_bytes(b"hello")
    for file in ("bad.voice", "missing.voice"):
        with pytest.raises(InputError):
            profiles.import_(tmp_path / file)


@pytest.mark.parametrize("name", ["", " ", "../Kit", "a/b", ".hidden", "1st", "x" * 60, "Kit.", "con:"])
def test_names_that_could_leave_the_folder_are_refused(profiles, name):
    with pytest.raises(InputError):
        profiles.keep(about(name), MODEL)


@pytest.mark.parametrize("name", ["Kit", "Zoë", "Anna-Maria K.2", "O Neill"])
def test_names_of_people_are_taken(profiles, name):
    assert profiles.keep(about(name), MODEL).name == name


def test_a_disk_that_refuses_leaves_the_voice_in_use(profiles, monkeypatch):
    profiles.keep(about(speech_s=30.0), MODEL)

    def full(*_, **__):
        raise StorageFull("the disk is full.")

    monkeypatch.setattr("voicelog.learning.profiles.write_model", full)
    with pytest.raises(StorageFull):
        profiles.keep(about(speech_s=60.0), MODEL)
    assert profiles.profile("Kit").about.speech_s == 30.0
    assert [item.version for item in profiles.history("Kit")] == [1]
