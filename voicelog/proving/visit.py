"""The recorded visit: what the journal holds after hearing it, against its script, entry by entry.

Free words are compared as entries only: the grammar's ear takes them down as
sound. A line that only a typist can say (a circuit's name half said) gives
nothing in the recording; the script marks it.
"""

import shutil
import tempfile
import time
import tomllib
from collections.abc import Callable
from difflib import SequenceMatcher
from pathlib import Path

from voicelog.keeping.job import open_job
from voicelog.model import Entry, EntryKind, Noun
from voicelog.proving.script import shown, without_chance
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.talking.conversation import Conversation, Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import Options, open_ear, run

Progress = Callable[[int, int], None]


class VisitScore(Noun):
    """Entries of the script and of the journal, side by side."""

    utterances: int
    expected: int  # entries
    found: int
    missing: tuple[str, ...]
    unexpected: tuple[str, ...]
    seconds: float

    @property
    def as_scripted(self) -> bool:
        return not self.missing and not self.unexpected


def bench_visit(progress: Progress = lambda done, total: None) -> VisitScore:
    """Hear the recorded visit through the real recogniser, dialogue, limits and journal."""
    folder = data_folder("audio_samples")
    lines = tomllib.loads((folder / "visit" / "script.toml").read_text(encoding="utf-8"))["visit"]["line"]
    wanted = [text for line in lines for text in line.get("recorded", line["gives"])]
    began = time.monotonic()
    found = [without_chance(shown(entry)) for entry in _heard(folder, len(wanted), progress)]
    missing, unexpected = differences([without_chance(text) for text in wanted], found)
    return VisitScore(
        utterances=sum(line["says"] != "..." for line in lines),
        expected=len(wanted),
        found=len(found),
        missing=missing,
        unexpected=unexpected,
        seconds=round(time.monotonic() - began, 1),
    )


def _heard(folder: Path, expected: int, progress: Progress) -> tuple[Entry, ...]:
    class Counting(Watcher):
        def kept(self, entry: Entry, record: object, talk: Conversation) -> None:
            progress(entry.number, expected + 2)

    with tempfile.TemporaryDirectory() as job:
        shutil.copy(folder / "demo" / "job.toml", job)
        visit = open_visit(Path(job))
        with open_ear(visit, Options(source=folder / "visit" / "visit.ogg")) as ear:
            run(visit, ear, SilentMouth(), Policy.EVERY, Counting())
        entries = open_job(Path(job)).entries()
    return tuple(entry for entry in entries if entry.kind not in (EntryKind.STARTED, EntryKind.STOPPED))


def differences(wanted: list[str], found: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Entries of the script that are missing, and entries that it does not have."""
    missing, unexpected = [], []
    for kind, a, b, c, d in SequenceMatcher(None, wanted, found, autojunk=False).get_opcodes():
        if kind != "equal":
            missing += wanted[a:b]
            unexpected += found[c:d]
    return tuple(missing), tuple(unexpected)
