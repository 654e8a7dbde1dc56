"""A job in one file, to carry to another machine: a ZIP archive whose manifest vouches for every byte.

``manifest.json`` comes first: the format, the journal's head, and size and SHA-256 of each file. What
comes from elsewhere is not trusted: names that leave the folder, links, files the manifest does not
know, sizes beyond all reason and archives that swell without end are refused before they do anything,
and nothing appears under the wanted name until all of it has been checked.
"""

import hashlib
import os
import re
import shutil
import stat
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from filelock import FileLock
from pydantic import ValidationError

from voicelog.errors import JournalLocked, KeepingError
from voicelog.keeping.chain import canonical
from voicelog.keeping.clips import remove_clips
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.journal import LOCK, WRITER, Journal, hold
from voicelog.keeping.kept import refuse_kept
from voicelog.keeping.sheet import SHEET
from voicelog.keeping.storage import CHUNK, Progress, flush_folder, quiet, refusal, sha256_of
from voicelog.keeping.verify import Verification, verify_job
from voicelog.model import Noun

FORMAT = "voicelog pack 1"
MANIFEST = "manifest.json"
PLAYABLE = "log.html"  # the one document that has sounds inside
LEFT_OUT = {LOCK, WRITER, MANIFEST}
DAY_ONE = (1980, 1, 1, 0, 0, 0)  # the same job packs to the same bytes

MOST_FILES = 100_000  # a sound every three seconds for 80 hours
MOST_BYTES = 8 << 30  # 8 GiB unpacked
MOST_MANIFEST = 32 << 20  # 32 MiB: 100,000 files at about 200 bytes, and room
MOST_SWELLING = 100  # unpacked : packed; journals give about 10, an archive made to swell up to 1,032
MOST_NAME = 200  # signs of one part of a name; systems take 255 bytes
DEVICE = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])( *\..*)?", re.IGNORECASE)  # Windows: no files
SMALL = 1 << 20  # files up to 1 MiB may swell as they like: MOST_BYTES bounds them


class Packed(Noun):
    """Size in bytes and SHA-256 of one file."""

    size: int
    sha256: str


class Manifest(Noun):
    """What a pack holds."""

    format: str
    head: str  # digest of the journal's last entry
    entries: int
    files: dict[str, Packed]


# ---------------------------------------------------------------- packing


def pack(folder: Path, to: Path, progress: Progress = quiet) -> Verification:
    """Pack a job folder into the file ``to``; say in what state the job was packed.

    A job that is not whole is packed all the same, as it lies: evidence is carried, not judged. The
    journal is held meanwhile. ``progress`` counts bytes. Raises JournalLocked, StorageFull, KeepingError.
    """
    refuse_kept(to)
    lock = _held(folder)
    try:
        found = verify_job(folder)
        if found.state == "unreadable" and not (folder / SHEET).exists():
            raise _no_job(folder)
        _write_pack(folder, to, found, progress)
    except OSError as error:
        raise refusal(error, to) from None
    finally:
        if lock:
            lock.release()
    return found


def pack_without_sounds(folder: Path, to: Path, progress: Progress = quiet) -> Verification:
    """Pack a job less its sounds: the packed journal goes on where the job's ends and says what was left out.

    The job itself stays as it is. Raises JournalLocked, JournalTampered, StorageFull, KeepingError.
    """
    refuse_kept(to)
    lock = _held(folder)
    try:
        if not (folder / SHEET).exists() and not (folder / JOURNAL).exists():
            raise _no_job(folder)
        with tempfile.TemporaryDirectory() as place:
            copy = Path(place) / folder.resolve().name
            shutil.copytree(folder, copy, ignore=_not_copied(to))
            with Journal.open(copy) as journal:
                remove_clips(journal, copy, "left out of the pack")
            return pack(copy, to, progress)
    except OSError as error:
        raise refusal(error, to) from None
    finally:
        if lock:
            lock.release()


