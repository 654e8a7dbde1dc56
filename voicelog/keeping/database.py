"""``journal.sqlite``: its tables, the triggers that let it only grow, and the named steps that made it.

One writer at a time, rollback journal (no write-ahead log), synchronous=EXTRA: when a commit returns,
the entry and the removal of the rollback journal have both reached the disk
(https://www.sqlite.org/pragma.html#pragma_synchronous).
"""

import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from voicelog.errors import JournalTampered, JournalVersion, KeepingError, StorageFull
from voicelog.keeping.chain import Row

JOURNAL = "journal.sqlite"
APPLICATION_ID = 0x564C4F47  # "VLOG" in the file's header
PATIENCE_S = 10.0  # how long a commit waits for someone who reads


@dataclass(frozen=True)
class Migration:
    """A named step of the schema; steps are only ever added to the list below."""

    name: str
    statements: tuple[str, ...]


def _only_grows(table: str, noun: str) -> tuple[str, ...]:
    refuse = f"BEGIN SELECT RAISE(ABORT, '{noun} are only ever added'); END"
    return (
        f"CREATE TRIGGER {table}_no_update BEFORE UPDATE ON {table} {refuse}",
        f"CREATE TRIGGER {table}_no_delete BEFORE DELETE ON {table} {refuse}",
    )


MIGRATIONS = (
    Migration(
        "0001 entries in a chain",
        (
            "CREATE TABLE migration (name TEXT PRIMARY KEY, at TEXT NOT NULL) STRICT",
            "CREATE TABLE entry (number INTEGER PRIMARY KEY, body TEXT NOT NULL, digest TEXT NOT NULL) STRICT",
            *_only_grows("migration", "steps"),
            *_only_grows("entry", "entries"),
            # Refuses gaps, and INSERT OR REPLACE, which would delete without asking the trigger above.
            "CREATE TRIGGER entry_in_order BEFORE INSERT ON entry "
            "WHEN NEW.number IS NOT (SELECT coalesce(max(number), 0) + 1 FROM entry) "
            "BEGIN SELECT RAISE(ABORT, 'entries follow one another'); END",
        ),
    ),
)


# ---------------------------------------------------------------- what SQLite refuses, in words to act on

SAFE = "Everything acknowledged so far is safe."
REFUSALS: dict[int, tuple[type[KeepingError], str, str]] = {
    sqlite3.SQLITE_FULL: (StorageFull, "the disk is full.", f"{SAFE} Free some space."),
    sqlite3.SQLITE_IOERR: (StorageFull, "the disk refused.", f"{SAFE} Free some space, or use another disk."),
    sqlite3.SQLITE_READONLY_DBMOVED: (KeepingError, "the journal was moved or deleted while in use.", "Put it back."),
    sqlite3.SQLITE_READONLY: (KeepingError, "the journal cannot be written.", "Ask for write permission."),
    sqlite3.SQLITE_PERM: (KeepingError, "permission is denied.", "Ask for permission on the job folder."),
    sqlite3.SQLITE_AUTH: (KeepingError, "permission is denied.", "Ask for permission on the job folder."),
    sqlite3.SQLITE_CANTOPEN: (KeepingError, "the journal cannot be opened or written.", "Look at the job folder."),
    sqlite3.SQLITE_BUSY: (KeepingError, "another program holds the journal.", "Close it, then try again."),
    sqlite3.SQLITE_NOTADB: (KeepingError, "this is no journal, or its first bytes are damaged.", "Use a copy."),
    sqlite3.SQLITE_CORRUPT: (JournalTampered, "the file is damaged.", "Use a copy; keep this one as it is."),
    sqlite3.SQLITE_CONSTRAINT: (JournalTampered, "something else wrote to it.", "`voicelog verify` says where."),
}


# A damaged file can make SQLite say something that is not text; Python then raises UnicodeError in its place.
BROKEN = (sqlite3.Error, UnicodeError)


def refused(error: Exception, path: Path) -> KeepingError:
    """The family's error for one of SQLite's. What it says beyond the table is quoted."""
    damaged = sqlite3.SQLITE_CORRUPT if isinstance(error, UnicodeError) else 0
    code = getattr(error, "sqlite_errorcode", damaged)
    general = REFUSALS.get(code & 0xFF, (KeepingError, "the journal does not read.", ""))
    family, what, do = REFUSALS.get(code, general)
    return family(f"{what} ({error})", where=str(path), do=do)


@contextmanager
def in_words(path: Path) -> Iterator[None]:
    """Everything SQLite raises inside comes out as a KeepingError."""
    try:
        yield
    except BROKEN as error:
        raise refused(error, path) from None


# ---------------------------------------------------------------- opening


