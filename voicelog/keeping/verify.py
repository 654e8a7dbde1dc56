"""Whether a job's journal and sounds are still what was written: named, not guessed.

Looked at, each by its own means: the database (SQLite's integrity check, its schema with the triggers
that let it only grow), the chain of entries, their agreement with journal.head, the bytes of the file
since it was last closed, and the digest of every sound. With a head that was printed or sent elsewhere,
a journal rewritten together with its journal.head is found out too; without one it is not.
"""

import json
import re
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from voicelog.errors import InputError, JournalTampered, KeepingError
from voicelog.keeping import database
from voicelog.keeping.chain import BrokenChain, Head, Row, canonical, entry_of, next_link
from voicelog.keeping.clips import CLIPS, is_plain, is_trace
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS, Heads, read_heads
from voicelog.keeping.storage import Progress, quiet, refusal, sha256_of, stepped
from voicelog.model import Entry, EntryKind, Noun

EXIT_CODES = {"whole": 0, "not whole": 1, "unreadable": 2}
NOT_PRINTED = "no entry has the printed head: the journal is not the one that was printed from."
SHORTEST_PRINTED = 16  # hexadecimal digits of a printed head: 64 bits, beyond trying out
DIGEST = 64  # hexadecimal digits of a whole one


class Verification(Noun):
    """What was found."""

    state: Literal["whole", "not whole", "unreadable"]
    entries: int = 0  # that could be read
    head: str = ""  # digest of the last entry
    findings: tuple[str, ...] = ()  # each names the entry, sound or file that is not as written
    remarks: tuple[str, ...] = ()  # harmless, and worth knowing

    @property
    def exit_code(self) -> int:
        """0 whole, 1 not whole, 2 cannot be read."""
        return EXIT_CODES[self.state]


@dataclass(frozen=True)
class _Evidence:
    """What lies on the disk, read once."""

    rows: list[Row]
    before: Heads | None  # journal.head before and after the rows were read: a writer may be at work
    after: Heads | None


class _Sounds:
    """What the entries say of sounds; the entries themselves need not be kept."""

    def __init__(self) -> None:
        self.named: list[tuple[int, str, str]] = []  # entry number, clip, SHA-256
        self.removed: set[str] = set()  # clips that a REVIEWED entry accounts for

    def hear_of(self, entry: Entry) -> None:
        if entry.clip:
            self.named.append((entry.number, entry.clip, entry.clip_sha256))
        if entry.kind is EntryKind.REVIEWED and is_trace(entry):
            self.removed.add(entry.detail.get("clip", ""))


def verify_job(folder: Path, printed: str = "", progress: Progress = quiet) -> Verification:
    """Verify a job folder; needs no lock and works on a read-only folder. Raises nothing for a bad journal.

    ``printed`` is a head digest from a printed schedule, or its first digits (at least 16); InputError
    when it cannot be one, for that says nothing of the journal. ``progress`` counts entries.
    """
    wanted = _digits(printed)
    findings: list[str] = []
    try:
        evidence = _gather(folder, findings)
    except KeepingError as error:
        return Verification(state="unreadable", findings=(str(error),))
    sounds = _Sounds()
    for row in stepped(evidence.rows, len(evidence.rows), progress):
        for entry in _readable(row, findings):
            sounds.hear_of(entry)
    findings += _chain(evidence.rows)
    findings += _agreement(evidence.rows, evidence.before, evidence.after)
    findings += _outside(folder, evidence)
    findings += _clips(folder, sounds)
    findings += _printed(evidence.rows, wanted)
    return Verification(
        state="not whole" if findings else "whole",
        entries=len(evidence.rows),
        head=evidence.rows[-1][2] if evidence.rows else Head().digest,
        findings=tuple(findings),
        remarks=tuple(_remarks(folder, evidence, sounds)),
    )


# ---------------------------------------------------------------- reading


def _gather(folder: Path, findings: list[str]) -> _Evidence:
    """Raises KeepingError when nothing can be read."""
    path = folder / JOURNAL
    if not path.is_file():
        raise KeepingError("there is no journal here.", where=str(path), do="Name a job folder that has one.")
    before = _heads(folder, findings)
    try:
        with database.in_words(path), database.connected_to_read(folder) as connection:
            rows = _rows(connection, path, before, findings)
    except OSError as error:
        raise refusal(error, path) from None
    return _Evidence(rows, before, _heads(folder, []))


def _heads(folder: Path, findings: list[str]) -> Heads | None:
    try:
        return read_heads(folder)
    except JournalTampered as error:
        findings.append(str(error))
    except OSError as error:
        findings.append(str(refusal(error, folder / HEADS)))
    return None


def _rows(connection: sqlite3.Connection, path: Path, heads: Heads | None, findings: list[str]) -> list[Row]:
    if not database.version_of(connection, path):
        return []
    findings += [f"the database: {words}." for words in _integrity(connection)]
    findings += [f"the database's own rule {name} is missing or changed." for name in _foreign(connection)]
    try:
        rows = database.rows(connection)
    except database.BROKEN:
        rows = list(_salvaged(connection, len(heads.digests) if heads else 0))
    return list(_texts(rows, findings))


