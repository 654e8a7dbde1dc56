import json
import shutil
import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.keeping.conftest import NOON, Ticking, called, reading
from voicelog.errors import JournalLocked, JournalTampered, JournalVersion, KeepingError, StorageFull
from voicelog.keeping import database
from voicelog.keeping.chain import GENESIS, Head, canonical, digest_of, entry_of, forge
from voicelog.keeping.database import JOURNAL, Migration, bring_up, version_of
from voicelog.keeping.heads import HEADS
from voicelog.keeping.journal import CLOCK_REMARK, Journal, head, read_entries
from voicelog.model import Draft, Entry, EntryKind


def log(job: Path, count: int, now=None) -> tuple[Entry, ...]:  # noqa: ANN001
    with Journal.open(job, now or Ticking()) as journal:
        return tuple(journal.append(called(f"0.{n:03d}")) for n in range(count))


def raw(job: Path) -> sqlite3.Connection:
    """The database with its guards taken down, as someone else's tool would open it."""
    connection = sqlite3.connect(job / JOURNAL, isolation_level=None)
    for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'").fetchall():
        connection.execute(f"DROP TRIGGER {name}")
    return connection


# ---------------------------------------------------------------- what is appended comes back


def test_what_is_appended_comes_back_equal(job: Path):
    entries = log(job, 5)
    assert read_entries(job) == entries
    assert [entry.number for entry in entries] == [1, 2, 3, 4, 5]
    assert entries[0].previous == GENESIS
    assert all(later.previous == earlier.digest for earlier, later in zip(entries, entries[1:], strict=False))
    assert head(job) == Head(5, entries[-1].digest)
    assert str(entries[0].reading.value.figure) == "0.000"  # type: ignore[union-attr]


def test_a_journal_goes_on_where_it_stopped(job: Path):
    first = log(job, 3)
    second = log(job, 2, Ticking(NOON + timedelta(hours=1)))
    assert second[0].previous == first[-1].digest
    assert read_entries(job) == first + second


TEXT = st.text(st.characters(codec="utf-8"), max_size=20)


@settings(max_examples=30, deadline=None)
@given(
    words=st.lists(TEXT, max_size=4),
    reason=TEXT,
    detail=st.dictionaries(TEXT, TEXT, max_size=3),
    margin=st.none() | st.floats(allow_nan=False, allow_infinity=False),
    figure=st.decimals(allow_nan=False, allow_infinity=False),
)
def test_any_draft_survives_the_chain(words, reason, detail, margin, figure):  # noqa: ANN001
    one = reading(str(figure))
    draft = Draft(kind=EntryKind.CALLED, words=tuple(words), reading=one, reason=reason, detail=detail, margin=margin)
    row = forge(draft, Head(), NOON)
    entry = entry_of(row)
    assert Draft.model_validate(entry.model_dump(include=set(Draft.model_fields))) == draft
    assert str(entry.reading.value.figure) == str(figure)  # type: ignore[union-attr]
    assert canonical(json.loads(row[1])) == row[1]


def test_a_margin_without_end_is_kept_as_absent(job: Path):
    with Journal.open(job) as journal:
        assert journal.append(called().model_copy(update={"margin": float("inf")})).margin is None


def test_the_canonical_form_is_the_one_the_documentation_states():
    row = forge(Draft(kind=EntryKind.NOTED, detail={"b": "é", "a": '"'}), Head(), NOON)
    assert row[1].startswith('{"at":"2026-03-02T12:00:00.000000Z","clip":""')
    assert '"detail":{"a":"\\"","b":"é"}' in row[1]
    assert f'"previous":"{"0" * 64}"' in row[1]
    assert " " not in row[1]


def test_sha256_is_the_published_one():
    # FIPS 180-2, appendix B.1: the digest of "abc" (from memory).
    assert digest_of("abc") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_progress_is_told(job: Path):
    log(job, 4)
    seen: list[tuple[int, int]] = []
    read_entries(job, lambda done, of: seen.append((done, of)))
    assert seen[-1] == (4, 4)


