"""Speech from a job already done: readings that their speaker affirmed, with their sound.

Left out: anything corrected, withdrawn or never answered, whatever had a near
rival, and clips whose words do not fit their sound. A reading that merely
went unchallenged is not affirmed.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import soxr

from voicelog.errors import KeepingError
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.keeping.clips import read_clip
from voicelog.keeping.journal import read_entries
from voicelog.keeping.record import Line, fold
from voicelog.learning.adaptation import Spoken
from voicelog.model import Entry, EntryKind, Standing

NEAR_RIVAL = 3.0  # nats; a reading that beat its rival by less was doubtful


@dataclass(frozen=True)
class Gathered:
    """What a job gives to learn from, and what was left out and why."""

    phrases: tuple[Spoken, ...]
    left_out: dict[str, int]  # reason -> how many


def affirmed_phrases(job_folder: Path, speaker: str = "", since: datetime | None = None) -> Gathered:
    """Affirmed utterances of a job, in the order in which they were said, those after ``since`` only.

    ``speaker`` keeps those of one person; where the journal names nobody at all,
    everything is taken for theirs. Raises KeepingError when the journal cannot be read.
    """
    left_out: dict[str, int] = {}
    phrases = []
    lines = fold(read_entries(job_folder)).lines
    somebody = any(line.entry.speaker for line in lines)
    for line in lines:
        if since is not None and line.entry.at <= since:
            continue
        reason = _doubt(line) or (_stranger(line, speaker) if speaker and somebody else "")
        phrase = None if reason else _phrase(job_folder, line.entry)
        if phrase:
            phrases.append(phrase)
        else:
            reason = reason or "its sound is gone"
            left_out[reason] = left_out.get(reason, 0) + 1
    return Gathered(tuple(phrases), left_out)


def _stranger(line: Line, speaker: str) -> str:
    """Why a line is not ``speaker``'s, in a journal that says who spoke."""
    if not line.entry.speaker:
        return "it fitted no known voice"
    return "" if line.entry.speaker.casefold() == speaker.casefold() else "another person said it"


def _doubt(line: Line) -> str:
    """Why a line is not learnt from; empty when it is."""
    if line.standing is not Standing.AFFIRMED:
        return f"it is {line.standing}"
    if line.entry.kind is EntryKind.CORRECTED or any(entry.kind is EntryKind.CORRECTED for entry in line.history):
        return "it was corrected"
    if line.entry.margin is not None and line.entry.margin < NEAR_RIVAL:
        return "something else was nearly as likely"
    return "" if line.entry.clip else "no sound was kept"


def _phrase(job_folder: Path, entry: Entry) -> Spoken | None:
    if not entry.words:
        return None
    try:
        samples, rate_hz = read_clip(job_folder, entry.clip)
    except KeepingError:
        return None
    if rate_hz != RATE_HZ:
        samples = np.rint(soxr.resample(samples.astype(np.float32), rate_hz, RATE_HZ)).astype(np.int16)
    return Spoken(samples, entry.words)