def _texts(rows: list[Row], findings: list[str]) -> Iterator[Row]:
    """Only rows that hold text where text belongs: a damaged page can turn it into anything."""
    for number, body, digest in rows:
        if isinstance(body, str) and isinstance(digest, str):
            yield number, body, digest
        else:
            findings.append(f"entry {number} is damaged: it holds no text.")


def _integrity(connection: sqlite3.Connection) -> list[str]:
    try:
        words = [words for (words,) in connection.execute("PRAGMA integrity_check(5)")]
    except database.BROKEN as error:
        return [str(error)]
    return [] if words == ["ok"] else [str(one) for one in words]


def _foreign(connection: sqlite3.Connection) -> list[str]:
    try:
        return database.foreign_objects(connection)
    except database.BROKEN:
        return ["(schema)"]


def _salvaged(connection: sqlite3.Connection, count: int) -> Iterator[Row]:
    """What a damaged file still gives, one entry at a time."""
    for number in range(1, count + 1):
        try:
            found = connection.execute("SELECT number, body, digest FROM entry WHERE number = ?", (number,)).fetchone()
        except database.BROKEN:
            continue
        if found:
            yield found


def _readable(row: Row, findings: list[str]) -> list[Entry]:
    try:
        entry = entry_of(row)
    except BrokenChain as broken:
        findings.append(f"{broken}.")
        return []
    if canonical(json.loads(row[1])) != row[1]:
        findings.append(f"entry {row[0]} is not written in canonical form.")
    return [entry]


# ---------------------------------------------------------------- judging


def _chain(rows: list[Row]) -> Iterator[str]:
    """Every break, not only the first: after one, the chain is followed from what the row itself claims."""
    head = Head()
    for row in rows:
        try:
            head = next_link(row, head)
        except BrokenChain as broken:
            yield f"{broken}."
            head = Head(row[0], row[2])


def _agreement(rows: list[Row], before: Heads | None, after: Heads | None) -> Iterator[str]:
    if before is None or after is None:
        if rows:
            yield f"{HEADS} is missing or unusable: whether the last entries are there cannot be told."
        return
    found = {number: digest for number, _, digest in rows}
    for number, digest in enumerate(after.digests, 1):
        if number in found and found[number] != digest:
            yield f"entry {number} is not the one that {HEADS} knows."
    for number in range(1, len(before.digests) + 1):
        if number not in found:
            yield f"entry {number} is missing; {HEADS} knows it."
    for number in sorted(found):
        if number > len(after.digests) + 1:
            yield f"entry {number} is not known to {HEADS}."


def _outside(folder: Path, evidence: _Evidence) -> Iterator[str]:
    heads = evidence.after
    if heads is None:
        return
    for count in heads.changed_after:
        yield f"after entry {count} something other than voicelog changed the journal file's bytes."
    if heads == evidence.before and heads.sealed and _sha256(folder / JOURNAL) != heads.sealed:
        yield "the journal file's bytes are not those it was closed with."


def _sha256(path: Path) -> str:
    try:
        return sha256_of(path)
    except OSError:
        return ""


def _clips(folder: Path, sounds: _Sounds) -> Iterator[str]:
    for number, clip, sha256 in sounds.named:
        path = folder / CLIPS / clip
        if clip in sounds.removed:
            continue
        if not is_plain(clip):
            yield f"entry {number} names {clip!r}, which is no file name of a sound."
        elif not path.is_file():
            yield f"the sound of entry {number} is missing: {clip}."
        elif _sha256(path) != sha256:
            yield f"the sound of entry {number} was changed: {clip}."


def _digits(printed: str) -> str:
    wanted = "".join(printed.lower().split())
    if not wanted or re.fullmatch(f"[0-9a-f]{{{SHORTEST_PRINTED},{DIGEST}}}", wanted):
        return wanted
    what = f"a printed head has {SHORTEST_PRINTED} to {DIGEST} digits, 0 to 9 and a to f; this is none: {printed!r}."
    raise InputError(what, do="Copy it from the report once more.")


def _printed(rows: list[Row], wanted: str) -> Iterator[str]:
    if wanted and not any(digest.startswith(wanted) for _, _, digest in rows):
        yield NOT_PRINTED


def _remarks(folder: Path, evidence: _Evidence, sounds: _Sounds) -> Iterator[str]:
    heads = evidence.after
    if heads and not heads.sealed:
        yield "the journal is open, or its last writer did not close it; entries are unharmed by that."
    if heads and len(evidence.rows) == len(heads.digests) + 1:
        yield f"entry {len(evidence.rows)} was committed just before its writer ended."
    known = {clip for _, clip, _ in sounds.named}
    for path in sorted((folder / CLIPS).glob("*")):
        if path.name in sounds.removed:
            yield f"{path.name} was to be removed and is still there."
        elif path.name not in known:
            yield f"{path.name} belongs to no entry."
