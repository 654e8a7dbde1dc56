"""Sets of recordings, each as it is, in noise, and through a telephone's band: the share of strings heard wrong.

A set is a folder as ``proving.strings`` reads it. What may be heard depends on its texts:

    digits    only digits are said                         a loop over the words for digits; digits meant are compared
    trade     every text is a sentence of the trade        the demonstration's own graph, talk outside it let through;
                                                           what means the same counts as said
    words     anything else                                a loop over the words of all its texts

Noise is added at a ratio to the level of the speech alone (the frames within
25 dB of the loudest). It is cut from a folder of recordings, or made: pink
noise, which falls by 3 dB an octave as the noise of streets and plant roughly
does (common practice).
"""

from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from os import cpu_count
from pathlib import Path

import numpy as np
from rich.table import Table

from voicelog.hearing.audio import read_sound
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.graph import GraphCosts, loop
from voicelog.hearing.model_folder import BUNDLED, Prepared, open_folder, prepared
from voicelog.hearing.recogniser import Recogniser, hear_all
from voicelog.hearing.search import UNENDING
from voicelog.hearing.word_graph import FILLER
from voicelog.keeping.storage import Progress, quiet, stepped
from voicelog.model import NotUnderstood, Noun
from voicelog.proving.strings import (
    DIGITS,
    REPEATS,
    SAID_FOR_DIGITS,
    Recording,
    Row,
    StringScore,
    digits_loop,
    digits_meant,
    read_index,
    scored,
)
from voicelog.visit import Visit
from voicelog.visiting import open_visit_or_demo, word_graph

RATIOS_dB = (None, 20, 10)  # None: as recorded
BANDS_Hz = (None, 3400)
SPEECH_dB = 25.0
FRAME = RATE_HZ // 100
FULL_SCALE = 32767
BATCH = 64  # recordings a process takes at a time: it loads the model once for all of them

Samples = np.ndarray  # int16 at 16 kHz


class Condition(Noun):
    """What is done to each recording before it is heard."""

    noise_dB: int | None  # speech above noise; None: none is added
    band_Hz: int | None  # upper edge; None: as recorded

    def __str__(self) -> str:
        noise = "as recorded" if self.noise_dB is None else f"{self.noise_dB} dB above noise"
        return noise if self.band_Hz is None else f"{noise}, {self.band_Hz / 1000:g} kHz"


class Line(Noun):
    """One set under one condition."""

    set: str
    kind: str  # digits, trade or words
    noise_dB: int | None
    band_Hz: int | None
    strings: int
    strings_wrong: float
    words_wrong: float
    groups_wrong: dict[str, float]  # strings wrong, by speaker or voice
    real_time_factor: float


class Accuracy(Noun):
    """``voicelog bench accuracy``."""

    lines: tuple[Line, ...]


@dataclass(frozen=True)
class _Set:
    """A folder, what may be heard in it, and how answers are compared."""

    name: str
    kind: str
    recordings: tuple[Recording, ...]
    ear: Prepared
    visit: Visit  # whose sentences those of the trade are


def bench_accuracy(
    folders: list[Path],
    noise: Path | None = None,
    model: Path = BUNDLED,
    costs: GraphCosts | None = None,
    ratios_dB: tuple[int | None, ...] = RATIOS_dB,
    bands_Hz: tuple[int | None, ...] = BANDS_Hz,
    progress: Progress = quiet,
) -> Accuracy:
    """Score every set under every condition; ``noise`` is a folder of recordings, none: pink noise is made.

    Raises InputError, SoundError and ModelError as ``proving.strings.score`` does.
    """
    sets = [_opened(folder, model, costs) for folder in folders]
    sources = noise_from(noise)
    jobs = [(one, Condition(noise_dB=ratio, band_Hz=band)) for one in sets for band in bands_Hz for ratio in ratios_dB]
    return Accuracy(lines=tuple(stepped(_lines(jobs, sources), len(jobs), progress, 1)))


def _lines(jobs: list[tuple[_Set, Condition]], noise: Samples) -> Iterator[Line]:
    with ProcessPoolExecutor(cpu_count() or 1, get_context("spawn")) as pool:
        for one, condition in jobs:
            starts = range(0, len(one.recordings), BATCH)
            pieces = [one.recordings[start : start + BATCH] for start in starts]
            work = [
                (one.ear, one.kind, piece, condition, noise, start) for start, piece in zip(starts, pieces, strict=True)
            ]
            rows = [row for heard in pool.map(_hear, work) for row in heard]
            yield _line(one, condition, scored(_as_meant(one, row) for row in rows))


def _line(one: _Set, condition: Condition, score: StringScore) -> Line:
    return Line(
        set=one.name,
        kind=one.kind,
        noise_dB=condition.noise_dB,
        band_Hz=condition.band_Hz,
        strings=score.strings,
        strings_wrong=score.strings_wrong,
        words_wrong=score.words_wrong,
        groups_wrong={name: share.strings_wrong for name, share in score.groups.items()},
        real_time_factor=score.real_time_factor,
    )


def _as_meant(one: _Set, row: Row) -> Row:
    """Words of the trade that mean what was said are taken as said ("at" may be left out, "megohm" may be one)."""
    if one.kind != "trade" or not mean_the_same(row.said, row.heard, one.visit):
        return row
    return row.model_copy(update={"heard": row.said})


