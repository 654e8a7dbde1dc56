"""What may be said: a graph of words, and the same sentences with common beginnings and ends shared.

OpenFst's Python bindings would do the sharing, but they and the recogniser's
own OpenFst cannot live in one process: their registries carry the same
process-wide names and the second to load waits for ever. The three classic
steps (empty arcs away, subset construction, Moore's partition) are short.
"""

import heapq
import math
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

FILLER = "[unk]"  # one phone of talk that is not in the grammar; Vosk's own name for it


class WordArc(NamedTuple):
    """From one state to another, saying a word, or nothing when ``word`` is None."""

    source: int
    target: int
    word: str | None = None
    cost: float = 0.0  # nats, not negative


@dataclass(frozen=True)
class WordGraph:
    """Arcs over states 0 (start) to ``states - 1``.

    ``finals`` maps a state in which a sentence may end to its cost in nats. A
    sentence that is whole but could go on may cost a little here: the
    recogniser then waits longer before it takes the sentence as ended.
    """

    arcs: tuple[WordArc, ...]
    finals: dict[int, float]
    states: int

    @property
    def words(self) -> tuple[str, ...]:
        """Every distinct word, in alphabetical order."""
        return tuple(sorted({arc.word for arc in self.arcs if arc.word is not None}))


def loop(words: Iterable[str]) -> WordGraph:
    """Any of the words, any number of times, in any order."""
    return WordGraph(tuple(WordArc(0, 0, word) for word in sorted(set(words))), {0: 0.0}, 1)


def from_phrases(phrases: Iterable[str]) -> WordGraph:
    """Exactly one of the phrases."""
    arcs, finals, states = [], {}, 1
    for phrase in phrases:
        state = 0
        for word in phrase.split():
            arcs.append(WordArc(state, states, word))
            state, states = states, states + 1
        finals[state] = 0.0
    return WordGraph(tuple(arcs), finals, states)


def or_nothing(graph: WordGraph) -> WordGraph:
    """The same sentences, or silence: a search that must end in words would make them out of noise."""
    arcs = [WordArc(arc.source + 1, arc.target + 1, arc.word, arc.cost) for arc in graph.arcs]
    finals = {state + 1: cost for state, cost in graph.finals.items()} | {0: 0.0}
    return WordGraph((WordArc(0, 1), *arcs), finals, graph.states + 1)


def with_filler(graph: WordGraph) -> WordGraph:
    """The same sentences with any talk before and after them, and talk alone."""
    begin, before, after = 0, graph.states + 1, graph.states + 2
    arcs = [WordArc(arc.source + 1, arc.target + 1, arc.word, arc.cost) for arc in graph.arcs]
    arcs += [WordArc(begin, 1), WordArc(begin, before, FILLER), WordArc(before, before, FILLER), WordArc(before, 1)]
    arcs += [WordArc(state + 1, after, FILLER, cost) for state, cost in graph.finals.items()]
    arcs.append(WordArc(after, after, FILLER))
    finals = {state + 1: cost for state, cost in graph.finals.items()} | {before: 0.0, after: 0.0}
    return WordGraph(tuple(arcs), finals, graph.states + 3)


# ---------------------------------------------------------------- sharing

Label = tuple[str, float]  # a cost travels as part of its word, so that sharing always comes to an end
Leaving = dict[Label, int]


def shared(graph: WordGraph) -> WordGraph:
    """The same sentences at the same costs: no empty arcs, no label twice from one state, no two states alike."""
    return _without_twins(*_deterministic(_Closures(graph)))


class _Closures:
    """What leaves a state and all that it reaches over empty arcs."""

    def __init__(self, graph: WordGraph) -> None:
        self._finals = graph.finals
        self._spoken: dict[int, list[WordArc]] = defaultdict(list)
        self._empty: dict[int, list[WordArc]] = defaultdict(list)
        for arc in graph.arcs:
            (self._empty if arc.word is None else self._spoken)[arc.source].append(arc)
        self._known: dict[int, tuple[list[tuple[Label, int]], float]] = {}

    def leaving(self, state: int) -> tuple[list[tuple[Label, int]], float]:
        """Word arcs as (label, target), and the cost of ending here."""
        if state not in self._known:
            self._known[state] = self._leaving(state)
        return self._known[state]

    def _leaving(self, state: int) -> tuple[list[tuple[Label, int]], float]:
        cheapest: dict[tuple[str, int], float] = {}
        final = math.inf
        for reached, cost in self._reached(state).items():
            final = min(final, cost + self._finals.get(reached, math.inf))
            for _, target, word, more in self._spoken.get(reached, ()):
                total = cost + more
                if total < cheapest.get((word, target), math.inf):
                    cheapest[word, target] = total
        return [((word, round(cost, 4)), target) for (word, target), cost in cheapest.items()], round(final, 4)

    def _reached(self, state: int) -> dict[int, float]:
        """States reached without a word, with the least cost to each."""
        done: dict[int, float] = {}
        waiting = [(0.0, state)]
        while waiting:
            cost, state = heapq.heappop(waiting)
            if state not in done:
                done[state] = cost
                for _, target, _, more in self._empty.get(state, ()):
                    heapq.heappush(waiting, (cost + more, target))
        return done


def _deterministic(closures: _Closures) -> tuple[list[Leaving], list[float]]:
    """The subset construction: for each set of states its labels with the sets they lead to, and its final cost."""
    number = {(start := frozenset((0,))): 0}
    waiting, leaving, finals = [start], [], []
    for states in waiting:  # grows while it is read
        targets: dict[Label, set[int]] = defaultdict(set)
        final = math.inf
        for state in states:
            arcs, cost = closures.leaving(state)
            final = min(final, cost)
            for label, target in arcs:
                targets[label].add(target)
        finals.append(final)
        leaving.append({})
        for label, reached in targets.items():
            key = frozenset(reached)
            if key not in number:
                number[key] = len(number)
                waiting.append(key)
            leaving[-1][label] = number[key]
    return leaving, finals


def _without_twins(leaving: list[Leaving], finals: list[float]) -> WordGraph:
    """States from which the same sentences follow become one (Moore's partition refinement)."""
    kind = _numbered(finals)
    while True:
        finer = _numbered(
            (own, frozenset((label, kind[target]) for label, target in arcs.items()))
            for own, arcs in zip(kind, leaving, strict=True)
        )
        if max(finer) == max(kind):
            break
        kind = finer
    arcs = {WordArc(kind[state], kind[to], *label) for state, arcs in enumerate(leaving) for label, to in arcs.items()}
    ends = {kind[state]: cost for state, cost in enumerate(finals) if math.isfinite(cost)}
    return WordGraph(tuple(sorted(arcs)), ends, max(kind) + 1)


def _numbered(things: Iterable) -> list[int]:
    """The same number for the same thing, from 0 in order of appearance, so that the start stays 0."""
    number: dict = {}
    return [number.setdefault(thing, len(number)) for thing in things]
