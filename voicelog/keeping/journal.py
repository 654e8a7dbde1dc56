"""The journal of a job: entries that are only ever added, each durable before anyone hears of it.

    with Journal.open(folder) as journal:
        entry = journal.append(draft)      # returns when the entry is on the disk, never before

Files in the job folder: ``journal.sqlite`` (see ``database``), ``journal.head`` (see ``heads``),
``journal.lock`` with ``journal.writer`` (who writes). The number of an entry gives the order; the
clock only dates it, and a clock that went back is kept as it was, with a remark in ``detail``.
"""

import os
import sqlite3
import threading
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from pathlib import Path
from typing import Self

from filelock import FileLock, Timeout

from voicelog.counting import counted
from voicelog.errors import JournalLocked, JournalTampered, KeepingError
from voicelog.keeping import database
from voicelog.keeping.chain import BrokenChain, Head, Row, entry_of, forge, in_utc, linked
from voicelog.keeping.database import JOURNAL, in_words
from voicelog.keeping.heads import HEADS, HeadFile, Heads, State, read_heads
from voicelog.keeping.storage import Progress, quiet, refusal, sha256_of, stepped, write_whole
from voicelog.model import Draft, Entry

Clock = Callable[[], datetime]
LOCK, WRITER = "journal.lock", "journal.writer"
CLOCK_REMARK = "clock"  # key in ``detail`` of an entry whose clock stood before the entry before


def utc_now() -> datetime:
    return datetime.now(UTC)


def head(folder: Path) -> Head:
    """The last entry's number and digest, to print or send where the job folder does not go.

    Raises what ``read_entries`` raises.
    """
    found = _read(folder)
    return Head(found[-1][0], found[-1][2]) if found else Head()


def read_entries(folder: Path, progress: Progress = quiet) -> tuple[Entry, ...]:
    """Every entry in order, the chain verified; needs no lock and works on a read-only folder.

    Raises JournalTampered naming the first entry that does not verify, JournalVersion, and
    KeepingError when there is no journal or it cannot be read.
    """
    found = _read(folder)
    return _entries(stepped(found, len(found), progress), folder)


def is_begun(folder: Path) -> bool:
    """Whether anything was ever logged in a job folder: its journal, or what journal.head knows of one that is gone."""
    heads = _heads(folder)
    return (folder / JOURNAL).exists() or bool(heads and heads.digests)


def _read(folder: Path) -> list[Row]:
    """The rows, their chain verified and in agreement with journal.head, which is asked before and after them
    because a writer may be at work."""
    before = _heads(folder)
    _refuse_if_gone(folder, before)
    found = _read_rows(folder)
    _verify_chain(found, folder)
    _agree(found, before, _heads(folder), folder)
    return found


def _refuse_if_gone(folder: Path, heads: Heads | None) -> None:
    if heads and heads.digests and not (folder / JOURNAL).is_file():
        known = counted(len(heads.digests), "entry", "entries")
        raise _tampered(folder, f"the journal is missing; {HEADS} knows {known}")


def _read_rows(folder: Path) -> list[Row]:
    path = folder / JOURNAL
    if not path.is_file():
        raise KeepingError("there is no journal here.", where=str(path), do="Name a job folder that has one.")
    try:
        with in_words(path), database.connected_to_read(folder) as connection:
            return database.rows(connection) if database.version_of(connection, path) else []
    except OSError as error:
        raise refusal(error, path) from None


def _entries(found: Iterable[Row], folder: Path) -> tuple[Entry, ...]:
    try:
        return tuple(entry_of(row) for row in found)
    except BrokenChain as broken:
        raise _tampered(folder, str(broken)) from None


def _verify_chain(found: Iterable[Row], folder: Path) -> None:
    try:
        for _ in linked(found):
            pass
    except BrokenChain as broken:
        raise _tampered(folder, str(broken)) from None


def _heads(folder: Path) -> Heads | None:
    try:
        return read_heads(folder)
    except OSError as error:
        raise refusal(error, folder / HEADS) from None


