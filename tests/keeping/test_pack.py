import hashlib
import json
import shutil
import stat
import zipfile
from datetime import date
from pathlib import Path

import pytest

from tests.keeping.conftest import Ticking
from tests.keeping.test_journal import log, tamper
from tests.keeping.test_verify import with_clips
from voicelog.errors import JournalLocked, KeepingError, StorageFull
from voicelog.keeping.journal import Journal, read_entries
from voicelog.keeping.pack import FORMAT, MANIFEST, is_inside, pack, pack_without_sounds, unpack
from voicelog.keeping.sheet import new_job
from voicelog.keeping.storage import sha256_of
from voicelog.keeping.verify import verify_job


@pytest.fixture
def whole(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    new_job(folder, date(2026, 3, 2))
    with_clips(folder, 3)
    (folder / "prints").mkdir()
    (folder / "prints" / "schedule of tests.html").write_text("<p>")
    return folder


def files(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): sha256_of(path)
        for path in folder.rglob("*")
        if path.is_file() and path.name not in ("journal.lock", "journal.writer")
    }


def test_a_job_arrives_byte_for_byte(whole: Path, tmp_path: Path):
    seen: list[tuple[int, int]] = []
    assert pack(whole, tmp_path / "p.zip", lambda done, of: seen.append((done, of))).exit_code == 0
    assert seen[-1][0] == seen[-1][1] > 0
    found = unpack(tmp_path / "p.zip", tmp_path / "there" / "job")
    assert (found.state, found.entries) == ("whole", 3)
    assert files(tmp_path / "there" / "job") == files(whole)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "p.zip", "there"]


def test_the_sounds_can_be_left_out_and_the_pack_says_so(whole: Path, tmp_path: Path):
    (whole / "log.html").write_text("a log with its sounds inside")
    before, head = files(whole), verify_job(whole).head
    found = pack_without_sounds(whole, tmp_path / "p.zip")
    assert (found.state, found.entries) == ("whole", 6)
    assert unpack(tmp_path / "p.zip", tmp_path / "there").state == "whole"
    assert list((tmp_path / "there").rglob("*.flac")) == [] and not (tmp_path / "there" / "log.html").exists()
    assert (tmp_path / "there" / "prints").is_dir()
    traces = read_entries(tmp_path / "there")[3:]
    assert [(trace.refers, trace.reason) for trace in traces] == [(n, "left out of the pack") for n in (1, 2, 3)]
    assert verify_job(tmp_path / "there", head).exit_code == 0  # the head that was printed before still holds
    assert files(whole) == before


def test_the_same_job_packs_to_the_same_bytes(whole: Path, tmp_path: Path):
    pack(whole, tmp_path / "one.zip")
    pack(whole, whole / "two.zip")
    assert sha256_of(tmp_path / "one.zip") == sha256_of(whole / "two.zip")


def test_a_job_that_is_not_whole_is_carried_and_said_to_be_so(whole: Path, tmp_path: Path):
    tamper(whole, "DELETE FROM entry WHERE number = 3")
    assert pack(whole, tmp_path / "p.zip").exit_code == 1
    assert unpack(tmp_path / "p.zip", tmp_path / "there").exit_code == 1


def test_a_job_in_use_is_not_packed(whole: Path, tmp_path: Path):
    with Journal.open(whole), pytest.raises(JournalLocked):
        pack(whole, tmp_path / "p.zip")
    pack(whole, tmp_path / "p.zip")
    Journal.open(whole).close()


def test_a_read_only_job_is_packed(bound: Path):
    new_job(bound, date(2026, 3, 2))
    log(bound, 1)
    for path in bound.iterdir():
        path.chmod(0o400)
    bound.chmod(0o500)
    assert pack(bound, bound.parent / "p.zip").exit_code == 0
    bound.chmod(0o700)


