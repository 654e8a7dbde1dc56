"""Speech to learn from: folders of joined Opus recordings with an index, as one long signal and its utterances.

A folder holds ``index.jsonl``, one utterance a line (``start`` and ``samples``
in the joined signal, ``text``, ``corpus``, ``accent``, perhaps ``speaker``,
``voices``, ``dialect`` and ``group``), and recordings that are to be joined in
the order of their names: ``*.opus``, or for a group ``GROUP-*.opus`` or
``GROUP.opus``. All sound is 16 kHz mono.
"""

import json
from collections.abc import Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import soundfile
from numpy.typing import NDArray

from voicelog.errors import SoundError
from voicelog.training.splits import Splits

RATE_HZ = 16_000
ACTIVE = 0.05  # of the loudest 10 ms: what counts as speech when the ends are looked for
STEP = RATE_HZ // 100  # 160 samples

Sound = NDArray[np.int16]


@dataclass(frozen=True)
class Utterance:
    """Where one utterance lies in the joined signal, and what is said."""

    corpus: str
    start: int  # samples
    samples: int
    text: str
    british: bool
    speaker: str  # "" where the index names none
    lead: int = 0  # samples of silence before the speech, at most half a second counted
    trail: int = 0  # and after it


@dataclass(frozen=True)
class Corpus:
    """One signal and its utterances: ``kept`` for training, ``held_out`` for scoring."""

    sound: Sound
    kept: tuple[Utterance, ...]
    held_out: tuple[Utterance, ...]

    @property
    def hours(self) -> dict[str, float]:
        """Hours to train on, by corpus."""
        hours: dict[str, float] = {}
        for utterance in self.kept:
            hours[utterance.corpus] = hours.get(utterance.corpus, 0.0) + utterance.samples / RATE_HZ / 3600
        return hours


def read_sound(file: Path) -> Sound:
    """The samples of one recording. Raises SoundError unless it is 16 kHz mono."""
    try:
        sound, rate = soundfile.read(file, dtype="int16")
    except soundfile.LibsndfileError as error:
        raise SoundError(f"the recording cannot be read: {error}.", where=str(file)) from None
    if rate != RATE_HZ or sound.ndim != 1:
        raise SoundError("training sound must be 16 kHz mono.", where=str(file))
    return sound


def read_rows(folder: Path) -> list[dict]:
    return [json.loads(line) for line in (folder / "index.jsonl").read_text().splitlines()]


def group_files(folder: Path, group: str) -> list[Path]:
    """The recordings of a group, in order; the group "" is all of them."""
    if not group:
        return sorted(folder.glob("*.opus"))
    return sorted(folder.glob(f"{group}-*.opus")) or [folder / f"{group}.opus"]


def read_corpora(folders: Iterable[Path], splits: Splits, executor: Executor) -> Corpus:
    """Everything in ``folders`` (several processes decode) as one signal, held-out speech apart."""
    pieces, kept, held_out, length = [], [], [], 0
    for folder in folders:
        counts: dict[str, int] = {}
        offsets: dict[str, int] = {}
        rows = read_rows(folder)
        for group in dict.fromkeys(row.get("group", "") for row in rows):
            offsets[group] = length
            for sound in executor.map(read_sound, group_files(folder, group)):
                pieces.append(sound)
                length += len(sound)
        for row in rows:
            number = counts[row["corpus"]] = counts.get(row["corpus"], -1) + 1
            side = held_out if is_held_out(row, number, splits) else kept
            side.append(_utterance(row, offsets[row.get("group", "")], number, splits))
    signal = np.concatenate(pieces)
    return Corpus(signal, tuple(with_silences(u, signal) for u in kept), tuple(held_out))


def is_held_out(row: dict, number: int, splits: Splits) -> bool:
    """Whether utterance ``number`` of its corpus is for scoring only."""
    if "voices" in row:
        return splits.keeps_out(row["voices"], row.get("dialect", ""))
    return splits.person_of(row["corpus"], number) is not None


def _utterance(row: dict, offset: int, number: int, splits: Splits) -> Utterance:
    person = splits.person_of(row["corpus"], number)
    speaker = row.get("speaker", person.speaker if person else "")
    start = offset + row["start"]
    return Utterance(row["corpus"], start, row["samples"], row["text"], row["accent"] == "gb", str(speaker or ""))


def with_silences(utterance: Utterance, signal: Sound) -> Utterance:
    """The utterance with the silence at its ends measured."""
    level = levels(signal[utterance.start : utterance.start + utterance.samples], STEP)
    loud = np.flatnonzero(level > ACTIVE * level.max())
    lead, trail = loud[0] * STEP, utterance.samples - (loud[-1] + 1) * STEP
    most = RATE_HZ // 2
    return replace(utterance, lead=int(min(lead, most)), trail=int(min(trail, most)))


def levels(sound: Sound, step: int) -> NDArray[np.float32]:
    """Root mean square of each ``step`` samples, with a floor of 1 under it."""
    steps = len(sound) // step
    return np.sqrt((sound[: steps * step].astype(np.float32).reshape(steps, step) ** 2).mean(axis=1) + 1.0)


def read_noise(folder: Path, splits: Splits) -> tuple[Sound, Sound]:
    """The noise to train with and the noise held out: of each period, its last part."""
    signal = np.concatenate([read_sound(file) for file in sorted(folder.glob("*.opus"))])
    period, held_out = splits.noise_period_s * RATE_HZ, splits.noise_held_out_s * RATE_HZ
    out = np.arange(len(signal)) % period >= period - held_out
    return signal[~out], signal[out]
