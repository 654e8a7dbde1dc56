"""Two people's journals of one visit become one, and nothing is dropped.

    voicelog merge FIRST SECOND INTO

Entries are chained anew in the order of their times (each journal's own order kept), with their times,
words and sounds as they were; ``detail`` says where each came from: ``merged_from`` (first, second or
both), ``merged_number``, ``merged_digest``. What both journals have in common (the second was begun as
a copy of the first) is taken once. The two journals themselves are carried along under ``merged/``,
where they still verify, and the last entry names both heads.

Where both people hold a value for the same thing and the values differ, both stay; the conflict is
listed and noted, for people to settle.
"""

import os
import shutil
from collections.abc import Container, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from voicelog.errors import KeepingError
from voicelog.keeping.clips import CLIPS, is_trace
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS
from voicelog.keeping.job import open_job
from voicelog.keeping.journal import CLOCK_REMARK, Clock, Journal, read_entries, utc_now
from voicelog.keeping.record import Line, Record, fold
from voicelog.keeping.sheet import SHEET
from voicelog.keeping.storage import Progress, flush_folder, quiet, refusal, sha256_of
from voicelog.model import Draft, Entry, EntryKind, Noun

SOURCES = "merged"  # folder of the journals that went in
FIRST, SECOND, BOTH = "first", "second", "both"


class Conflict(Noun):
    """Both people hold something of one place and quantity, and not the same."""

    key: str  # place and quantity: "DB1/5 zs"
    first: int  # entry numbers in the merged journal
    second: int
    why: str


class Merged(Noun):
    """What came of a merge."""

    entries: int
    conflicts: tuple[Conflict, ...] = ()
    remarks: tuple[str, ...] = ()  # such as job sheets that differ


@dataclass
class _Source:
    """One of the two jobs, and where its entries went."""

    name: str
    folder: Path
    entries: tuple[Entry, ...]
    numbers: dict[int, int] = field(default_factory=dict)  # its own entry number -> the merged one
    clips: dict[str, str] = field(default_factory=dict)  # its own clip name -> the merged one

    @property
    def record(self) -> Record:
        return fold(self.entries)


def merge(first: Path, second: Path, into: Path, now: Clock = utc_now, progress: Progress = quiet) -> Merged:
    """Merge the journals of two job folders of one job into the new folder ``into``.

    ``progress`` counts entries. Raises KeepingError when ``into`` is there already or the jobs are not
    one job, and what read_entries raises when a journal does not verify; then there is no ``into``.
    """
    sources = (_source(FIRST, first), _source(SECOND, second))
    remarks = tuple(_one_job(first, second))
    if into.exists():
        raise KeepingError("there is something of that name already.", where=str(into), do="Name a new folder.")
    part = into.with_name(f"{into.name}.part")
    try:
        part.mkdir(parents=True)
        _carry_along(sources, part)
        merged = _merge_into(part, sources, remarks, now, progress)
        os.replace(part, into)
        flush_folder(into.parent)
    except OSError as error:
        raise refusal(error, into) from None
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return merged


def _source(name: str, folder: Path) -> _Source:
    return _Source(name, folder, read_entries(folder))


def _one_job(first: Path, second: Path) -> Iterator[str]:
    """Remarks on what differs between the job sheets. Raises KeepingError when they are of two jobs."""
    one, other = open_job(first).sheet, open_job(second).sheet
    if one.job.reference != other.job.reference:
        what = f"the job sheets are of two jobs, {one.job.reference!r} and {other.job.reference!r}."
        raise KeepingError(what, where=str(second), do="Merge journals of one job only.")
    if one != other:
        yield f"the job sheets differ; the first is in force, the second lies in {SOURCES}/{SECOND}/{SHEET}."


def _carry_along(sources: tuple[_Source, _Source], part: Path) -> None:
    """The journals as they were, and the sounds, under names of their own where two are called alike.

    A sound that either of the two has removed stays removed, though the other still has it.
    """
    removed = {sound for source in sources for sound in _removed(source.entries)}
    taken: dict[str, str] = {}  # merged clip name -> SHA-256
    shutil.copyfile(sources[0].folder / SHEET, part / SHEET)
    for source in sources:
        kept = part / SOURCES / source.name
        kept.mkdir(parents=True)
        for name in (SHEET, JOURNAL, HEADS):
            shutil.copyfile(source.folder / name, kept / name)
        if (source.folder / SOURCES).is_dir():  # it was merged itself: what went into it goes along
            shutil.copytree(source.folder / SOURCES, kept / SOURCES)
        gone = {entry.clip: entry.clip_sha256 for entry in source.entries if _sound(entry) in removed}
        there = [clip for clip in sorted((source.folder / CLIPS).glob("*")) if clip.is_file()]
        digests = {clip.name: sha256_of(clip) for clip in there} | gone
        for name in sorted(digests):
            source.clips[name] = _free_name(name, digests[name], source.name, taken)
        _copy(there, source.clips, gone, part / CLIPS)


def _removed(entries: Iterable[Entry]) -> Iterator[tuple[str, datetime]]:
    """Each sound that was removed with a trace."""
    by_number = {entry.number: entry for entry in entries}
    for entry in by_number.values():
        if is_trace(entry) and entry.refers in by_number:
            yield _sound(by_number[entry.refers])


def _sound(entry: Entry) -> tuple[str, datetime]:
    """What tells a sound apart whatever its file is called in one journal or the other."""
    return entry.clip_sha256, entry.at