def _agree(found: list[Row], before: Heads | None, after: Heads | None, folder: Path) -> None:
    """journal.head knows every entry, save perhaps the very last. Raises JournalTampered."""
    if after is None or before is None:
        if found:
            raise _tampered(folder, f"{HEADS} is missing")
        return
    for row, digest in zip(found, after.digests, strict=False):
        if row[2] != digest:
            raise _tampered(folder, f"entry {row[0]} is not the one that {HEADS} knows")
    if len(found) < len(before.digests):
        known = counted(len(before.digests), "entry", "entries")
        raise _tampered(folder, f"entry {len(found) + 1} is missing; {HEADS} knows {known}")
    if len(found) > len(after.digests) + 1:
        raise _tampered(folder, f"entry {len(after.digests) + 1} is not known to {HEADS}")


def _tampered(folder: Path, what: str) -> JournalTampered:
    return JournalTampered(
        f"{what}.",
        where=str(folder / JOURNAL),
        do="Keep this folder as it is and go on in a new job folder; `voicelog verify` tells what still verifies.",
    )


class Journal:
    """The one writer of a job's journal. May be used from several threads; closes as a context manager."""

    def __init__(
        self, folder: Path, lock: FileLock, connection: sqlite3.Connection, head_file: HeadFile, now: Clock
    ) -> None:
        self._folder, self._lock, self._connection = folder, lock, connection
        self._head_file, self._now = head_file, now
        self._one_at_a_time = threading.Lock()
        self._head, self._last_at = Head(), None
        self._unlisted: Head | None = None  # committed, its line in journal.head still owed
        self._unsure = False  # a commit was refused: the database must be asked where it stands

    @classmethod
    def open(cls, folder: Path, now: Clock = utc_now, progress: Progress = quiet) -> Self:
        """Open, or begin, the journal of a job folder; the chain is verified first.

        Raises JournalLocked, JournalTampered, JournalVersion, StorageFull, KeepingError.
        """
        lock = hold(folder)
        try:
            return cls._opened(folder, lock, now, progress)
        except OSError as error:
            lock.release()
            raise refusal(error, folder) from None
        except BaseException:
            lock.release()
            raise

    @classmethod
    def _opened(cls, folder: Path, lock: FileLock, now: Clock, progress: Progress) -> Self:
        path = folder / JOURNAL
        heads = _heads(folder)
        _refuse_if_gone(folder, heads)
        state = _state(path, heads)
        with in_words(path):
            connection = database.connect_to_write(folder)
        head_file = None
        try:
            found = _verified(connection, folder, heads, progress)
            head_file = HeadFile(folder, heads.whole_bytes if heads else 0)
            head_file.opened(len(heads.digests) if heads else 0, state)
            with in_words(path):
                connection.execute("PRAGMA journal_mode = DELETE")
                database.bring_up(connection, path, now)
            journal = cls(folder, lock, connection, head_file, now)
            journal._go_on_from(found[-1:], Head() if heads is None else heads.head)
        except BaseException:
            connection.close()
            if head_file:
                head_file.close()
            raise
        return journal

    def _go_on_from(self, last: list[Row], listed: Head) -> None:
        """Take the database's last row for the head; its line may still be owed to journal.head."""
        for entry in _entries(last, self._folder):
            self._head, self._last_at = Head(entry.number, entry.digest), entry.at
        if self._head != listed:
            self._unlisted = self._head
            self._list()

    @property
    def head(self) -> Head:
        """The last entry's number and digest."""
        return self._head

    def append(self, draft: Draft) -> Entry:
        """Number, date and chain a draft; return the entry once it is durable.

        Raises StorageFull or KeepingError. The journal then holds what it held before; only where the disk
        refused the very last step of a commit may it hold the entry as well, which nobody was told of.
        """
        with self._one_at_a_time:
            self._make_sure()
            self._list_owed()
            row = self._forged(draft)
            self._commit(row)
            entry = entry_of(row)
            self._head, self._last_at = Head(entry.number, entry.digest), entry.at
            self._unlisted = self._head
            self._list()
        return entry

    def entries(self) -> tuple[Entry, ...]:
        """Every entry so far, in order."""
        with self._one_at_a_time, in_words(self._folder / JOURNAL):
            return _entries(database.rows(self._connection), self._folder)

    def close(self) -> None:
        """Seal the file's bytes in journal.head and let the next writer in. Never raises for a full disk."""
        with self._one_at_a_time:
            if not self._lock.is_locked:
                return
            self._connection.close()
            try:
                self._list_owed()
                self._head_file.sealed(self._head.number, sha256_of(self._folder / JOURNAL))
            except (OSError, KeepingError):
                pass  # unsealed, as after a kill: every entry verifies all the same
            self._head_file.close()
            self._lock.release()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _forged(self, draft: Draft) -> Row:
        try:
            at = in_utc(self._now())
            return forge(self._dated(draft, at), self._head, at)
        except ValueError as error:
            raise KeepingError(f"this cannot be written down: {error}.", where=str(self._folder / JOURNAL)) from None

    def _dated(self, draft: Draft, at: datetime) -> Draft:
        if self._last_at is None or at >= self._last_at:
            return draft
        behind_s = (self._last_at - at).total_seconds()
        remark = f"{behind_s:.3f} s behind entry {self._head.number}; the numbers give the order"
        return draft.model_copy(update={"detail": {**draft.detail, CLOCK_REMARK: remark}})

    def _commit(self, row: Row) -> None:
        path = self._folder / JOURNAL
        with in_words(path):
            try:
                self._connection.execute("INSERT INTO entry VALUES (?, ?, ?)", row)
            except database.BROKEN:
                self._unsure = True
                raise

    def _make_sure(self) -> None:
        """After a refused commit: ask the database what it holds before anything is chained to it."""
        if not self._unsure:
            return
        with in_words(self._folder / JOURNAL):
            if self._connection.in_transaction:
                self._connection.execute("ROLLBACK")
            self._go_on_from(database.last_row(self._connection), self._head)
        self._unsure = False

    def _list(self) -> None:
        """Write the owed line of journal.head; a full disk is told at the next entry, this one is durable."""
        try:
            self._list_owed()
        except KeepingError:
            return

    def _list_owed(self) -> None:
        if self._unlisted is None:
            return
        try:
            self._head_file.entry(self._unlisted)
        except OSError as error:
            raise refusal(error, self._folder / HEADS) from None
        self._unlisted = None


