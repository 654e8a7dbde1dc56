import shutil
import sqlite3
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from tests.keeping.conftest import NOON, Ticking, called
from tests.keeping.test_journal import half_committed, killed_before_the_head_line, log, raw, rechained, tamper
from voicelog.errors import InputError, JournalTampered
from voicelog.keeping.chain import GENESIS
from voicelog.keeping.clips import CLIPS, ClipFolder, remove_clip
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS
from voicelog.keeping.journal import Journal, head, read_entries
from voicelog.keeping.verify import verify_job

SOUND = np.arange(1600, dtype=np.int16)


def with_clips(job: Path, count: int) -> None:
    clips = ClipFolder(job)
    with Journal.open(job, Ticking()) as journal:
        for _ in range(count):
            clip = clips.keep(SOUND, 16000, NOON)
            journal.append(called(clip=clip.name, clip_sha256=clip.sha256))


def test_a_whole_job(job: Path):
    with_clips(job, 3)
    found = verify_job(job)
    assert (found.state, found.exit_code, found.entries) == ("whole", 0, 3)
    assert (found.findings, found.remarks) == ((), ())
    assert found.head == head(job).digest


def test_an_empty_journal_is_whole(job: Path):
    log(job, 0)
    assert verify_job(job).model_dump() == {
        "state": "whole", "entries": 0, "head": GENESIS, "findings": (), "remarks": (),
    }  # fmt: skip


@pytest.mark.parametrize("content", [None, b"", b"\0" * 4096, b"no database at all" * 300])
def test_what_cannot_be_read(job: Path, content: bytes | None):
    if content is not None:
        log(job, 2)
        (job / JOURNAL).write_bytes(content)
    found = verify_job(job)
    assert found.exit_code == (1 if content == b"" else 2)  # an empty file is an empty database: entries are missing
    assert found.findings


@pytest.mark.parametrize(
    ("statements", "words"),
    [
        (["UPDATE entry SET body = replace(body, '0.001', '0.999') WHERE number = 2"], ["entry 2 was changed"]),
        (["DELETE FROM entry WHERE number = 2"], ["entry 2 is missing", "entry 2 is missing; journal.head knows it"]),
        (["DELETE FROM entry WHERE number > 2"], ["entry 3 is missing", "entry 4 is missing"]),
        (["UPDATE entry SET body = body || ' ' WHERE number = 1"], ["entry 1 is not written in canonical form"]),
        (["UPDATE entry SET body = '7' WHERE number = 3"], ["entry 3 cannot be read", "entry 3 was changed"]),
        (["INSERT INTO entry VALUES (7, '{}', 'x')"], ["entry 7 is not known to journal.head"]),
    ],
)
def test_what_was_changed_is_named(job: Path, statements: list[str], words: list[str]):
    log(job, 4)
    tamper(job, *statements)
    found = verify_job(job)
    assert found.exit_code == 1
    for one in (*words, "rule entry_no_delete is missing", "bytes are not those"):
        assert one in " ".join(found.findings)


def test_guards_put_back_after_an_edit_do_not_help(job: Path):
    log(job, 4)
    connection = raw(job)
    connection.execute("DELETE FROM entry WHERE number = 4")
    connection.close()
    lines = (job / HEADS).read_text().splitlines(keepends=True)
    (job / HEADS).write_text("".join(line for line in lines if not line.startswith(("entry 4", "closed"))))
    assert any("rule" in words for words in verify_job(job).findings)


def test_a_journal_rewritten_with_its_heads_is_only_found_by_the_printed_one(job: Path):
    """The limit of what a folder can tell of itself: both files rewritten, guards put back."""
    log(job, 4)
    printed = head(job).digest
    other = job.parent / "other"
    shutil.copytree(job, other)
    for name in (JOURNAL, HEADS):
        (job / name).unlink()
    log(job, 3)
    assert verify_job(job).exit_code == 0
    assert verify_job(job, printed).exit_code == verify_job(job, printed[:16]).exit_code == 1
    assert "not the one that was printed from" in verify_job(job, printed).findings[0]
    assert verify_job(other, printed[:16].upper()).exit_code == 0


def test_a_printed_head_still_fits_after_more_entries_and_needs_enough_digits(job: Path):
    log(job, 2)
    printed = head(job).digest
    log(job, 2, Ticking(NOON + timedelta(hours=1)))
    assert verify_job(job, printed).exit_code == 0
    for none in (printed[:15], printed + "0", "z" * 16):  # says nothing of the journal
        with pytest.raises(InputError, match="16 to 64 digits"):
            verify_job(job, none)


@pytest.mark.parametrize("since", [1, 3, 4])
def test_a_suffix_forged_anew(job: Path, since: int):
    log(job, 4)
    rechained(job, since)
    assert any(f"entry {since} is not the one that journal.head knows" in words for words in verify_job(job).findings)


@pytest.mark.parametrize("content", [None, "hello\n"])
def test_a_head_file_gone_or_spoilt(job: Path, content: str | None):
    log(job, 2)
    (job / HEADS).unlink() if content is None else (job / HEADS).write_text(content)
    found = verify_job(job)
    assert found.exit_code == 1 and any(HEADS in words for words in found.findings)


