"""How this person says words: pronunciations that win, again and again, over those in the dictionary.

For each word said often enough, the dictionary's ways and their common
variants in English accents are laid over each time it was said; one that fits
better nearly every time, by a clear margin, joins the person's own lexicon.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import filter_banks
from voicelog.hearing.network import SUBSAMPLING, AcousticModel, log_posteriors
from voicelog.hearing.phones import Pronunciation
from voicelog.learning.adaptation import Spoken
from voicelog.learning.alignment import OUTPUT_S, Pronounce, align

# One phone for another, or none, in one place of a word. Common knowledge of English accents: fronted or stopped
# "th", dropped "h", flapped or voiced "t", "v" and "w" exchanged, vowels that merge.
CHANGES = (
    ("TH", "F"), ("TH", "T"), ("DH", "D"), ("DH", "V"), ("HH", ""), ("T", "D"), ("V", "W"), ("W", "V"), ("Z", "S"),
    ("NG", "N"), ("IH", "IY"), ("IY", "IH"), ("AE", "EH"), ("AH", "AA"), ("AH", "UH"), ("AO", "AA"), ("AA", "AO"),
    ("OW", "AO"), ("ER", "AH"), ("EY", "AY"), ("R", ""), ("L", "W"), ("Y", ""),
)  # fmt: skip
TIMES = 3  # a word must have been said
SHARE = 0.75  # of the times the new way must win
MARGIN = 1.0  # nats by which it must fit better on average
MOST_WAYS = 24  # variants tried for a word
CONTEXT = 2  # outputs of sound around a word


@dataclass(frozen=True, eq=False)
class _Said:
    """One time a word was said: the network's outputs around it."""

    log_posteriors: NDArray[np.float32]


def own_words(
    model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce
) -> dict[str, tuple[Pronunciation, ...]]:
    """Words and the ways to add to what ``pronounce`` gives; empty when the dictionary serves."""
    found = {}
    for word, times in _occurrences(model, phrases, pronounce).items():
        known = pronounce(word)
        costs = {way: _costs(way, times) for way in (*known, *variants(known))}
        usual = np.min([costs[way] for way in known], axis=0)
        winners = [way for way in costs if way not in known and _wins(costs[way], usual)]
        if len(times) >= TIMES and winners:
            found[word] = (min(winners, key=lambda way: float(costs[way].sum())),)
    return found


def variants(known: tuple[Pronunciation, ...]) -> tuple[Pronunciation, ...]:
    """Each way with one phone changed."""
    ways = []
    for way in known:
        for place, phone in enumerate(way):
            for old, new in CHANGES:
                if phone == old:
                    ways.append((*way[:place], *((new,) if new else ()), *way[place + 1 :]))
    return tuple(dict.fromkeys(way for way in ways if way and way not in known))[:MOST_WAYS]


def _wins(costs: NDArray[np.float64], usual: NDArray[np.float64]) -> bool:
    gain = usual - costs
    return bool((gain > 0).mean() >= SHARE and gain.mean() >= MARGIN)


def _costs(way: Pronunciation, times: list[_Said]) -> NDArray[np.float64]:
    return np.array([align(said.log_posteriors, ("",), lambda _: (way,)).cost for said in times])


def _occurrences(model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce) -> dict[str, list[_Said]]:
    """Where each word lies in each phrase, cut out with its neighbours' edges; words said too seldom left out."""
    found: dict[str, list[_Said]] = defaultdict(list)
    for phrase in phrases:
        scores = log_posteriors(model, filter_banks(phrase.sound))
        if len(scores) * SUBSAMPLING < 30:
            continue
        alignment = align(scores, phrase.words, pronounce)
        if not np.isfinite(alignment.cost):
            continue
        for word in alignment.words:
            first, last = round(word.start_s / OUTPUT_S), round(word.end_s / OUTPUT_S)
            found[word.text].append(_Said(scores[max(0, first - CONTEXT) : last + CONTEXT]))
    return {word: times for word, times in found.items() if len(times) >= TIMES}