def _not_copied(to: Path) -> Callable[[str, list[str]], set[str]]:
    """What no pack holds, the log with its sounds inside, the pack itself; and links: removing follows them."""
    never = shutil.ignore_patterns(*LEFT_OUT, PLAYABLE)

    def left_out(folder: str, names: list[str]) -> set[str]:
        paths = {name: Path(folder, name) for name in names}
        links = {name for name, path in paths.items() if path.is_symlink() or path.resolve() == to.resolve()}
        return {*never(folder, names), *links}

    return left_out


def _no_job(folder: Path) -> KeepingError:
    return KeepingError("this folder holds no job.", where=str(folder), do="Name a job folder.")


def _held(folder: Path) -> FileLock | None:
    """The job's lock; None on a folder that nobody can write anyway."""
    try:
        return hold(folder)
    except JournalLocked:
        raise
    except KeepingError:
        if not folder.is_dir():
            raise
        return None


def _write_pack(folder: Path, to: Path, found: Verification, progress: Progress) -> None:
    part = to.with_name(f"{to.name}.part")
    files = {name: folder / name for name in sorted(_names(folder, without={to, part}))}
    manifest = Manifest(
        format=FORMAT,
        head=found.head,
        entries=found.entries,
        files={name: Packed(size=path.stat().st_size, sha256=sha256_of(path)) for name, path in files.items()},
    )
    try:
        with part.open("wb") as file:
            with zipfile.ZipFile(file, "w") as archive:
                _add(archive, MANIFEST, canonical(manifest.model_dump()).encode())
                _add_files(archive, files, sum(one.size for one in manifest.files.values()), progress)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, to)
        flush_folder(to.parent)
    finally:
        part.unlink(missing_ok=True)


def _names(folder: Path, without: set[Path]) -> Iterator[str]:
    """Every plain file of the folder, by its path in it; links and what a lock or a kill left stay behind."""
    for path in folder.rglob("*"):
        plain = path.is_file() and not path.is_symlink() and path.suffix != ".part" and path not in without
        if plain and path.name not in LEFT_OUT:
            yield path.relative_to(folder).as_posix()


def _add_files(archive: zipfile.ZipFile, files: dict[str, Path], of: int, progress: Progress) -> None:
    done = 0
    for name, path in files.items():
        data = path.read_bytes()
        _add(archive, name, data)
        done += len(data)
        progress(done, of)


def _add(archive: zipfile.ZipFile, name: str, data: bytes) -> None:
    one = zipfile.ZipInfo(name, DAY_ONE)
    one.external_attr = (stat.S_IFREG | 0o644) << 16
    one.compress_type = zipfile.ZIP_STORED if name.endswith(".flac") else zipfile.ZIP_DEFLATED
    archive.writestr(one, data)


# ---------------------------------------------------------------- unpacking


def unpack(packed: Path, to: Path, progress: Progress = quiet) -> Verification:
    """Unpack into the new folder ``to`` and verify the job there.

    ``progress`` counts bytes. Raises KeepingError for a file that is no pack or is not as its manifest
    says, StorageFull; then there is no folder ``to``, nor anything else left behind.
    """
    if to.exists() or to.is_symlink():
        raise KeepingError("there is something of that name already.", where=str(to), do="Name a new folder.")
    if not packed.is_file():
        what = "this is a folder, not a pack." if packed.is_dir() else "there is no such pack."
        raise KeepingError(what, where=str(packed), do="Check the path.")
    part = to.with_name(f"{to.name}.part")
    try:
        part.mkdir(parents=True)
    except OSError as error:
        raise refusal(error, part) from None
    try:
        _unpack_into(packed, part, progress)
        os.replace(part, to)
        flush_folder(to.parent)
    except OSError as error:
        raise refusal(error, to) from None
    except (zipfile.BadZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError, ValueError) as error:
        raise _no_pack(packed, f"this is no pack, or it is damaged: {error}") from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return verify_job(to)