def test_several_threads_may_append(job: Path):
    with Journal.open(job) as journal:
        threads = [threading.Thread(target=lambda: [journal.append(called()) for _ in range(10)]) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(journal.entries()) == 40
    assert len(read_entries(job)) == 40


def test_reading_while_another_writes_never_cries_wolf(job: Path):
    stop = threading.Event()

    def write() -> None:
        with Journal.open(job) as journal:
            while not stop.is_set():
                journal.append(called())

    log(job, 1)
    writer = threading.Thread(target=write)
    writer.start()
    try:
        counts = [len(read_entries(job)) for _ in range(12)]
    finally:
        stop.set()
        writer.join()
    assert counts == sorted(counts)


# ---------------------------------------------------------------- the clock


def test_times_are_utc_whatever_the_clock_shows(job: Path):
    summer = datetime(2026, 7, 1, 9, 30, tzinfo=timezone(timedelta(hours=1)))
    [entry] = log(job, 1, lambda: summer)
    assert (entry.at, entry.at.utcoffset()) == (datetime(2026, 7, 1, 8, 30, tzinfo=UTC), timedelta(0))


def test_a_clock_that_goes_back_is_kept_and_remarked(job: Path):
    times = iter([NOON, NOON - timedelta(hours=1), NOON - timedelta(hours=1), NOON])
    moments = iter([next(times), *times])
    with Journal.open(job, lambda: NOON) as journal:
        journal._now = lambda: next(moments)
        entries = [journal.append(called(detail={"own": "word"})) for _ in range(4)]
    assert [entry.number for entry in read_entries(job)] == [1, 2, 3, 4]
    assert entries[1].at == NOON - timedelta(hours=1)
    remark = "3600.000 s behind entry 1; the numbers give the order"
    assert entries[1].detail == {"own": "word", CLOCK_REMARK: remark}
    assert [CLOCK_REMARK in entry.detail for entry in entries] == [False, True, False, False]


def test_a_clock_gone_back_between_sessions_is_remarked_too(job: Path):
    log(job, 1)
    [late] = log(job, 1, Ticking(NOON - timedelta(days=1)))
    assert late.detail[CLOCK_REMARK].startswith("86404.000 s behind entry 1")


def test_a_clock_without_a_zone_is_refused_and_nothing_written(job: Path):
    log(job, 1)
    with Journal.open(job, lambda: datetime(2026, 3, 2)) as journal, pytest.raises(KeepingError, match="zone"):
        journal.append(called())
    assert len(read_entries(job)) == 1


# ---------------------------------------------------------------- it only grows


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = body",
        "DELETE FROM entry",
        "DELETE FROM entry WHERE number = 2",
        "INSERT OR REPLACE INTO entry VALUES (2, 'x', 'y')",
        "INSERT INTO entry VALUES (9, 'x', 'y')",
        "INSERT INTO entry VALUES (NULL, 'x', 'y')",
        "UPDATE migration SET name = 'x'",
        "DELETE FROM migration",
    ],
)
def test_the_database_itself_refuses(job: Path, statement: str):
    entries = log(job, 2)
    connection = sqlite3.connect(job / JOURNAL, isolation_level=None)
    with pytest.raises(sqlite3.DatabaseError):
        connection.execute(statement)
    connection.close()
    assert read_entries(job) == entries


def test_rollback_journal_and_extra_synchronous(job: Path):
    with Journal.open(job) as journal:
        assert journal._connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert journal._connection.execute("PRAGMA synchronous").fetchone() == (3,)


# ---------------------------------------------------------------- tampering is named


def tamper(job: Path, *statements: str) -> None:
    connection = raw(job)
    for statement in statements:
        connection.execute(statement)
    connection.close()


@pytest.mark.parametrize(
    ("statement", "words"),
    [
        ("UPDATE entry SET body = replace(body, '0.001', '0.999') WHERE number = 2", "entry 2 was changed"),
        ("UPDATE entry SET digest = upper(digest) WHERE number = 3", "entry 3 was changed"),
        ("DELETE FROM entry WHERE number = 2", "entry 2 is missing"),
        ("DELETE FROM entry WHERE number = 1", "entry 1 is missing"),
        ("DELETE FROM entry WHERE number = 4", "entry 4 is missing"),
        ("DELETE FROM entry WHERE number >= 3", "entry 3 is missing"),
        ("DELETE FROM entry", "entry 1 is missing"),
        ("UPDATE entry SET number = 9 WHERE number = 4", "entry 4 is missing"),
        ("UPDATE entry SET body = '[]', digest = '" + digest_of("[]") + "' WHERE number = 4", "entry 4 says of itself"),
        ("UPDATE entry SET body = '{', digest = '" + digest_of("{") + "' WHERE number = 4", "entry 4 is not JSON"),
    ],
)
def test_reading_and_opening_name_the_entry(job: Path, statement: str, words: str):
    log(job, 4)
    tamper(job, statement)
    with pytest.raises(JournalTampered, match=words):
        read_entries(job)
    with pytest.raises(JournalTampered, match=words):
        Journal.open(job)