def mean_the_same(said: tuple[str, ...], heard: tuple[str, ...], visit: Visit) -> bool:
    """Whether both are the same words, or sentences of the trade with one meaning at the first board of ``visit``."""
    if said == heard:
        return True
    context = visit.reader.at_first
    meant, understood = (visit.reader.read(words, context) for words in (said, heard))
    return meant == understood and not isinstance(understood, NotUnderstood)


# ---------------------------------------------------------------- what may be heard


def _opened(folder: Path, model: Path, costs: GraphCosts | None) -> _Set:
    recordings = read_index(folder)
    texts = [recording.text for recording in recordings]
    visit = open_visit_or_demo(None)
    words, kind = {word for text in texts for word in text}, kind_of(texts, visit)
    if kind == "digits":
        graph = digits_loop(words | {*SAID_FOR_DIGITS})
    else:
        graph = word_graph(visit) if kind == "trade" else loop(words)
    ear = prepared(open_folder(model), graph, costs=costs, search=UNENDING)
    return _Set(folder.resolve().name, kind, recordings, ear, visit)


def kind_of(texts: Sequence[tuple[str, ...]], visit: Visit) -> str:
    """Of a set: "digits", "trade" (sentences that are more than digits) or "words"."""
    if {word for text in texts for word in text} <= {*DIGITS, *REPEATS}:
        return "digits"
    return "trade" if all(visit.reader.network.parses(text) for text in texts) else "words"


def _hear(work: tuple[Prepared, str, tuple[Recording, ...], Condition, Samples, int]) -> list[Row]:
    ear, kind, recordings, condition, noise, first = work
    recogniser = Recogniser(ear)
    return [
        _hear_one(recogniser, recording, kind, condition, noise, first + number)
        for number, recording in enumerate(recordings)
    ]


def _hear_one(
    recogniser: Recogniser, recording: Recording, kind: str, condition: Condition, noise: Samples, number: int
) -> Row:
    samples = changed(read_sound(recording.file), condition, noise, number)
    heard, spent_s = [], 0.0
    for part in hear_all(recogniser, iter([samples])):
        heard += [word for word in part.texts if word != FILLER]
        spent_s += part.decode_s
    meant = digits_meant if kind == "digits" else tuple
    return Row(
        file=recording.file.name,
        group=recording.group,
        said=meant(recording.text),
        heard=meant(heard),
        sound_s=len(samples) / RATE_HZ,
        spent_s=spent_s,
    )


# ---------------------------------------------------------------- what is done to the sound


def changed(samples: Samples, condition: Condition, noise: Samples, number: int = 0) -> Samples:
    """The recording under a condition; ``number`` says which stretch of the noise it meets."""
    sound = samples.astype(np.float64)
    if condition.noise_dB is not None:
        sound = _noisy(sound, noise, condition.noise_dB, number)
    if condition.band_Hz is not None:
        sound = _narrow(sound, condition.band_Hz)
    peak = np.abs(sound).max(initial=1.0)
    return np.round(sound * min(1.0, FULL_SCALE / peak)).astype(np.int16)


def _noisy(sound: np.ndarray, noise: Samples, ratio_dB: float, number: int) -> np.ndarray:
    start = np.random.default_rng(number).integers(max(1, len(noise) - len(sound)))
    piece = np.resize(noise[start:], len(sound)).astype(np.float64)
    power = np.mean(piece**2)
    wanted = speech_power(sound) * 10 ** (-ratio_dB / 10)
    return sound + piece * np.sqrt(wanted / power) if power > 0 else sound


def speech_power(sound: np.ndarray) -> float:
    """Mean power of the frames within 25 dB of the loudest."""
    frames = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    power = (frames**2).mean(axis=1)
    return float(power[power >= power.max() * 10 ** (-SPEECH_dB / 10)].mean()) if len(power) else 0.0


def _narrow(sound: np.ndarray, top_Hz: float) -> np.ndarray:
    """Nothing above ``top_Hz`` and nothing under 300 Hz: the band of the telephone (ITU-T G.712)."""
    spectrum = np.fft.rfft(sound)
    hertz = np.fft.rfftfreq(len(sound), 1 / RATE_HZ)
    spectrum[(hertz > top_Hz) | (hertz < 300)] = 0
    return np.fft.irfft(spectrum, len(sound))


def noise_from(folder: Path | None) -> Samples:
    """The recordings of a folder, one after the other; without one, a minute of pink noise."""
    return _recorded(folder) if folder else _pink(60 * RATE_HZ)


def _recorded(folder: Path) -> Samples:
    files = sorted(file for file in folder.iterdir() if file.suffix in (".flac", ".wav", ".opus", ".ogg"))
    return np.concatenate([read_sound(file) for file in files])


def _pink(length: int) -> Samples:
    spectrum = np.fft.rfft(np.random.default_rng(0).standard_normal(length))
    spectrum[1:] /= np.sqrt(np.arange(1, len(spectrum)))
    sound = np.fft.irfft(spectrum, length)
    return np.round(sound / np.abs(sound).max() * FULL_SCALE / 2).astype(np.int16)


def table(found: Accuracy) -> Table:
    """For people: one line a set and condition."""
    drawn = Table("set", "condition", "strings", "strings wrong", "words wrong", box=None)
    for line in found.lines:
        condition = Condition(noise_dB=line.noise_dB, band_Hz=line.band_Hz)
        wrong = (f"{line.strings_wrong:.1%}", f"{line.words_wrong:.1%}")
        drawn.add_row(f"{line.set} ({line.kind})", str(condition), str(line.strings), *wrong)
    return drawn