@pytest.mark.parametrize("packing", [pack, pack_without_sounds])
@pytest.mark.parametrize("name", ["gone", "empty"])
def test_what_is_no_job_is_not_packed(tmp_path: Path, name: str, packing):
    (tmp_path / "empty").mkdir()
    with pytest.raises(KeepingError):
        packing(tmp_path / name, tmp_path / "p.zip")
    assert not (tmp_path / "p.zip").exists()


def test_sounds_that_lie_on_another_disk_stay_there(whole: Path, tmp_path: Path):
    (whole / "clips").rename(tmp_path / "disk")
    (whole / "clips").symlink_to(tmp_path / "disk")
    before = files(tmp_path / "disk")
    pack_without_sounds(whole, tmp_path / "p.zip")
    assert before and files(tmp_path / "disk") == before


@pytest.mark.parametrize("packing", [pack, pack_without_sounds])
def test_what_a_link_leads_to_stays_behind(whole: Path, tmp_path: Path, packing):
    (tmp_path / "letters").mkdir()
    (tmp_path / "letters" / "one.txt").write_text("no part of the job")
    (whole / "link.txt").symlink_to(tmp_path / "letters" / "one.txt")
    (whole / "letters").symlink_to(tmp_path / "letters")
    packing(whole, tmp_path / "p.zip")
    unpack(tmp_path / "p.zip", tmp_path / "there")
    assert not (tmp_path / "there" / "link.txt").exists() and not (tmp_path / "there" / "letters").exists()


