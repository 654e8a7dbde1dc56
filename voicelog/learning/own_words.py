"""How this person says words: pronunciations that win, again and again, over those in the dictionary.

For each word said often enough, the dictionary's ways and their common
variants in English accents are laid over each time it was said; one that fits
better nearly every time, by a clear margin, joins the person's own lexicon.
"""

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.network import AcousticModel
from voicelog.hearing.phones import Pronunciation
from voicelog.learning.adaptation import Spoken
from voicelog.learning.alignment import Pronounce
from voicelog.learning.said import costs, times_said

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


OwnWords = dict[str, tuple[Pronunciation, ...]]


def with_own(pronounce: Pronounce, own: OwnWords) -> Pronounce:
    """The person's own ways first, the dictionary's behind them."""
    return lambda word: (*own.get(word, ()), *pronounce(word))


def own_words(model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce) -> OwnWords:
    """Words and the ways to add to what ``pronounce`` gives; empty when the dictionary serves."""
    found = {}
    for word, times in times_said(model, phrases, pronounce, TIMES).items():
        known = pronounce(word)
        cost = {way: costs(way, times) for way in (*known, *variants(known))}
        usual = np.min([cost[way] for way in known], axis=0)
        winners = [way for way in cost if way not in known and _wins(cost[way], usual)]
        if winners:
            found[word] = (min(winners, key=lambda way: float(cost[way].sum())),)
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