def connect_to_write(folder: Path) -> sqlite3.Connection:
    """The journal's one writing connection; the caller holds the job's lock. Raises sqlite3.Error."""
    connection = sqlite3.connect(
        folder / JOURNAL, isolation_level=None, timeout=PATIENCE_S, check_same_thread=False, cached_statements=8
    )
    connection.execute("PRAGMA synchronous = EXTRA")
    connection.execute("PRAGMA fullfsync = ON")  # where the system makes a difference
    connection.execute("PRAGMA trusted_schema = OFF")
    return connection


@contextmanager
def connected_to_read(folder: Path) -> Iterator[sqlite3.Connection]:
    """A connection that never writes; works on a read-only folder and needs no lock.

    A journal whose writer was killed half-way must first be rolled back, which a reader may not do:
    then a copy is rolled back and read. Raises sqlite3.Error and OSError.
    """
    with closing(_reader(folder / JOURNAL)) as connection:
        if not _needs_rollback(connection):
            yield connection
            return
    with tempfile.TemporaryDirectory() as elsewhere:
        for file in folder.glob(f"{JOURNAL}*"):
            shutil.copyfile(file, Path(elsewhere) / file.name)
        with closing(sqlite3.connect(Path(elsewhere) / JOURNAL, isolation_level=None)) as connection:
            yield connection


def _reader(path: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None, timeout=PATIENCE_S)


def _needs_rollback(connection: sqlite3.Connection) -> bool:
    try:
        connection.execute("SELECT 1 FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        if error.sqlite_errorcode in (sqlite3.SQLITE_READONLY_ROLLBACK, sqlite3.SQLITE_READONLY_RECOVERY):
            return True
        raise
    return False


# ---------------------------------------------------------------- the schema


def bring_up(
    connection: sqlite3.Connection, path: Path, now: Callable[[], datetime], steps: tuple[Migration, ...] = MIGRATIONS
) -> None:
    """Take the steps the file has not yet taken, all or none. Raises JournalVersion, KeepingError, sqlite3.Error."""
    taken = version_of(connection, path, steps)
    if taken == len(steps):
        return
    connection.execute("BEGIN IMMEDIATE")
    try:
        for step in steps[taken:]:
            for statement in step.statements:
                connection.execute(statement)
            connection.execute("INSERT INTO migration VALUES (?, ?)", (step.name, now().isoformat()))
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {len(steps)}")
        connection.execute("COMMIT")
    except sqlite3.Error:
        if connection.in_transaction:
            connection.execute("ROLLBACK")
        raise


def version_of(connection: sqlite3.Connection, path: Path, steps: tuple[Migration, ...] = MIGRATIONS) -> int:
    """How many steps the file has taken; 0 when it is empty. Raises JournalVersion, KeepingError, sqlite3.Error."""
    [identity] = connection.execute("PRAGMA application_id").fetchone()
    [version] = connection.execute("PRAGMA user_version").fetchone()
    if not identity and not version and is_empty(connection):
        return 0
    if identity != APPLICATION_ID:
        raise KeepingError("this is a database, but no journal.", where=str(path), do="Name another job folder.")
    if not 0 < version <= len(steps):
        raise JournalVersion(
            f"the journal has schema {version}; this program knows up to {len(steps)}.",
            where=str(path),
            do="Use the voicelog that wrote it, or a newer one.",
        )
    return version


def is_empty(connection: sqlite3.Connection) -> bool:
    return connection.execute("SELECT count(*) FROM sqlite_schema").fetchone() == (0,)


def foreign_objects(connection: sqlite3.Connection, steps: tuple[Migration, ...] = MIGRATIONS) -> list[str]:
    """What differs from the schema that the steps make: missing, changed or added tables and triggers."""
    with closing(sqlite3.connect(":memory:")) as model:
        for step in steps:
            for statement in step.statements:
                model.execute(statement)
        wanted, found = _objects(model), _objects(connection)
    names = sorted(wanted.keys() | found.keys())
    return [name for name in names if wanted.get(name) != found.get(name)]


def _objects(connection: sqlite3.Connection) -> dict[str, tuple[str, str, str]]:
    query = "SELECT name, type, tbl_name, coalesce(sql, '') FROM sqlite_schema"
    return {str(name): rest for name, *rest in connection.execute(query)}


# ---------------------------------------------------------------- entries


def rows(connection: sqlite3.Connection) -> list[Row]:
    """Every entry's number, body and digest, in order. Raises sqlite3.Error."""
    return connection.execute("SELECT number, body, digest FROM entry ORDER BY number").fetchall()


def last_row(connection: sqlite3.Connection) -> list[Row]:
    """The last entry's row, alone in a list; none when there is no entry. Raises sqlite3.Error."""
    return connection.execute("SELECT number, body, digest FROM entry ORDER BY number DESC LIMIT 1").fetchall()
