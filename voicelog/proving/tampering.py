"""Tampering: every way we know to change a finished journal, tried one by one, and what finds it.

A sample job is logged, closed and copied; then each change is made to a copy, and ``verify_job`` asked:

    by the folder    the folder itself shows it: exit code 1 or 2
    by the print     only a head that was printed or sent elsewhere before shows it
    by a remark      every entry and sound that was there reads exactly as before; one more is there, and is remarked
    without effect   nothing shows, and every entry and sound reads exactly as before
    missed           nothing shows, and something reads otherwise: must never happen

A single turned bit of a closed journal is always found by the folder, because journal.head holds the
digest of the whole file. After a kill there is no such digest: then a bit in a part of the file that
no entry needs (slack, freed pages, counters of the format) may go unseen, and is shown to be without effect;
and one entry may be added after the last, which looks like one that its writer died over before listing it.
"""

import shutil
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
from pydantic import computed_field

from voicelog.errors import KeepingError
from voicelog.keeping.clips import CLIPS, ClipFolder
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS
from voicelog.keeping.journal import Journal, head, read_entries
from voicelog.keeping.storage import Progress, quiet
from voicelog.keeping.verify import NOT_PRINTED, verify_job
from voicelog.model import Draft, Entry, EntryKind, Noun, Number, Place, Reading
from voicelog.proving.forging import AT_THE_END, WITH_HEADS, all_changes

ENTRIES = 6
NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
RATE_HZ = 16000
PIECE = 1024  # bits to turn in one piece of work
BITS = "one bit turned"
UNCLOSED = "after a kill"


class Kind(Noun):
    """One kind of change, and what came of each time it was tried."""

    name: str
    tried: int = 0
    by_folder: int = 0
    by_print: int = 0
    by_remark: int = 0
    without_effect: int = 0
    missed: int = 0

    @computed_field
    @property
    def as_it_must(self) -> bool:
        """Nothing missed; bits of a closed journal all found; the print needed only where both files match,
        the remark only where an entry was added."""
        if self.name.startswith(BITS) and UNCLOSED not in self.name and HEADS not in self.name:
            return self.by_folder == self.tried > 0
        as_named = (not self.by_print or WITH_HEADS in self.name) and (not self.by_remark or self.name == AT_THE_END)
        return self.tried > 0 and not self.missed and as_named


class Tampering(Noun):
    """``voicelog bench tampering``: the table."""

    kinds: tuple[Kind, ...]

    @computed_field
    @property
    def passed(self) -> bool:
        return bool(self.kinds) and all(kind.as_it_must for kind in self.kinds)


@dataclass(frozen=True)
class Sample:
    """A finished job, what it holds, and the head that was printed from it."""

    folder: Path
    entries: tuple[Entry, ...]
    sounds: tuple[bytes, ...]
    printed: str


def bench_tampering(every: int = 1, entries: int = ENTRIES, workers: int = 1, progress: Progress = quiet) -> Tampering:
    """Try all changes to a job of ``entries`` entries, and every ``every``-th bit of both its files.

    ``progress`` counts pieces of work.
    """
    found: dict[str, Counter[str]] = {}
    with tempfile.TemporaryDirectory() as place, ProcessPoolExecutor(workers) as pool:
        closed, unclosed, older = _samples(Path(place), entries)
        jobs = [pool.submit(_edited, unclosed, older, part, 8) for part in range(8)]
        jobs += [pool.submit(_turned, *piece) for piece in _pieces(closed, unclosed, every)]
        for done, job in enumerate(jobs, 1):
            for name, outcomes in job.result().items():
                found.setdefault(name, Counter()).update(outcomes)
            progress(done, len(jobs))
    return Tampering(kinds=tuple(Kind(name=name, tried=c.total(), **c) for name, c in sorted(found.items())))


# ---------------------------------------------------------------- the sample


