"""Every time each word was said: the network's outputs around it, and what a pronunciation costs there."""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import filter_banks
from voicelog.hearing.network import SUBSAMPLING, AcousticModel, log_posteriors
from voicelog.hearing.phones import Pronunciation
from voicelog.learning.adaptation import Spoken
from voicelog.learning.alignment import OUTPUT_S, Pronounce, align
from voicelog.learning.takes import OTHER

CONTEXT = 2  # outputs of sound around a word


@dataclass(frozen=True, eq=False)
class Said:
    """One time a word was said: the network's outputs around it, (outputs, 40)."""

    log_posteriors: NDArray[np.float32]


def times_said(
    model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce, at_least: int = 1
) -> dict[str, list[Said]]:
    """Where each word lies in each phrase, cut out with its neighbours' edges.

    Words said too seldom are left out, and phrases that hold other words than they should.
    """
    found: dict[str, list[Said]] = defaultdict(list)
    for phrase in phrases:
        scores = log_posteriors(model, filter_banks(phrase.sound))
        if len(scores) * SUBSAMPLING < 30:
            continue
        alignment = align(scores, phrase.words, pronounce)
        if not np.isfinite(alignment.cost) or alignment.gap > OTHER:
            continue
        for word in alignment.words:
            first, last = round(word.start_s / OUTPUT_S), round(word.end_s / OUTPUT_S)
            found[word.text].append(Said(scores[max(0, first - CONTEXT) : last + CONTEXT]))
    return {word: times for word, times in found.items() if len(times) >= at_least}


def costs(way: Pronunciation, times: list[Said]) -> NDArray[np.float64]:
    """Nats of one pronunciation, each time."""
    return np.array([align(said.log_posteriors, ("",), lambda _: (way,)).cost for said in times])
