"""Named faults of disk, folder, clock and people, each brought about for real where the system allows.

After each: what was acknowledged is there, the journal verifies, and the crew was told in words.
"""

import os
import random
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from voicelog.errors import JournalLocked, KeepingError, StorageFull
from voicelog.keeping.clips import CLIPS, ClipFolder
from voicelog.keeping.journal import CLOCK_REMARK, Journal, read_entries
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, EntryKind, Noun
from voicelog.proving.witness import RATE_HZ, SOUND, Kills, Ledger, Tell, added, judged, log_one, teller

NOBODY = 65534  # the user without rights, where the proof runs as root
ROUND = 40  # entries a child tries to append before it is content
NOTE = Draft(kind=EntryKind.NOTED, detail={"text": "scorch marks"})


class Case(Noun):
    """One fault."""

    name: str
    tried: int  # times it was brought about
    held: bool
    seen: str  # what was observed, in words


def run_faults() -> tuple[Case, ...]:
    """Bring all of them about."""
    return tuple(case() for case in CASES)


# ---------------------------------------------------------------- a disk that fills


def file_size_limit(step: int = 512) -> Case:
    """The system refuses to let any file grow beyond a limit: every limit from nothing to room enough."""
    limits = range(0, 40 * 1024, step)
    total, refused = Kills(), 0
    with tempfile.TemporaryDirectory() as place:
        for limit in limits:
            (folder := Path(place) / str(limit)).mkdir()
            ledger, told = _in_child(folder, limit, _limited)
            total, refused = added(total, judged(folder, {}, ledger)), refused + told
    return _full_case(
        "the disk refuses a write: a limit on file size, in steps of 512 bytes", len(limits), total, refused
    )


def small_disk(step_kib: int = 4) -> Case:
    """A real file system with no room left (needs the right to mount one)."""
    name = f"the disk is full: a file system of 24 to 160 KiB, in steps of {step_kib} KiB"
    sizes = range(24, 164, step_kib)
    total, refused = Kills(), 0
    for size in sizes:
        with _mounted(size) as place:
            if place is None:
                return Case(name=name, tried=0, held=True, seen="not tried: this user may not mount a file system")
            found, told = _filled(place)
            total, refused = added(total, found), refused + told
    return _full_case(name, len(sizes), total, refused)


def _filled(place: Path) -> tuple[Kills, int]:
    """Log until the disk is full; what lies there must read at once, and open once there is room again."""
    (folder := place / "job").mkdir()
    ledger, told = _in_child(folder, 0, _until_full)
    read = {entry.digest for entry in read_entries(folder)} if ledger.acknowledged else set()
    _mount(place, "remount,size=4m")
    found = judged(folder, {}, ledger)
    unread = set(ledger.acknowledged.values()) - read
    return found.model_copy(update={"lost": max(found.lost, len(unread))}), told


def _full_case(name: str, tried: int, total: Kills, refused: int) -> Case:
    seen = f"{refused} times told that the disk refused; {total.acknowledged} acknowledged, {total.lost} lost"
    seen += f", {total.not_whole} not whole, {total.not_opened} not opened"
    return Case(name=name, tried=tried, held=total.passed and refused > tried // 3, seen=seen)


@contextmanager
def _mounted(size_kib: int) -> Iterator[Path | None]:
    with tempfile.TemporaryDirectory() as place:
        if not _mount(Path(place), f"size={size_kib}k"):
            yield None
            return
        try:
            yield Path(place)
        finally:
            subprocess.run(["umount", place], check=True, capture_output=True)


def _mount(place: Path, options: str) -> bool:
    command = ["mount", "-t", "tmpfs", "-o", options, "none", str(place)]
    return bool(shutil.which("mount")) and subprocess.run(command, capture_output=True).returncode == 0


def _in_child(folder: Path, limit: int, work: Callable[[Path, int, Tell], None]) -> tuple[Ledger, int]:
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        tell = teller(writer)
        try:
            work(folder, limit, tell)
        except BaseException as error:
            tell("failed", error=repr(error))
        finally:
            os._exit(0)
    os.close(writer)
    with os.fdopen(reader, "rb") as pipe:
        lines = pipe.read().splitlines()
    os.waitpid(child, 0)
    ledger = Ledger()
    for line in lines:
        ledger.hear(line)
    return ledger, sum(b'"refused"' in line for line in lines)


def _limited(folder: Path, limit: int, tell: Tell) -> None:
    """Log under a limit until refused; then lift it, and the same journal must go on."""
    import resource  # absent on Windows, where nothing here runs

    _, most = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, most))
    journal = _until_full(folder, limit, tell)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))
    journal = journal or Journal.open(folder)  # refused at opening: it must open now
    log_one(journal, ClipFolder(folder), random.Random(limit), ROUND, tell)
    journal.close()


