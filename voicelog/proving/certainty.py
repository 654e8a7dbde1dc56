"""How sure a reading may be called: margins to the nearest other meaning, made into chances that hold.

    voicelog bench certainty DIR [--noise DIR] [--keep FILE] [--json]

A folder of recordings as ``proving.strings`` reads it, each a whole sentence of
the trade by somebody in a ``group``. Every recording is heard clean, in noise
and through a telephone's band, by the recogniser of a visit. The chance that
the meaning is right is a logistic curve over the margin,
fitted to every other group; the table of how true it is comes from the rest.

The operating point is the margin under which asking costs less than not asking:
a question takes ``ASKING_S``; a wrong reading that nobody notices costs a second
visit. How often it is not noticed is the listener's (``proving.listener``).
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from voicelog.hearing.audio import read_sound
from voicelog.hearing.recogniser import hear_all
from voicelog.keeping.storage import Progress, quiet, stepped
from voicelog.model import Heard, NotUnderstood, Noun
from voicelog.proving.accuracy import Condition, changed, noise_from
from voicelog.proving.strings import Recording, read_index
from voicelog.visit import Visit
from voicelog.visiting import open_recogniser, open_visit_or_demo

CONDITIONS = tuple(Condition(noise_dB=noise, band_Hz=band) for band in (None, 3400) for noise in (None, 20, 10))
EDGES = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 1.0)  # of the table's rows
ASKING_S = 5.0  # a question and its answer, by the read-back bench's clock
SECOND_VISIT_S = 3600.0  # to come back for one circuit: assumed
NOT_NOTICED = 0.03  # of wrong readings said back (Barenfanger et al. 2004: 3.5 % of telephoned results were wrong)


@dataclass(frozen=True)
class Certainty:
    """A logistic curve over the margin in nats, and one chance where the search found no other meaning."""

    at_zero: float  # log odds where another meaning lies as near
    rise: float  # log odds a nat
    alone: float  # log odds without another meaning

    def chance(self, margin: float | None) -> float:
        """0 to 1."""
        odds = self.alone if margin is None else self.at_zero + self.rise * max(margin, 0.0)
        return 1 / (1 + math.exp(-odds))


class Trial(Noun):
    """One recording under one condition that was understood."""

    group: str
    condition: str
    margin: float | None  # nats to the nearest other meaning, if the search found one
    right: bool
    rival_right: bool = False  # that other one was said


class Bin(Noun):
    """Readings called about equally sure."""

    least: float
    most: float
    readings: int
    stated: float  # mean chance called
    right: float  # share that was


class Found(Noun):
    """``voicelog bench certainty``."""

    trials: int
    understood: int
    fitted: tuple[float, float, float]  # log odds: at margin 0, more a nat, where there is no other meaning
    bins: tuple[Bin, ...]
    expected_error: float  # mean distance of stated and true, weighted by readings
    ask_within: float  # nats


def bench_certainty(
    folder: Path, noise: Path | None = None, keep: Path | None = None, progress: Progress = quiet
) -> Found:
    """``keep``: where the trials are written, a line each. Raises InputError and SoundError as ``read_index`` does."""
    visit, recordings = open_visit_or_demo(None), read_index(folder)
    work = [(recording, condition) for recording in recordings for condition in CONDITIONS]
    heard = list(stepped(_trials(work, visit, noise_from(noise)), len(work), progress, 1))
    trials = [trial for trial in heard if trial]
    if keep:
        keep.write_text("".join(f"{trial.model_dump_json()}\n" for trial in trials), encoding="utf-8")
    return found_in(trials, len(work))


def _trials(work: Sequence[tuple[Recording, Condition]], visit: Visit, noise: np.ndarray) -> Iterator[Trial | None]:
    recogniser = open_recogniser(visit)
    for number, (recording, condition) in enumerate(work):
        samples = changed(read_sound(recording.file), condition, noise, number)
        yield _trial(recording, condition, list(hear_all(recogniser, iter([samples]))), visit)


def _trial(recording: Recording, condition: Condition, heard: list[Heard], visit: Visit) -> Trial | None:
    """None where nothing, or more than one thing, was understood: nothing is kept then that could be wrong."""
    context = visit.reader.at_first
    understood = [visit.reader.understand(one, context) for one in heard]
    understood = [one for one in understood if not isinstance(one.meaning, NotUnderstood)]
    if len(understood) != 1:
        return None
    said = visit.reader.read(recording.text, context)
    return Trial(
        group=recording.group,
        condition=str(condition),
        margin=understood[0].margin,
        right=understood[0].meaning == said,
        rival_right=understood[0].rival == said,
    )


def found_in(trials: Sequence[Trial], tried: int) -> Found:
    """Fitted to every other group of the trials, tabled on the rest."""
    groups = sorted({trial.group for trial in trials})
    to_fit = [trial for trial in trials if trial.group in groups[::2]]
    to_score = [trial for trial in trials if trial.group in groups[1::2]] or to_fit
    certainty = fitted(to_fit)
    bins = tuple(_bins(certainty, to_score))
    wrong_by = sum(one.readings * abs(one.stated - one.right) for one in bins) / len(to_score)
    return Found(
        trials=tried,
        understood=len(trials),
        fitted=(round(certainty.at_zero, 2), round(certainty.rise, 2), round(certainty.alone, 2)),
        bins=bins,
        expected_error=round(wrong_by, 4),
        ask_within=round(ask_within(certainty), 2),
    )


def fitted(trials: Sequence[Trial], rounds: int = 30) -> Certainty:
    """The logistic curve by Newton's method, held in by a faint prior where all are right."""
    x = np.array([[0.0, 0.0, 1.0] if trial.margin is None else [1.0, trial.margin, 0.0] for trial in trials])
    right = np.array([trial.right for trial in trials], float)
    weights, prior = np.zeros(3), 1e-3 * np.eye(3)
    for _ in range(rounds):
        chance = 1 / (1 + np.exp(-x @ weights))
        slope = x.T @ (right - chance) - prior @ weights
        curve = (x * (chance * (1 - chance))[:, None]).T @ x + prior
        weights = weights + np.linalg.solve(curve, slope)
    return Certainty(*(float(weight) for weight in weights))


def _bins(certainty: Certainty, trials: Sequence[Trial]) -> Iterator[Bin]:
    stated = np.array([certainty.chance(trial.margin) for trial in trials])
    right = np.array([trial.right for trial in trials], float)
    for least, most in zip(EDGES, EDGES[1:], strict=False):
        inside = (stated >= least) & (stated < most if most < 1 else stated <= 1)
        if inside.any():
            yield Bin(
                least=least,
                most=most,
                readings=int(inside.sum()),
                stated=round(float(stated[inside].mean()), 3),
                right=round(float(right[inside].mean()), 3),
            )


def ask_within(certainty: Certainty) -> float:
    """The margin at which a question costs what leaving it out would: chance of wrong x not noticed x second visit."""
    chance_wrong = ASKING_S / (NOT_NOTICED * SECOND_VISIT_S)
    if certainty.rise <= 0:
        return 0.0
    margin = (math.log((1 - chance_wrong) / chance_wrong) - certainty.at_zero) / certainty.rise
    return max(margin, 0.0)