def _free_name(name: str, sha256: str, source: str, taken: dict[str, str]) -> str:
    if taken.get(name, sha256) != sha256:
        name = f"{Path(name).stem}-{source}{Path(name).suffix}"
    taken[name] = sha256
    return name


def _copy(clips: Iterable[Path], names: Mapping[str, str], gone: Container[str], to: Path) -> None:
    for clip in clips:
        path = to / names[clip.name]
        if clip.name not in gone and not path.exists():
            to.mkdir(exist_ok=True)
            shutil.copyfile(clip, path)


# ---------------------------------------------------------------- entries


def _merge_into(
    part: Path, sources: tuple[_Source, _Source], remarks: tuple[str, ...], now: Clock, progress: Progress
) -> Merged:
    order = list(_in_order(*sources))
    moment = _Moment(now())
    with Journal.open(part, moment.now, quiet) as journal:
        for done, (origin, entry, owners) in enumerate(order, 1):
            moment.at = entry.at
            taken = journal.append(_moved(entry, origin, owners[0]))
            for owner in owners:
                owner.numbers[entry.number] = taken.number
            progress(done, len(order))
        moment.at = now()
        conflicts = tuple(_conflicts(*sources))
        for conflict in conflicts:
            journal.append(_noted(conflict))
        last = journal.append(_heads_noted(sources))
    return Merged(entries=last.number, conflicts=conflicts, remarks=remarks)


@dataclass
class _Moment:
    """The clock of a merge: it shows the time of the entry in hand."""

    at: datetime

    def now(self) -> datetime:
        return self.at


def _in_order(first: _Source, second: _Source) -> Iterator[tuple[str, Entry, tuple[_Source, ...]]]:
    """Each entry once: origin, entry, whose it is. By time, neither journal's own order disturbed."""
    common = _common(first, second)
    for entry in first.entries[:common]:
        yield BOTH, entry, (first, second)
    rest = [*_timed(first, common), *_timed(second, common)]
    for _, _, entry, source in sorted(rest, key=lambda one: one[:2]):
        yield source.name, entry, (source,)


def _common(first: _Source, second: _Source) -> int:
    pairs = zip(first.entries, second.entries, strict=False)
    return next((n for n, (one, other) in enumerate(pairs) if one.digest != other.digest), _shorter(first, second))


def _shorter(first: _Source, second: _Source) -> int:
    return min(len(first.entries), len(second.entries))


def _timed(source: _Source, since: int) -> Iterator[tuple[datetime, str, Entry, _Source]]:
    """An entry whose clock went back sorts with the latest before it: the numbers give the order."""
    latest: datetime | None = None
    for entry in source.entries[since:]:
        latest = entry.at if latest is None else max(latest, entry.at)
        yield latest, source.name, entry, source


def _moved(entry: Entry, origin: str, owner: _Source) -> Draft:
    detail = dict(entry.detail)
    if CLOCK_REMARK in detail:  # the journal may have a remark of its own to make
        detail[f"merged_{CLOCK_REMARK}"] = detail.pop(CLOCK_REMARK)
    detail |= {"merged_from": origin, "merged_number": str(entry.number), "merged_digest": entry.digest}
    if entry.refers is not None and entry.refers not in owner.numbers:
        detail["merged_refers"] = str(entry.refers)  # led nowhere before, and leads nowhere now
    if "clip" in detail:
        detail["clip"] = owner.clips.get(detail["clip"], detail["clip"])
    kept = {name: getattr(entry, name) for name in Draft.model_fields}
    kept |= {"detail": detail, "clip": owner.clips.get(entry.clip, entry.clip)}
    kept["refers"] = owner.numbers.get(entry.refers) if entry.refers is not None else None
    return Draft.model_construct(**kept)


def _heads_noted(sources: tuple[_Source, _Source]) -> Draft:
    detail = {"action": "merged"}
    for source in sources:
        detail[f"{source.name}_entries"] = str(len(source.entries))
        detail[f"{source.name}_head"] = source.entries[-1].digest if source.entries else ""
    return Draft(kind=EntryKind.NOTED, detail=detail)


# ---------------------------------------------------------------- conflicts


def _conflicts(first: _Source, second: _Source) -> Iterator[Conflict]:
    """Values that differ where both called one, and common readings that only one still holds to."""
    common = _common(first, second)
    one, other = first.record, second.record
    theirs = {line.key: line for line in other.current}
    for line in one.current:
        rival = theirs.get(line.key)
        new = rival and not line.number <= common >= rival.number
        if rival and new and _said(line) != _said(rival):
            yield _conflict(line, rival, first, second, f"{_shown(line)} and {_shown(rival)}")
    for line in one.lines:
        rival = other.line(line.number)
        if line.number <= common and rival and line.standing is not rival.standing:
            yield _conflict(line, rival, first, second, f"{line.standing} and {rival.standing}")


def _said(line: Line) -> tuple[object, str]:
    return line.reading.value, line.reading.unit


def _shown(line: Line) -> str:
    value = line.reading.value
    words = str(getattr(value, "figure", "") or getattr(value, "word", "") or value.kind)
    return f"{words} {line.reading.unit}".strip()


def _conflict(line: Line, rival: Line, first: _Source, second: _Source, why: str) -> Conflict:
    return Conflict(
        key=f"{line.reading.place.key} {line.reading.quantity}",
        first=first.numbers[line.number],
        second=second.numbers[rival.number],
        why=why,
    )


def _noted(conflict: Conflict) -> Draft:
    detail = {"action": "conflict", "first": str(conflict.first), "second": str(conflict.second), "why": conflict.why}
    return Draft(kind=EntryKind.NOTED, refers=conflict.second, detail=detail)