def _until_full(folder: Path, seed: int, tell: Tell) -> Journal | None:
    """Log until the journal is refused; a clip that is refused is done without."""
    chance, clips = random.Random(seed), ClipFolder(folder)
    try:
        journal = Journal.open(folder)
    except StorageFull:
        tell("refused")
        return None
    for serial in range(ROUND):
        try:
            log_one(journal, clips, chance, serial, tell)
        except StorageFull:
            tell("refused")
            if not _goes_on_without_sound(journal, tell):
                break
    return journal


def _goes_on_without_sound(journal: Journal, tell: Tell) -> bool:
    try:
        entry = journal.append(NOTE)
    except StorageFull:
        return False
    tell("acknowledged", number=entry.number, digest=entry.digest)
    return True


# ---------------------------------------------------------------- folders


def read_only_folder() -> Case:
    """A folder that may be read and not written."""
    name, was = "the job folder is read-only", os.geteuid()
    place = Path(tempfile.mkdtemp())
    try:
        place.chmod(0o777)
        if was == 0:
            os.seteuid(NOBODY)
        (folder := place / "job").mkdir()
        with Journal.open(folder) as journal:
            entry = journal.append(NOTE)
        folder.chmod(0o500)
        told = _refusal(lambda: Journal.open(folder))
        held = bool(told) and read_entries(folder) == (entry,) and verify_job(folder).exit_code == 0
        folder.chmod(0o700)
    finally:
        os.seteuid(was)
        shutil.rmtree(place)
    return Case(name=name, tried=1, held=held, seen=told)


def clips_deleted() -> Case:
    """Someone deletes clips/ while a session runs."""
    with tempfile.TemporaryDirectory() as place:
        folder, at = Path(place), datetime.now(UTC)
        clips = ClipFolder(folder)
        with Journal.open(folder) as journal:
            first = clips.keep(SOUND, RATE_HZ, at)
            journal.append(NOTE.model_copy(update={"clip": first.name, "clip_sha256": first.sha256}))
            shutil.rmtree(folder / CLIPS)
            second = clips.keep(SOUND, RATE_HZ, at)
            journal.append(NOTE.model_copy(update={"clip": second.name, "clip_sha256": second.sha256}))
        found = verify_job(folder)
        held = "one sound of" in second.remark and (folder / CLIPS / second.name).is_file()
        held = held and found.entries == 2 and found.findings == (f"the sound of entry 1 is missing: {first.name}.",)
    return Case(name="the clips folder is deleted while running", tried=1, held=held, seen=second.remark)


# ---------------------------------------------------------------- clock and people


def clock_backwards() -> Case:
    """The clock jumps back by an hour, and by a year, between entries."""
    noon = datetime(2026, 3, 2, 12, tzinfo=UTC)
    moments = iter([noon, noon, noon - timedelta(hours=1), noon + timedelta(seconds=4), noon - timedelta(days=365)])
    with tempfile.TemporaryDirectory() as place, Journal.open(Path(place), lambda: next(moments)) as journal:
        entries = [journal.append(NOTE) for _ in range(4)]
        held = read_entries(Path(place)) == tuple(entries)
    remarked = [entry.number for entry in entries if CLOCK_REMARK in entry.detail]
    seen = "; ".join(entry.detail[CLOCK_REMARK] for entry in entries if CLOCK_REMARK in entry.detail)
    return Case(name="the clock goes backwards", tried=2, held=held and remarked == [2, 4], seen=seen)


def two_processes() -> Case:
    """A second process wants to write a job that is being written; the first is then killed."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        ledger, told = _in_child_while_held(folder)
        left = _refusal(lambda: Journal.open(folder).close())
        held = ledger.phase == "locked" and told and not left and len(read_entries(folder)) == 1
    return Case(name="two processes want to write one job", tried=1, held=bool(held), seen=told)


def _in_child_while_held(folder: Path) -> tuple[Ledger, str]:
    told: list[str] = []

    def second(folder: Path, _: int, tell: Tell) -> None:
        try:
            Journal.open(folder)
        except JournalLocked as error:
            (folder / "told").write_text(str(error))
            tell("locked")

    with Journal.open(folder) as journal:
        journal.append(NOTE)
        ledger, _ = _in_child(folder, 0, second)
    told.append((folder / "told").read_text() if (folder / "told").exists() else "")
    return ledger, told[0].removeprefix(f"{folder}: ")


def _refusal(act: Callable[[], object]) -> str:
    try:
        act()
    except KeepingError as error:
        return f"{error.what} {error.do}".strip()
    return ""


CASES = (file_size_limit, small_disk, read_only_folder, clips_deleted, clock_backwards, two_processes)