def test_two_entries_exchanged(job: Path):
    log(job, 4)
    tamper(
        job,
        "UPDATE entry SET number = -1 WHERE number = 2",
        "UPDATE entry SET number = 2 WHERE number = 3",
        "UPDATE entry SET number = 3 WHERE number = -1",
    )
    with pytest.raises(JournalTampered, match="entry 2 says of itself that it is entry 3"):
        read_entries(job)


def rechained(job: Path, since: int) -> None:
    """All entries from ``since`` on forged anew, so that the chain itself verifies."""
    entries = read_entries(job)
    connection = raw(job)
    last = Head(since - 1, entries[since - 2].digest if since > 1 else GENESIS)
    for entry in entries[since - 1 :]:
        draft = Draft.model_validate(entry.model_dump(include=set(Draft.model_fields))).model_copy(
            update={"reason": "forged"}
        )
        row = forge(draft, last, entry.at)
        connection.execute("UPDATE entry SET body = ?, digest = ? WHERE number = ?", (row[1], row[2], row[0]))
        last = Head(row[0], row[2])
    connection.close()


@pytest.mark.parametrize("since", [1, 2, 4])
def test_a_suffix_forged_anew_is_not_the_one_the_heads_know(job: Path, since: int):
    log(job, 4)
    rechained(job, since)
    with pytest.raises(JournalTampered, match=f"entry {since} is not the one that journal.head knows"):
        read_entries(job)
    with pytest.raises(JournalTampered, match=f"entry {since} is not the one"):
        Journal.open(job)


def test_the_guards_taken_down_are_missed_at_opening(job: Path):
    log(job, 1)
    raw(job).close()
    with pytest.raises(JournalTampered, match="entry_no_delete"):
        Journal.open(job)


@pytest.mark.parametrize("name", [HEADS, JOURNAL])
def test_a_missing_file_is_no_new_journal(job: Path, name: str):
    log(job, 2)
    (job / name).unlink()
    with pytest.raises(JournalTampered, match="missing"):
        Journal.open(job)


@pytest.mark.parametrize(
    "line", ["entry 9 " + "0" * 64, "entry 3 xyz", "closed 2 x", "opened 7 closed", "opened 2 ajar", "", "hello"]
)
def test_a_head_file_that_makes_no_sense(job: Path, line: str):
    log(job, 2)
    with (job / HEADS).open("a") as file:
        file.write(line + "\n")
    with pytest.raises(JournalTampered, match="makes no sense"):
        read_entries(job)


def test_bytes_changed_outside_are_remembered_but_do_not_stop_the_work(job: Path):
    log(job, 2)
    connection = sqlite3.connect(job / JOURNAL, isolation_level=None)
    connection.execute("PRAGMA page_size = 8192")
    connection.execute("VACUUM")
    connection.close()
    log(job, 1, Ticking(NOON + timedelta(hours=1)))
    assert "opened 2 changed" in (job / HEADS).read_text()
    assert len(read_entries(job)) == 3


# ---------------------------------------------------------------- kills between two writes


def killed_before_the_head_line(job: Path) -> tuple[Entry, ...]:
    """A journal as a kill leaves it between the database's commit and the line in journal.head."""
    entries = log(job, 3)
    lines = (job / HEADS).read_text().splitlines(keepends=True)
    (job / HEADS).write_text("".join(lines[:-2]))
    return entries


@pytest.mark.parametrize("torn", ["", "entry 3 0123", "\0" * 40])
def test_one_entry_ahead_of_the_heads_is_a_kill_not_tampering(job: Path, torn: str):
    entries = killed_before_the_head_line(job)
    with (job / HEADS).open("a") as file:
        file.write(torn)
    assert read_entries(job) == entries
    [fourth] = log(job, 1, Ticking(NOON + timedelta(hours=1)))
    assert read_entries(job) == (*entries, fourth)
    assert f"entry 3 {entries[2].digest}\n" in (job / HEADS).read_text()


def test_two_entries_ahead_are_not(job: Path):
    killed_before_the_head_line(job)
    lines = (job / HEADS).read_text().splitlines(keepends=True)
    (job / HEADS).write_text("".join(lines[:-1]))
    with pytest.raises(JournalTampered, match="entry 2 is not known to journal.head"):
        read_entries(job)


