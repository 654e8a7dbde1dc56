"""The sound behind the entries: one FLAC file an utterance in ``clips/``, named by time and counter.

A clip is whole and durable before the entry that names it is written, so that no entry ever points at
half a sound. The digest goes into the entry: the chain vouches for the sound as well.
"""

import hashlib
import io
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import soundfile

from voicelog.errors import KeepingError
from voicelog.keeping.journal import Journal
from voicelog.keeping.storage import flush_folder, refusal, write_whole
from voicelog.model import Draft, Entry, EntryKind

CLIPS = "clips"
REMOVED = {"action": "clip removed"}  # detail of the REVIEWED entry that a removal leaves behind


@dataclass(frozen=True)
class Clip:
    """A sound kept."""

    name: str  # file name in clips/
    sha256: str  # of the file's bytes
    remark: str = ""  # what went wrong meanwhile and was mended, to be told to the crew


class ClipFolder:
    """``clips/`` of a job folder, while a session runs."""

    def __init__(self, job_folder: Path) -> None:
        self._folder = job_folder / CLIPS
        self._counter = 0
        self._kept = 0

    def keep(self, samples: np.ndarray, rate_hz: int, at: datetime) -> Clip:
        """Keep one utterance: mono, int16 or float in -1 to 1. ``at`` must know its time zone.

        Raises StorageFull or KeepingError; the journal can go on without the clip, and the crew
        must be told.
        """
        sound = flac(samples, rate_hz)
        try:
            remark = self._made_sure()
            path = self._free_name(at)
            write_whole(path, sound)
        except OSError as error:
            raise refusal(error, self._folder) from None
        self._kept += 1
        return Clip(path.name, hashlib.sha256(sound).hexdigest(), remark)

    def _made_sure(self) -> str:
        """The folder is there; when it vanished after sounds were kept in it, that is said."""
        if self._folder.is_dir():
            return ""
        self._folder.mkdir()
        flush_folder(self._folder.parent)
        lost, self._kept = self._kept, 0
        sounds = "one sound" if lost == 1 else f"{lost} sounds"
        return f"the clips folder had gone, and with it {sounds} of this session; it is made anew." if lost else ""

    def _free_name(self, at: datetime) -> Path:
        while True:
            self._counter += 1
            path = self._folder / f"{at.astimezone(UTC):%Y%m%dT%H%M%SZ}-{self._counter:04d}.flac"
            if not path.exists():
                return path


def flac(samples: np.ndarray, rate_hz: int) -> bytes:
    """One channel as FLAC, 16 bit. Raises KeepingError when that cannot be done."""
    if samples.ndim != 1:
        raise KeepingError(f"a clip has one channel, not an array of shape {samples.shape}.")
    sound = io.BytesIO()
    try:
        soundfile.write(sound, samples, rate_hz, format="FLAC", subtype="PCM_16")
    except (soundfile.SoundFileError, TypeError, ValueError) as error:
        raise KeepingError(f"the sound cannot be written as FLAC: {error}.") from None
    return sound.getvalue()


def is_plain(name: str) -> bool:
    """Whether a name is that of a file in ``clips/`` itself: a journal from elsewhere may name any."""
    return Path(name).name == name and "\\" not in name and name not in ("", ".", "..")


def path_of(job_folder: Path, name: str) -> Path:
    """Where the sound of that name lies. Raises KeepingError for a name that could lead elsewhere."""
    if not is_plain(name):
        raise KeepingError(f"{name!r} is no file name of a sound.", where=str(job_folder))
    return job_folder / CLIPS / name


def is_trace(entry: Entry) -> bool:
    """Whether an entry says that the sound of the one it refers to was removed."""
    return REMOVED.items() <= entry.detail.items()


def read_clip(job_folder: Path, name: str) -> tuple[np.ndarray, int]:
    """Samples (int16, mono) and rate in Hz of a clip. Raises KeepingError when it is gone or no sound."""
    path = path_of(job_folder, name)
    try:
        samples, rate_hz = soundfile.read(path, dtype="int16")
    except (OSError, soundfile.SoundFileError) as error:
        raise KeepingError(f"the clip cannot be read: {error}.", where=str(path)) from None
    return samples, rate_hz


def remove_clips(journal: Journal, job_folder: Path, reason: str) -> int:
    """Delete every sound that is still there, each with its trace; give back how many.

    Raises KeepingError when no reason is given.
    """
    kept = _not_yet_removed(journal, job_folder)
    for entry in kept:
        _remove(journal, job_folder, entry, reason)
    return len(kept)


def remove_clip(journal: Journal, job_folder: Path, entry: Entry, reason: str) -> Entry:
    """Delete an entry's sound and leave a trace: the entry itself, its digest and the reason stay.

    Raises KeepingError when the entry names no clip, its clip is gone already, or no reason is given.
    """
    if not entry.clip:
        raise KeepingError(f"entry {entry.number} has no sound.", where=str(job_folder))
    path_of(job_folder, entry.clip)
    if entry not in _not_yet_removed(journal, job_folder):
        raise KeepingError(f"the sound of entry {entry.number} was removed before.", where=str(job_folder))
    return _remove(journal, job_folder, entry, reason)


def _not_yet_removed(journal: Journal, job_folder: Path) -> list[Entry]:
    """The entries with a sound that no trace accounts for, or that a kill saved from its removal."""
    entries = journal.entries()
    removed = {entry.detail.get("clip") for entry in entries if is_trace(entry)}
    gone = {clip for clip in removed if clip and not (job_folder / CLIPS / clip).exists()}
    return [entry for entry in entries if is_plain(entry.clip) and entry.clip not in gone]


def _remove(journal: Journal, job_folder: Path, entry: Entry, reason: str) -> Entry:
    """The trace is written first: a kill in between leaves a sound too many, never one missing unexplained."""
    if not reason.strip():
        raise KeepingError("a sound is removed for a reason, which stays.", where=str(job_folder), do="Give one.")
    path, detail = path_of(job_folder, entry.clip), {**REMOVED, "clip": entry.clip}
    trace = journal.append(Draft(kind=EntryKind.REVIEWED, refers=entry.number, reason=reason, detail=detail))
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise refusal(error, path) from None
    return trace
