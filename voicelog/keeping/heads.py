"""``journal.head``: the digests once more, outside the database, so that a shortened journal shows.

A text file that only grows, one line for each thing that happened:

    voicelog head 1                 the first line: what this is
    opened 12 closed                a writer opened the journal holding 12 entries; what it found
    entry 13 <digest>               entry 13 was committed
    closed 13 <SHA-256 of the file> the writer left in order; the journal file then had these bytes

The line of an entry is written after the database has committed it, and before it is acknowledged to
anyone. A kill between the two leaves the journal one entry ahead, never more: an entry is not begun
while the line of the one before is missing. A torn last line (no line end) counts as not written.

Who can write both files can rewrite both: against that helps only a head printed or sent elsewhere.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from voicelog.errors import JournalTampered
from voicelog.keeping.chain import Head
from voicelog.keeping.storage import flush_folder

HEADS = "journal.head"
FIRST_LINE = "voicelog head 1"
State = Literal["closed", "unclosed", "changed"]  # what an opening found: as closed, after a kill, other bytes
STATES = ("closed", "unclosed", "changed")


@dataclass(frozen=True)
class Heads:
    """What ``journal.head`` says."""

    digests: tuple[str, ...] = ()  # of entry 1, 2, 3 ...
    sealed: str = ""  # SHA-256 of the journal file when it was last closed; empty while open or after a kill
    changed_after: tuple[int, ...] = ()  # entry counts at which an opening found other bytes than were closed
    whole_bytes: int = 0  # length of the file without a torn last line

    @property
    def head(self) -> Head:
        return Head(len(self.digests), self.digests[-1]) if self.digests else Head()


def read_heads(folder: Path) -> Heads | None:
    """The heads of a job folder; None when there is no such file.

    Raises OSError, and JournalTampered naming the line that makes no sense.
    """
    try:
        data = (folder / HEADS).read_bytes()
    except FileNotFoundError:
        return None
    whole = data[: data.rfind(b"\n") + 1]
    lines = whole.decode("latin-1").split("\n")[:-1]
    if lines and lines[0] != FIRST_LINE:
        raise _senseless(folder, 1)
    return _folded(folder, lines[1:], len(whole))


def _folded(folder: Path, lines: list[str], whole_bytes: int) -> Heads:
    digests: list[str] = []
    changed: list[int] = []
    sealed = ""
    for number, line in enumerate(lines, 2):
        match line.split(" "):
            case ["entry", count, digest] if count == str(len(digests) + 1) and _is_digest(digest):
                digests.append(digest)
                sealed = ""
            case ["opened", count, state] if count == str(len(digests)) and state in STATES:
                changed += [len(digests)] if state == "changed" else []
                sealed = ""
            case ["closed", count, digest] if count == str(len(digests)) and _is_digest(digest):
                sealed = digest
            case _:
                raise _senseless(folder, number)
    return Heads(tuple(digests), sealed, tuple(changed), whole_bytes)


def _is_digest(text: str) -> bool:
    return len(text) == 64 and set(text) <= set("0123456789abcdef")


def _senseless(folder: Path, line: int) -> JournalTampered:
    return JournalTampered(
        f"line {line} makes no sense; the file was changed.",
        where=str(folder / HEADS),
        do="Keep a copy of the folder; `voicelog verify` tells what still verifies.",
    )


class HeadFile:
    """``journal.head`` in the hands of the one writer. All methods raise OSError."""

    def __init__(self, folder: Path, whole_bytes: int = 0) -> None:
        self._path = folder / HEADS
        self._file = os.open(self._path, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o644)
        self._end = whole_bytes
        if not whole_bytes:
            self._write(FIRST_LINE)
            flush_folder(folder)

    def opened(self, count: int, state: State) -> None:
        self._write(f"opened {count} {state}")

    def entry(self, head: Head) -> None:
        self._write(f"entry {head.number} {head.digest}")

    def sealed(self, count: int, sha256: str) -> None:
        self._write(f"closed {count} {sha256}")

    def close(self) -> None:
        os.close(self._file)

    def _write(self, line: str) -> None:
        """Behind the last whole line: whatever a refused write left there goes first."""
        data = f"{line}\n".encode()
        os.ftruncate(self._file, self._end)
        os.lseek(self._file, self._end, os.SEEK_SET)
        end = self._end + len(data)
        while data:
            data = data[os.write(self._file, data) :]
        os.fsync(self._file)
        self._end = end