def _unpack_into(packed: Path, part: Path, progress: Progress) -> None:
    with zipfile.ZipFile(packed) as archive:
        members = archive.infolist()
        for member in members:
            _refuse_unless_plain(packed, member)
        manifest = _manifest(archive, packed, members)
        done, of = 0, sum(one.size for one in manifest.files.values())
        for name, one in manifest.files.items():
            with archive.open(name) as source:
                _copy(source, part / name, one, packed)
            done += one.size
            progress(done, of)


def _refuse_unless_plain(packed: Path, member: zipfile.ZipInfo) -> None:
    kind = stat.S_IFMT(member.external_attr >> 16)
    if not is_inside(member.orig_filename) or member.orig_filename != member.filename:
        raise _no_pack(packed, f"{member.orig_filename!r} would leave the folder")
    if kind not in (0, stat.S_IFREG) or member.is_dir():
        raise _no_pack(packed, f"{member.filename!r} is no plain file")
    if member.flag_bits & 1 or member.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise _no_pack(packed, f"{member.filename!r} is encrypted, or packed in a way that packs are not")
    if member.file_size > max(SMALL, MOST_SWELLING * member.compress_size):
        raise _no_pack(packed, f"{member.filename!r} would swell more than {MOST_SWELLING} times")


def is_inside(name: str) -> bool:
    """Whether a name, on any system, is that of a file in the folder it is put in."""
    parts = PurePosixPath(name).parts
    plain = bool(name) and not name.startswith("/") and not re.search(r'[\x00-\x1f\\:*?"<>|]', name)
    return plain and "/".join(parts) == name and not any(_is_odd(part) for part in parts)


def _is_odd(part: str) -> bool:
    return part.endswith((".", " ")) or len(part) > MOST_NAME or bool(DEVICE.fullmatch(part))


def _manifest(archive: zipfile.ZipFile, packed: Path, members: list[zipfile.ZipInfo]) -> Manifest:
    names = [member.filename for member in members]
    if len(names) > MOST_FILES or sum(member.file_size for member in members) > MOST_BYTES:
        raise _no_pack(packed, f"it holds more than {MOST_FILES} files or {MOST_BYTES >> 30} GiB")
    if len({name.casefold() for name in names}) < len(names):
        raise _no_pack(packed, "two files in it have one name")
    if MANIFEST not in names or archive.getinfo(MANIFEST).file_size > MOST_MANIFEST:
        raise _no_pack(packed, f"it has no {MANIFEST} to go by")
    manifest = _parsed(archive, packed)
    if manifest.format != FORMAT:
        raise _no_pack(packed, f"it is of another format: {manifest.format!r}")
    if stray := {MANIFEST, *manifest.files} ^ set(names):
        raise _no_pack(packed, f"its {MANIFEST} and its files disagree about {min(stray)!r}")
    if MANIFEST in manifest.files:
        raise _no_pack(packed, f"its {MANIFEST} names itself")
    return manifest


def _parsed(archive: zipfile.ZipFile, packed: Path) -> Manifest:
    with archive.open(MANIFEST) as source:
        text = source.read(MOST_MANIFEST)  # with a bound: without one a lying header could ask for a gigabyte
    try:
        return Manifest.model_validate_json(text)
    except ValidationError:
        raise _no_pack(packed, f"its {MANIFEST} makes no sense") from None


def _copy(source: BinaryIO, path: Path, one: Packed, packed: Path) -> None:
    """Copy no more than the manifest says, and exactly what it says."""
    path.parent.mkdir(parents=True, exist_ok=True)
    digest, left = hashlib.sha256(), one.size
    with path.open("xb") as file:
        while chunk := source.read(min(CHUNK, left + 1)):
            left -= len(chunk)
            if left < 0:
                break
            digest.update(chunk)
            file.write(chunk)
        file.flush()
        os.fsync(file.fileno())
    if left or digest.hexdigest() != one.sha256:
        raise _no_pack(packed, f"{path.name!r} is not the file that was packed")


def _no_pack(packed: Path, why: str) -> KeepingError:
    return KeepingError(f"{why}.", where=str(packed), do="Have the job packed and sent again.")