def test_a_kill_before_the_database_was_made(job: Path):
    log(job, 0)
    (job / JOURNAL).write_bytes(b"")
    assert len(log(job, 1)) == 1


# ---------------------------------------------------------------- one writer

HOLD = """
import sys, time
from pathlib import Path
from voicelog.keeping.journal import Journal
journal = Journal.open(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(60)
"""


def test_a_second_process_is_told_who_writes_and_a_kill_frees_the_job(job: Path):
    entries = log(job, 1)
    holder = subprocess.Popen([sys.executable, "-c", HOLD, job], stdout=subprocess.PIPE, text=True)
    try:
        assert holder.stdout.readline() == "held\n"  # type: ignore[union-attr]
        with pytest.raises(JournalLocked, match=f"process {holder.pid} is writing"):
            Journal.open(job)
        assert read_entries(job) == entries
    finally:
        holder.kill()
        holder.communicate()
    assert len(log(job, 1, Ticking(NOON + timedelta(hours=1)))) == 1


def test_the_same_process_may_not_write_twice(job: Path):
    with Journal.open(job), pytest.raises(JournalLocked):
        Journal.open(job)
    Journal.open(job).close()


def test_an_opening_that_fails_lets_go_of_the_job(job: Path):
    (job / JOURNAL).write_bytes(b"no database" * 100)
    (job / HEADS).write_text("voicelog head 1\n")
    for _ in range(2):
        with pytest.raises(KeepingError, match="no journal"):
            Journal.open(job)


# ---------------------------------------------------------------- versions


def test_a_newer_schema_is_refused(job: Path):
    log(job, 1)
    connection = sqlite3.connect(job / JOURNAL)
    connection.execute("PRAGMA user_version = 9")
    connection.close()
    for use in (Journal.open, read_entries):
        with pytest.raises(JournalVersion, match="schema 9"):
            use(job)


def test_another_programs_database_is_refused(job: Path):
    connection = sqlite3.connect(job / JOURNAL)
    connection.execute("CREATE TABLE t (x)")
    connection.close()
    with pytest.raises(KeepingError, match="no journal"):
        Journal.open(job)


def test_steps_are_taken_once_and_recorded_by_name(job: Path):
    path = job / JOURNAL
    steps = (*database.MIGRATIONS, Migration("0002 colour", ("CREATE TABLE colour (name TEXT)",)))
    log(job, 1)
    connection = database.connect_to_write(job)
    bring_up(connection, path, lambda: NOON, steps)
    bring_up(connection, path, lambda: NOON, steps)
    names = [name for (name,) in connection.execute("SELECT name FROM migration ORDER BY name")]
    assert names == ["0001 entries in a chain", "0002 colour"]
    assert version_of(connection, path, steps) == 2


def test_a_step_that_fails_is_not_half_taken(job: Path):
    log(job, 1)
    connection = database.connect_to_write(job)
    steps = (*database.MIGRATIONS, Migration("0002", ("CREATE TABLE colour (name TEXT)", "no SQL")))
    with pytest.raises(sqlite3.OperationalError):
        bring_up(connection, job / JOURNAL, lambda: NOON, steps)
    assert version_of(connection, job / JOURNAL) == 1
    assert database.foreign_objects(connection) == []


# ---------------------------------------------------------------- folders and disks


def test_folders_that_are_none(tmp_path: Path):
    with pytest.raises(KeepingError, match="no such job folder"):
        Journal.open(tmp_path / "gone")
    with pytest.raises(KeepingError, match="no journal"):
        read_entries(tmp_path)


@pytest.mark.parametrize("mode", [0o400, 0o600])
def test_a_read_only_folder_is_read_and_not_written(bound: Path, mode: int):
    entries = log(bound, 2)
    for file in bound.iterdir():
        file.chmod(mode)
    bound.chmod(0o500)
    assert read_entries(bound) == entries
    with pytest.raises(KeepingError, match="permission"):
        Journal.open(bound)


def test_a_folder_turned_read_only_while_writing(bound: Path):
    journal = Journal.open(bound)
    entry = journal.append(called())
    bound.chmod(0o500)
    with pytest.raises(KeepingError, match="the journal cannot be"):
        journal.append(called())
    bound.chmod(0o700)
    journal.close()
    assert read_entries(bound) == (entry,)


