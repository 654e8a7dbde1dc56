"""Speech from a job already done: readings that their speaker affirmed, with their sound.

Left out: anything corrected, withdrawn or never answered, whatever had a near
rival, and clips whose words do not fit their sound. A reading that merely
went unchallenged is not affirmed.
"""

from dataclasses import dataclass
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


def affirmed_phrases(job_folder: Path, speaker: str = "") -> Gathered:
    """Affirmed utterances of a job, in the order in which they were said.

    ``speaker`` keeps those of one person where the journal says who spoke.
    Raises KeepingError when the journal cannot be read.
    """
    left_out: dict[str, int] = {}
    phrases = []
    for line in fold(read_entries(job_folder)).lines:
        reason = _doubt(line, speaker)
        phrase = None if reason else _phrase(job_folder, line.entry)
        if phrase:
            phrases.append(phrase)
        else:
            reason = reason or "its sound is gone"
            left_out[reason] = left_out.get(reason, 0) + 1
    return Gathered(tuple(phrases), left_out)


def _doubt(line: Line, speaker: str) -> str:
    """Why a line is not learnt from; empty when it is."""
    if line.standing is not Standing.AFFIRMED:
        return f"it is {line.standing}"
    if line.entry.kind is EntryKind.CORRECTED or any(entry.kind is EntryKind.CORRECTED for entry in line.history):
        return "it was corrected"
    if line.entry.margin is not None and line.entry.margin < NEAR_RIVAL:
        return "something else was nearly as likely"
    if speaker and line.entry.speaker and line.entry.speaker != speaker:
        return "another person said it"
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
