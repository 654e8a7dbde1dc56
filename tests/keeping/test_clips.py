import hashlib
import os
import shutil
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.keeping.conftest import NOON, Ticking, called
from voicelog.errors import KeepingError, StorageFull
from voicelog.keeping.clips import CLIPS, ClipFolder, read_clip, remove_clip, remove_clips
from voicelog.keeping.journal import Journal, read_entries
from voicelog.keeping.verify import verify_job

RATE_HZ = 16000
SOUND = (np.sin(np.arange(8000) * 0.17) * 12000).astype(np.int16)  # half a second


def test_a_clip_comes_back_sample_for_sample(job: Path):
    clip = ClipFolder(job).keep(SOUND, RATE_HZ, NOON)
    samples, rate_hz = read_clip(job, clip.name)
    assert np.array_equal(samples, SOUND) and rate_hz == RATE_HZ
    assert clip.sha256 == hashlib.sha256((job / CLIPS / clip.name).read_bytes()).hexdigest()
    assert clip.name == "20260302T120000Z-0001.flac" and clip.remark == ""


def test_float_samples_are_taken_too(job: Path):
    clip = ClipFolder(job).keep((SOUND / 32768).astype(np.float32), RATE_HZ, NOON)
    assert np.abs(read_clip(job, clip.name)[0].astype(int) - SOUND).max() <= 1


def test_names_never_collide_even_after_a_restart(job: Path):
    names = [ClipFolder(job).keep(SOUND, RATE_HZ, NOON).name for _ in range(3)]
    assert len(set(names)) == 3


def test_a_folder_deleted_meanwhile_is_made_anew_and_that_is_said(job: Path):
    clips = ClipFolder(job)
    clips.keep(SOUND, RATE_HZ, NOON)
    clips.keep(SOUND, RATE_HZ, NOON)
    shutil.rmtree(job / CLIPS)
    after = clips.keep(SOUND, RATE_HZ, NOON)
    assert "2 sounds" in after.remark and (job / CLIPS / after.name).is_file()
    assert clips.keep(SOUND, RATE_HZ, NOON).remark == ""


def test_a_job_folder_gone_is_not_made_anew(job: Path):
    clips = ClipFolder(job)
    shutil.rmtree(job)
    with pytest.raises(KeepingError, match="gone"):
        clips.keep(SOUND, RATE_HZ, NOON)
    assert not job.exists()


def test_a_full_disk_leaves_no_half_sound(job: Path, monkeypatch: pytest.MonkeyPatch):
    clips = ClipFolder(job)
    clips.keep(SOUND, RATE_HZ, NOON)

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("voicelog.keeping.storage.os.fsync", full)
    with pytest.raises(StorageFull):
        clips.keep(SOUND, RATE_HZ, NOON)
    assert len(os.listdir(job / CLIPS)) == 1


@pytest.mark.parametrize(
    "samples", [np.zeros((10, 2), np.int16), np.zeros(10, np.complex64), np.array(["a"], dtype=object)]
)
def test_what_is_no_sound_is_refused(job: Path, samples: np.ndarray):
    with pytest.raises(KeepingError):
        ClipFolder(job).keep(samples, RATE_HZ, NOON)


def test_every_sound_can_be_removed_once_each_with_its_trace(job: Path):
    clips = [ClipFolder(job).keep(SOUND, RATE_HZ, NOON + timedelta(seconds=n)) for n in range(3)]
    with Journal.open(job, Ticking()) as journal:
        entries = [journal.append(called(clip=clip.name, clip_sha256=clip.sha256)) for clip in clips]
        remove_clip(journal, job, entries[1], "a visitor speaks in it")
        assert remove_clips(journal, job, "asked to") == 2 and remove_clips(journal, job, "again") == 0
    assert list((job / CLIPS).iterdir()) == []
    assert [entry.refers for entry in read_entries(job)[3:]] == [2, 1, 3]
    assert (verify_job(job).state, verify_job(job).remarks) == ("whole", ())


def test_a_sound_is_removed_once_and_for_a_reason(job: Path):
    clip = ClipFolder(job).keep(SOUND, RATE_HZ, NOON)
    with Journal.open(job, Ticking()) as journal:
        entry = journal.append(called(clip=clip.name, clip_sha256=clip.sha256))
        for remove in (lambda: remove_clip(journal, job, entry, " "), lambda: remove_clips(journal, job, "")):
            with pytest.raises(KeepingError, match="for a reason"):
                remove()
        assert (job / CLIPS / clip.name).exists() and journal.entries() == (entry,)
        remove_clip(journal, job, entry, "asked to")
        with pytest.raises(KeepingError, match="removed before"):
            remove_clip(journal, job, entry, "asked to")
        (job / CLIPS / clip.name).write_bytes(b"as after a kill between trace and removal")
        assert remove_clips(journal, job, "asked to") == 1 and not (job / CLIPS / clip.name).exists()


@pytest.mark.parametrize("name", ["../../letter.txt", "..", "{tmp}/letter.txt", "..\\..\\letter.txt"])
def test_a_name_that_leads_out_of_the_folder_is_no_sound(job: Path, name: str):
    """A journal from elsewhere may verify and still name any file."""
    letter = job.parent / "letter.txt"
    letter.write_text("not a sound of this job")
    clip = ClipFolder(job).keep(SOUND, RATE_HZ, NOON)
    name = name.format(tmp=job.parent)
    with Journal.open(job, Ticking()) as journal:
        entry = journal.append(called(clip=name, clip_sha256="0" * 64))
        journal.append(called(clip=clip.name, clip_sha256=clip.sha256))
        with pytest.raises(KeepingError, match="no file name of a sound"):
            remove_clip(journal, job, entry, "asked to")
        assert remove_clips(journal, job, "asked to") == 1 and not (job / CLIPS / clip.name).exists()
    with pytest.raises(KeepingError, match="no file name of a sound"):
        read_clip(job, name)
    assert letter.exists()


def test_a_removed_clip_leaves_its_trace(job: Path):
    clip = ClipFolder(job).keep(SOUND, RATE_HZ, NOON)
    with Journal.open(job, Ticking()) as journal:
        entry = journal.append(called(clip=clip.name, clip_sha256=clip.sha256))
        trace = remove_clip(journal, job, entry, "a visitor speaks in it")
        with pytest.raises(KeepingError, match="no sound"):
            remove_clip(journal, job, trace, "again")
    assert not (job / CLIPS / clip.name).exists()
    assert read_entries(job) == (entry, trace)
    assert trace.refers == 1 and trace.detail == {"action": "clip removed", "clip": clip.name}
    with pytest.raises(KeepingError, match="cannot be read"):
        read_clip(job, clip.name)