def _samples(place: Path, entries: int = ENTRIES) -> tuple[Sample, Sample, list[Path]]:
    """The job closed, the same without its closing line, and copies of it as it grew."""
    folder, older = place / "job", []
    folder.mkdir()
    for number in range(1, entries + 1):
        _log(folder, number)
        if number < entries:
            older.append(Path(shutil.copytree(folder, place / f"older{number}")))
    closed = _sample(folder)
    unclosed = Path(shutil.copytree(folder, place / "unclosed"))
    lines = (unclosed / HEADS).read_bytes().splitlines(keepends=True)
    (unclosed / HEADS).write_bytes(b"".join(lines[:-1]))
    return closed, _sample(unclosed), older


def _log(folder: Path, number: int) -> None:
    at = NOON + timedelta(seconds=5 * number)
    place = Place(board="DB1", circuit=str(number))
    reading = Reading(place=place, quantity="zs", value=Number(figure=Decimal(number).scaleb(-2)), unit="ohm")
    draft = Draft(kind=EntryKind.CALLED, words=("zed", "s"), place=place, reading=reading, margin=4.5)
    if number % 2:
        clip = ClipFolder(folder).keep(np.full(200, number, np.int16), RATE_HZ, at)
        draft = draft.model_copy(update={"clip": clip.name, "clip_sha256": clip.sha256})
    with Journal.open(folder, lambda: at) as journal:
        journal.append(draft)


def _sample(folder: Path) -> Sample:
    return Sample(folder, read_entries(folder), _sounds(folder), head(folder).digest)


def _sounds(folder: Path) -> tuple[bytes, ...]:
    return tuple(path.read_bytes() for path in sorted((folder / CLIPS).iterdir()))


# ---------------------------------------------------------------- trying and judging


def _outcome(folder: Path, sample: Sample) -> str:
    found = verify_job(folder, sample.printed)
    if found.exit_code:
        return "by_print" if found.findings == (NOT_PRINTED,) else "by_folder"
    try:
        entries, sounds = read_entries(folder), _sounds(folder)
    except KeepingError:
        return "missed"  # called whole, and does not read
    if sounds != sample.sounds or entries[: len(sample.entries)] != sample.entries:
        return "missed"
    more = len(entries) - len(sample.entries)
    remarked = any("committed just before" in remark for remark in found.remarks)
    return "without_effect" if not more else "by_remark" if more == 1 and remarked else "missed"


def _edited(sample: Sample, older: list[Path], part: int, of: int) -> dict[str, Counter[str]]:
    found: dict[str, Counter[str]] = {}
    for index, (name, change) in enumerate(all_changes(sample.folder, older)):
        if index % of != part:
            continue
        with tempfile.TemporaryDirectory() as place:
            copy = Path(shutil.copytree(sample.folder, Path(place) / "job"))
            change(copy)
            found.setdefault(name, Counter())[_outcome(copy, sample)] += 1
    return found


def _pieces(closed: Sample, unclosed: Sample, every: int) -> Iterator[tuple[Sample, str, str, range]]:
    for sample, when in ((closed, ""), (unclosed, f", {UNCLOSED}")):
        for name in (JOURNAL, HEADS):
            bits = 8 * (sample.folder / name).stat().st_size
            for first in range(0, bits, PIECE * every):
                turned = range(first, min(first + PIECE * every, bits), every)
                yield sample, name, f"{BITS} in {name}{when}", turned


def _turned(sample: Sample, name: str, kind: str, bits: range) -> dict[str, Counter[str]]:
    outcomes: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as place:
        copy = Path(shutil.copytree(sample.folder, Path(place) / "job"))
        whole = (copy / name).read_bytes()
        for bit in bits:
            with (copy / name).open("r+b") as file:
                file.seek(bit // 8)
                file.write(bytes([whole[bit // 8] ^ (1 << bit % 8)]))
            outcomes[_outcome(copy, sample)] += 1
            (copy / name).write_bytes(whole)
    return {kind: outcomes}
