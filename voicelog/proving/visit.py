"""The recorded visit: what the journal holds after hearing it, against its script, entry by entry.

Free words are compared as entries only: the grammar's ear takes them down as
sound. A line that only a typist can say (a circuit's name half said) gives
nothing in the recording; the script marks it.
"""

import re
import shutil
import tempfile
import time
import tomllib
from collections.abc import Callable
from difflib import SequenceMatcher
from pathlib import Path

from voicelog.keeping.job import open_job
from voicelog.model import Entry, EntryKind, Noun, Number
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
    found = [in_short(entry) for entry in _heard(folder, len(wanted), progress)]
    missing, unexpected = differences([plain(text) for text in wanted], found)
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


def in_short(entry: Entry) -> str:
    """ "called DB1/1 zs 0.52 ohm"; "noted kind=photo": numbers of entries and free words left out."""
    if entry.reading is None:
        parts = [f"{key}={value}" for key, value in sorted(entry.detail.items()) if key not in ("point", "words")]
        return " ".join([entry.kind.value, *parts] + ([entry.place.key] if entry.kind is EntryKind.MOVED else []))
    reading, value = entry.reading, entry.reading.value
    if isinstance(value, Number):
        shown = f"{value.comparison.value.replace('=', '')}{value.figure}"
    else:
        shown = getattr(value, "word", value.kind)
    return " ".join(
        part for part in (entry.kind.value, reading.place.key, reading.quantity, shown, reading.unit) if part
    )


def plain(text: str) -> str:
    """A line of the script without the numbers, conditions, reasons and free words that ``in_short`` leaves out."""
    text = text.split(" (")[0]
    if text.startswith("noted"):
        kind = text.split("kind=", 1)[1].split(" point=")[0].split(" words=")[0]
        code = "code=" + text.split("code=", 1)[1].split()[0] + " " if "code=" in text else ""
        item = "item=" + text.split("item=", 1)[1].split(" kind=")[0] + " " if "item=" in text else ""
        total = " total=" + text.split("total=", 1)[1] if "total=" in text else ""
        return f"noted {code}{item}kind={kind.split(' total=')[0]}{total}"
    without_conditions = re.sub(r"\[.*\]", "", text)
    return " ".join(word for word in without_conditions.split() if not word.startswith("#"))


def differences(wanted: list[str], found: list[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Entries of the script that are missing, and entries that it does not have."""
    missing, unexpected = [], []
    for kind, a, b, c, d in SequenceMatcher(None, wanted, found, autojunk=False).get_opcodes():
        if kind != "equal":
            missing += wanted[a:b]
            unexpected += found[c:d]
    return tuple(missing), tuple(unexpected)