def test_bytes_changed_without_effect_are_told_and_stay_told(job: Path):
    log(job, 2)
    connection = sqlite3.connect(job / JOURNAL, isolation_level=None)
    connection.execute("PRAGMA page_size = 8192")
    connection.execute("VACUUM")
    connection.close()
    assert verify_job(job).findings == ("the journal file's bytes are not those it was closed with.",)
    log(job, 1, Ticking(NOON + timedelta(hours=1)))
    found = verify_job(job)
    assert found.findings == ("after entry 2 something other than voicelog changed the journal file's bytes.",)


def test_a_kill_is_no_tampering(job: Path):
    killed_before_the_head_line(job)
    found = verify_job(job)
    assert found.exit_code == 0
    assert "entry 3 was committed just before its writer ended." in found.remarks


def test_a_half_written_commit_on_a_read_only_folder(bound: Path):
    log(bound, 3)
    lines = (bound / HEADS).read_text().splitlines(keepends=True)
    (bound / HEADS).write_text("".join(lines[:-1]))
    half_committed(bound)
    bound.chmod(0o500)
    assert verify_job(bound).exit_code == 0


def test_while_a_session_runs(job: Path):
    with Journal.open(job) as journal:
        journal.append(called())
        found = verify_job(job)
    assert found.exit_code == 0 and "the journal is open" in found.remarks[0]


def test_sounds(job: Path):
    with_clips(job, 3)
    first, second, _ = sorted((job / CLIPS).iterdir())
    first.unlink()
    second.write_bytes(second.read_bytes()[:-1] + b"x")
    (job / CLIPS / "stray.flac").write_bytes(b"")
    found = verify_job(job)
    assert found.exit_code == 1
    assert found.findings == (
        f"the sound of entry 1 is missing: {first.name}.",
        f"the sound of entry 2 was changed: {second.name}.",
    )
    assert found.remarks == ("stray.flac belongs to no entry.",)


def test_a_removed_sound_is_accounted_for(job: Path):
    with_clips(job, 1)
    with Journal.open(job, Ticking(NOON + timedelta(hours=1))) as journal:
        remove_clip(journal, job, journal.entries()[0], "a visitor speaks in it")
    assert verify_job(job).model_dump(include={"state", "remarks"}) == {"state": "whole", "remarks": ()}


@pytest.mark.parametrize("name", ["../job.toml", "/etc/hostname", "a\\b", ".."])
def test_a_clip_name_that_leaves_the_folder_is_not_followed(job: Path, name: str):
    with Journal.open(job) as journal:
        journal.append(called(clip=name, clip_sha256="0" * 64))
    assert "no file name of a sound" in verify_job(job).findings[0]


def test_a_damaged_page_leaves_the_rest_readable(job: Path):
    log(job, 60)
    data = bytearray((job / JOURNAL).read_bytes())
    page = data.rfind(b'"0.030"') // 4096
    data[page * 4096 : page * 4096 + 100] = b"\xff" * 100
    (job / JOURNAL).write_bytes(data)
    found = verify_job(job)
    assert found.exit_code == 1 and 30 < found.entries < 60
    assert any("is missing; journal.head knows it" in words for words in found.findings)


@pytest.mark.parametrize("column", ["body", "digest"])
@pytest.mark.parametrize("value", [None, 7, 1.5, b"\xff"])
def test_a_row_turned_into_something_else_is_a_finding(job: Path, column: str, value: object):
    """STRICT tables let nobody write this; a turned bit of the record's header can."""
    log(job, 2)
    connection = raw(job)
    connection.execute("CREATE TABLE loose (number INTEGER PRIMARY KEY, body, digest)")
    connection.execute("INSERT INTO loose SELECT * FROM entry")
    connection.execute(f"UPDATE loose SET {column} = ? WHERE number = 2", (value,))
    connection.execute("DROP TABLE entry")
    connection.execute("ALTER TABLE loose RENAME TO entry")
    connection.close()
    found = verify_job(job, "0" * 64)
    assert "entry 2 is damaged: it holds no text." in found.findings
    for use in (read_entries, Journal.open):
        with pytest.raises(JournalTampered, match="entry 2 was changed"):
            use(job)


def test_damage_that_makes_the_database_stammer_is_unreadable_in_words(job: Path):
    """A turned bit in the text of the schema: SQLite quotes it in an error that is no UTF-8."""
    log(job, 2)
    data = (job / JOURNAL).read_bytes()
    assert b"CREATE TRIGGER entry_in_order" in data
    (job / JOURNAL).write_bytes(data.replace(b"CREATE TRIGGER entry_in_order", b"CREATE TRIG\xe5ER entry_in_order"))
    found = verify_job(job)
    assert found.exit_code == 2 and "damaged" in found.findings[0]
    for use in (read_entries, Journal.open):
        with pytest.raises(JournalTampered, match="damaged"):
            use(job)


def test_progress_counts_entries(job: Path):
    log(job, 3)
    seen: list[tuple[int, int]] = []
    verify_job(job, progress=lambda done, of: seen.append((done, of)))
    assert seen[-1] == (3, 3)
