"""Where known words lie in a sound, in which pronunciation, and how much worse they fit than anything else would.

The best path through the words asked for (Viterbi over CTC's states, every
pronunciation a branch) is compared with the best path through any phones at
all: the gap between the two, for each phone, tells words that were said from
words that were not.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.network import SUBSAMPLING
from voicelog.hearing.phones import BLANK, PHONE_ID, Pronunciation

OUTPUT_S = SUBSAMPLING * 0.01  # 0.03 s
NEVER = -1e30
Pronounce = Callable[[str], tuple[Pronunciation, ...]]


@dataclass(frozen=True)
class AlignedWord:
    """One word in the sound."""

    text: str
    pronunciation: Pronunciation  # the one that fits best
    start_s: float
    end_s: float
    gap: float  # nats a phone by which the best free path is better within this word; 0 is a perfect fit


@dataclass(frozen=True)
class Alignment:
    """Known words laid over a sound."""

    words: tuple[AlignedWord, ...]
    cost: float  # nats of the whole path; infinite where the sound is too short for the words
    free_cost: float  # nats of the best path through any phones

    @property
    def labels(self) -> tuple[int, ...]:
        """The network's outputs for the pronunciations found, one after the other."""
        return tuple(PHONE_ID[phone] for word in self.words for phone in word.pronunciation)

    @property
    def gap(self) -> float:
        """Nats a phone by which the words fit worse than anything else would."""
        return (self.cost - self.free_cost) / max(1, len(self.labels))


@dataclass
class _Lattice:
    """States of all pronunciations of all words in a row: what each hears, and which states may come before."""

    heard: list[int] = field(default_factory=list)
    before: list[list[int]] = field(default_factory=list)
    owner: list[tuple[int, int]] = field(default_factory=list)  # (word, pronunciation); (-1, -1) for blanks between

    def add(self, heard: int, before: list[int], owner: tuple[int, int]) -> int:
        """A state that follows itself and ``before``; a phone never follows the same phone without a blank."""
        number = len(self.heard)
        follows = [state for state in before if heard == BLANK or self.heard[state] != heard]
        self.heard.append(heard)
        self.before.append([number, *follows])
        self.owner.append(owner)
        return number

    def add_word(self, word: int, ways: tuple[Pronunciation, ...], before: list[int]) -> list[int]:
        """The last phones of each way."""
        ends = []
        for way, phones in enumerate(ways):
            entries = before
            for place, phone in enumerate(phones):
                state = self.add(PHONE_ID[phone], entries, (word, way))
                entries = [state]
                if place + 1 < len(phones):
                    entries.append(self.add(BLANK, [state], (word, way)))
            ends.append(entries[0])
        return ends


def align(log_posteriors: NDArray[np.float32], words: tuple[str, ...], pronounce: Pronounce) -> Alignment:
    """Lay ``words`` over (outputs, 40) log posteriors.

    ``pronounce`` gives each word's pronunciations and may raise ModelError.
    """
    ways = [pronounce(word) for word in words]
    lattice = _Lattice()
    exits = [lattice.add(BLANK, [], (-1, -1))]
    starts = 1
    for number, word_ways in enumerate(ways):
        ends = lattice.add_word(number, word_ways, exits)
        if number == 0:
            starts = len(lattice.heard)
        exits = [*ends, lattice.add(BLANK, ends, (-1, -1))]
    path, cost = _best_path(log_posteriors, lattice, _first_states(lattice, starts), exits)
    free = -log_posteriors.max(axis=1) if len(log_posteriors) else np.zeros(0)
    if path is None:
        found = [AlignedWord(word, way[0], 0.0, 0.0, np.inf) for word, way in zip(words, ways, strict=True)]
        return Alignment(tuple(found), np.inf, float(free.sum()))
    return Alignment(_words(path, lattice, words, ways, log_posteriors), cost, float(free.sum()))


def _first_states(lattice: _Lattice, first_word_end: int) -> list[int]:
    """The blank before everything, and the first phone of each way of the first word."""
    return [0, *(state for state in range(1, first_word_end) if 0 in lattice.before[state])]


def _best_path(
    log_posteriors: NDArray[np.float32], lattice: _Lattice, firsts: list[int], exits: list[int]
) -> tuple[NDArray[np.int64] | None, float]:
    """The state at each output, and the path's cost; None where no path ends."""
    time, states = len(log_posteriors), len(lattice.heard)
    width = max(map(len, lattice.before))
    before = np.full((states, width), states)  # one more state that nothing reaches
    for state, found in enumerate(lattice.before):
        before[state, : len(found)] = found
    scores = log_posteriors[:, lattice.heard]
    reached = np.full(states + 1, NEVER)
    came_from = np.zeros((time, states), np.int64)
    for t in range(time):
        if t == 0:
            reached[firsts] = scores[0, firsts]
            continue
        ways = reached[before]
        best = ways.argmax(axis=1)
        came_from[t] = before[np.arange(states), best]
        reached[:-1] = ways[np.arange(states), best] + scores[t]
    last = max(exits, key=lambda state: reached[state])
    if time == 0 or reached[last] < NEVER / 2:
        return None, np.inf
    path = np.zeros(time, np.int64)
    path[-1] = last
    for t in range(time - 1, 0, -1):
        path[t - 1] = came_from[t, path[t]]
    return path, -float(reached[last])


def _words(
    path: NDArray[np.int64],
    lattice: _Lattice,
    words: tuple[str, ...],
    ways: list[tuple[Pronunciation, ...]],
    log_posteriors: NDArray[np.float32],
) -> tuple[AlignedWord, ...]:
    heard = np.array(lattice.heard)[path]
    loss = log_posteriors.max(axis=1) - log_posteriors[np.arange(len(path)), heard]
    owners = np.array(lattice.owner)[path]
    found = []
    for number, word in enumerate(words):
        at = np.flatnonzero(owners[:, 0] == number)
        phones = ways[number][owners[at[0], 1]]
        start, end = at[0] * OUTPUT_S, (at[-1] + 1) * OUTPUT_S
        found.append(AlignedWord(word, phones, float(start), float(end), float(loss[at].sum() / len(phones))))
    return tuple(found)