def test_a_full_disk_leaves_no_half_pack(whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("voicelog.keeping.pack.os.fsync", full)
    with pytest.raises(StorageFull):
        pack(whole, tmp_path / "p.zip")
    monkeypatch.undo()
    pack(whole, tmp_path / "p.zip")
    monkeypatch.setattr("voicelog.keeping.pack.os.fsync", full)
    with pytest.raises(StorageFull):
        unpack(tmp_path / "p.zip", tmp_path / "there")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["job", "p.zip"]


def test_nothing_is_overwritten(whole: Path, tmp_path: Path):
    pack(whole, tmp_path / "p.zip")
    before = files(whole)
    with pytest.raises(KeepingError, match="already"):
        unpack(tmp_path / "p.zip", whole)
    assert files(whole) == before


# ---------------------------------------------------------------- packs nobody should trust


def forged(path: Path, members: dict[str, bytes], manifest: dict | None = None, attributes: int = 0) -> Path:
    """A pack as an attacker would write it: the manifest agrees with the members unless given."""
    listed = {name: {"size": len(data), "sha256": _sha(data)} for name, data in members.items()}
    text = json.dumps(
        manifest if manifest is not None else {"format": FORMAT, "head": "", "entries": 0, "files": listed}
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(MANIFEST, text)
        for name, data in members.items():
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED
            info.external_attr = attributes << 16
            archive.writestr(info, data)
    return path


def _sha(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def refused(path: Path, words: str) -> None:
    around = path.parent
    before = sorted(around.rglob("*"))
    with pytest.raises(KeepingError, match=words):
        unpack(path, around / "there")
    assert sorted(around.rglob("*")) == before


@pytest.mark.parametrize(
    "name",
    ["../evil", "/etc/evil", "a/../../evil", "..", "a\\..\\evil", "C:evil", "a//b", "./a", "a/.", "evil. ", "n\nl"],
)
def test_names_that_leave_the_folder(tmp_path: Path, name: str):
    assert not is_inside(name)
    refused(forged(tmp_path / "p.zip", {name: b"x"}), "would leave the folder|no plain file|disagree")


@pytest.mark.parametrize(
    "name", ["job.toml", "clips/20260302T120000Z-0001.flac", "prints/prüf bericht.html", ".hidden"]
)
def test_names_that_stay(name: str):
    assert is_inside(name)


@pytest.mark.parametrize("kind", [stat.S_IFLNK, stat.S_IFDIR, stat.S_IFIFO, stat.S_IFCHR])
def test_links_and_devices(tmp_path: Path, kind: int):
    refused(forged(tmp_path / "p.zip", {"clips": b"/etc"}, attributes=kind | 0o777), "no plain file")


def test_a_file_that_swells(tmp_path: Path):
    refused(forged(tmp_path / "p.zip", {"job.toml": b"\0" * (20 << 20)}), "would swell")


def test_many_small_files_that_swell_together(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr("voicelog.keeping.pack.MOST_BYTES", 4 << 20)
    refused(forged(tmp_path / "p.zip", {f"f{n}": b"\0" * (1 << 20) for n in range(5)}), "more than")
    monkeypatch.setattr("voicelog.keeping.pack.MOST_FILES", 5)
    refused(forged(tmp_path / "p.zip", {f"f{n}": b"" for n in range(5)}), "more than 5 files")


def test_a_member_larger_than_it_says(tmp_path: Path):
    listed = {"job.toml": {"size": 3, "sha256": _sha(b"abc")}}
    manifest = {"format": FORMAT, "head": "", "entries": 0, "files": listed}
    refused(forged(tmp_path / "p.zip", {"job.toml": b"abcdef"}, manifest), "not the file that was packed")


@pytest.mark.parametrize(
    ("members", "manifest", "words"),
    [
        ({"a": b"x", "A": b"y"}, None, "one name"),
        ({"a": b"x"}, {"format": FORMAT, "head": "", "entries": 0, "files": {}}, "disagree about 'a'"),
        ({}, {"format": FORMAT, "head": "", "entries": 0, "files": {"a": {"size": 1, "sha256": ""}}}, "disagree"),
        ({}, {"format": "voicelog pack 2", "head": "", "entries": 0, "files": {}}, "another format"),
        ({}, {"files": 7}, "makes no sense"),
        ({}, [], "makes no sense"),
    ],
)
def test_manifests_that_do_not_fit(tmp_path: Path, members: dict, manifest: dict, words: str):
    refused(forged(tmp_path / "p.zip", members, manifest), words)


def test_a_zip_without_a_manifest(tmp_path: Path):
    with zipfile.ZipFile(tmp_path / "p.zip", "w") as archive:
        archive.writestr("job.toml", "")
    refused(tmp_path / "p.zip", "no manifest.json to go by")


@pytest.mark.parametrize("data", [b"", b"hello", b"PK\x05\x06" + b"\0" * 18, b"PK\x03\x04" + b"\xff" * 200])
def test_what_is_no_archive(tmp_path: Path, data: bytes):
    (tmp_path / "p.zip").write_bytes(data)
    refused(tmp_path / "p.zip", "no pack|no manifest")


def test_a_pack_that_is_gone(tmp_path: Path):
    refused(tmp_path / "gone.zip", "gone.zip: there is no such pack")


def test_every_damaged_byte_is_noticed_or_without_effect(tmp_path: Path):
    """One byte in twenty-three, each with every bit turned: refused, or the same files come out."""
    new_job(tmp_path / "job", date(2026, 3, 2))
    log(tmp_path / "job", 2, Ticking())
    pack(tmp_path / "job", tmp_path / "p.zip")
    whole, wanted = (tmp_path / "p.zip").read_bytes(), files(tmp_path / "job")
    for place in range(0, len(whole), 23):
        (tmp_path / "q.zip").write_bytes(whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :])
        try:
            unpack(tmp_path / "q.zip", tmp_path / "there")
        except KeepingError:
            assert not (tmp_path / "there").exists()
            continue
        assert files(tmp_path / "there") == wanted
        shutil.rmtree(tmp_path / "there")


def test_unpacked_jobs_go_on(whole: Path, tmp_path: Path):
    pack(whole, tmp_path / "p.zip")
    unpack(tmp_path / "p.zip", tmp_path / "there")
    log(tmp_path / "there", 1)
    assert len(read_entries(tmp_path / "there")) == 4
    assert verify_job(tmp_path / "there").exit_code == 0
