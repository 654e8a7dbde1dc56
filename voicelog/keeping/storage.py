"""Bytes that stay: whole or not at all, flushed to the disk before anyone is told.

The operating system's refusals become the family of ``voicelog.errors`` here, by one table, so that
no room of keeping lets an OSError through.
"""

import errno
import hashlib
import os
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TypeVar

from voicelog.errors import KeepingError, StorageFull

T = TypeVar("T")
Progress = Callable[[int, int], None]  # (done, of): offered by everything that can take long
CHUNK = 1 << 20  # 1 MiB

FULL = {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}
REFUSALS: dict[int, tuple[str, str]] = {
    errno.EROFS: ("the disk is read-only.", "Copy the job folder to a disk that can be written."),
    errno.EACCES: ("permission is denied.", "Ask for write permission on the job folder."),
    errno.EPERM: ("permission is denied.", "Ask for write permission on the job folder."),
    errno.ENOENT: ("there is no such folder or file.", "Make it, put it back, or name another."),
    errno.ENOTDIR: ("a file stands where a folder is needed.", "Name another place."),
    errno.EEXIST: ("there is something of that name already.", "Name another place."),
    errno.EISDIR: ("a folder stands where a file is needed.", "Name another, or move that folder away."),
    errno.ENAMETOOLONG: ("the name is too long.", "Give it a shorter one."),
    errno.EIO: ("the disk reports an input/output error.", "Copy the job folder to another disk now."),
}


def quiet(done: int, of: int) -> None:
    """Progress that nobody watches."""


def refusal(error: OSError, where: Path) -> KeepingError:
    """What the operating system refused, in words to act on: StorageFull or KeepingError."""
    if error.errno in FULL:
        return StorageFull(
            "the disk is full.", where=str(where), do="Everything acknowledged so far is safe. Free some space."
        )
    what, do = REFUSALS.get(error.errno or 0, (f"the disk refused: {error.strerror or error}.", ""))
    return KeepingError(what, where=str(where), do=do)


def make_folder(folder: Path) -> None:
    """Make ``folder`` and those above it, unless they are there. Raises OSError, also for a file in its place."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except FileExistsError:
        raise NotADirectoryError(errno.ENOTDIR, os.strerror(errno.ENOTDIR), str(folder)) from None


def flush_folder(folder: Path) -> None:
    """Make a new or renamed name in ``folder`` durable. Windows keeps names durable without it."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_whole(path: Path, data: bytes) -> None:
    """Write ``data`` to ``path``, whole or not at all, and durable on return.

    Raises OSError; a half-written temporary file is removed.
    """
    temporary = path.with_name(path.name + ".part")
    try:
        with temporary.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
        flush_folder(path.parent)
    except OSError:
        temporary.unlink(missing_ok=True)
        raise


def write_document(path: Path, data: bytes) -> None:
    """Write what is made of a job: an earlier one stays whole until this one is. A link or a device is written through.

    Raises StorageFull or KeepingError when the disk refuses.
    """
    try:
        if path.is_symlink() or (path.exists() and not path.is_file()):
            path.write_bytes(data)
        else:
            write_whole(path, data)
    except OSError as error:
        raise refusal(error, path) from None


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's bytes, in hexadecimal. Raises OSError."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def stepped(things: Iterable[T], of: int, progress: Progress, step: int = 256) -> Iterator[T]:
    """The same things, telling ``progress`` after every ``step`` of them and at the end."""
    done = 0
    for done, thing in enumerate(things, 1):
        yield thing
        if done % step == 0:
            progress(done, of)
    progress(done, of)