def half_committed(job: Path) -> None:
    """A journal whose writer was killed with pages half written: a hot rollback journal lies beside it."""
    connection = sqlite3.connect(job / JOURNAL, isolation_level=None)
    connection.execute("PRAGMA cache_size = 1")
    connection.execute("BEGIN IMMEDIATE")
    for number in range(4, 60):
        connection.execute("INSERT INTO entry VALUES (?, ?, ?)", (number, "x" * 3000, ""))
    for file in (f"{JOURNAL}-journal", JOURNAL):
        shutil.copyfile(job / file, job / f"{file}.copy")
    connection.close()
    for file in (f"{JOURNAL}-journal", JOURNAL):
        (job / f"{file}.copy").rename(job / file)


def test_a_half_written_commit_is_rolled_back_for_reader_and_writer(bound: Path):
    entries = log(bound, 3)
    half_committed(bound)
    bound.chmod(0o500)
    assert read_entries(bound) == entries
    bound.chmod(0o700)
    assert (bound / f"{JOURNAL}-journal").exists()
    [fourth] = log(bound, 1, Ticking(NOON + timedelta(hours=1)))
    assert read_entries(bound) == (*entries, fourth)


def test_text_that_no_file_can_hold_is_refused_and_the_journal_goes_on(job: Path):
    with Journal.open(job) as journal:
        with pytest.raises(KeepingError, match="cannot be written down"):
            journal.append(called(reason="\ud800"))
        entry = journal.append(called())
    assert read_entries(job) == (entry,)


def test_a_journal_deleted_while_in_use_is_never_acknowledged_into(job: Path):
    journal = Journal.open(job)
    journal.append(called())
    shutil.move(job / JOURNAL, job / "elsewhere")
    with pytest.raises(KeepingError, match="moved or deleted"):
        journal.append(called())
    journal.close()


def test_a_full_disk_for_the_head_file_stops_at_the_next_entry(job: Path, monkeypatch: pytest.MonkeyPatch):
    journal = Journal.open(job)

    def full(*_: object) -> int:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("voicelog.keeping.heads.os.write", full)
        first = journal.append(called())
        with pytest.raises(StorageFull, match="safe"):
            journal.append(called())
    second = journal.append(called())
    journal.close()
    assert read_entries(job) == (first, second)


def test_a_refused_commit_changes_nothing_and_the_journal_goes_on(job: Path):
    journal = Journal.open(job)
    first = journal.append(called())
    journal._connection.execute("PRAGMA max_page_count = 1")  # SQLite itself says: full
    for _ in range(2):
        with pytest.raises(StorageFull, match="Everything acknowledged so far is safe"):
            journal.append(called(reason="x" * 50_000))
    journal._connection.execute("PRAGMA max_page_count = 1000000")
    second = journal.append(called())
    journal.close()
    assert read_entries(job) == (first, second)


def test_a_commit_that_succeeded_but_was_refused_is_taken_up(job: Path, monkeypatch: pytest.MonkeyPatch):
    """The disk refuses the last flush of a commit: the entry is there, and nobody was told of it."""
    journal = Journal.open(job)
    journal.append(called())
    honest = Journal._commit

    def refused_too_late(self: Journal, row) -> None:  # noqa: ANN001
        honest(self, row)
        self._unsure = True
        raise StorageFull("the disk refused.")

    with monkeypatch.context() as patch:
        patch.setattr(Journal, "_commit", refused_too_late)
        with pytest.raises(StorageFull):
            journal.append(called("0.777"))
    third = journal.append(called())
    journal.close()
    entries = read_entries(job)
    assert [entry.number for entry in entries] == [1, 2, 3] and entries[2] == third


def test_closing_twice_is_closing_once(job: Path):
    journal = Journal.open(job)
    journal.close()
    journal.close()
    with pytest.raises(KeepingError, match="closed"):
        journal.append(called())


def test_an_entry_of_a_kind_nobody_knows_is_named(job: Path):
    [entry] = log(job, 1)
    body = forge(called(), Head(), NOON)[1].replace('"kind":"called"', '"kind":"sung"')
    connection = raw(job)
    connection.execute("UPDATE entry SET body = ?, digest = ?", (body, digest_of(body)))
    connection.close()
    (job / HEADS).write_text((job / HEADS).read_text().replace(entry.digest, digest_of(body)))
    with pytest.raises(JournalTampered, match="entry 1 cannot be read"):
        read_entries(job)