def _state(path: Path, heads: Heads | None) -> State:
    """Whether the journal file still has the bytes it was closed with. Raises OSError."""
    if heads is None or not heads.sealed:
        return "unclosed"
    return "closed" if path.exists() and sha256_of(path) == heads.sealed else "changed"


def _verified(connection: sqlite3.Connection, folder: Path, heads: Heads | None, progress: Progress) -> list[Row]:
    path = folder / JOURNAL
    with in_words(path):
        version = database.version_of(connection, path)
        found = database.rows(connection) if version else []
        _verify_chain(stepped(found, len(found), progress), folder)
        _agree(found, heads, heads, folder)
        if version == len(database.MIGRATIONS) and (foreign := database.foreign_objects(connection)):
            raise _tampered(folder, f"the database's own rules were changed: {', '.join(foreign)}")
    return found


def hold(folder: Path) -> FileLock:
    """Take the job's lock; ``release()`` lets go. The operating system frees it when its holder dies.

    Raises JournalLocked naming the process that holds it, KeepingError when the folder cannot be written.
    """
    if not folder.is_dir():
        raise KeepingError("there is no such job folder.", where=str(folder), do="`voicelog new JOB` makes one.")
    lock = FileLock(folder / LOCK, blocking=False)
    try:
        lock.acquire()
        write_whole(folder / WRITER, f"{os.getpid()}\n".encode())  # a folder that takes no new file shows here
    except Timeout:
        raise JournalLocked(
            f"process {_writer(folder)} is writing this job.",
            where=str(folder),
            do="End that session first; reading and printing work meanwhile.",
        ) from None
    except OSError as error:
        lock.release()
        raise refusal(error, folder) from None
    return lock


def _writer(folder: Path) -> str:
    try:
        return (folder / WRITER).read_text(encoding="ascii", errors="replace").strip() or "unknown"
    except OSError:
        return "unknown"
