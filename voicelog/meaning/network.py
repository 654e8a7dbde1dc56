"""A phrase as a network of words: one structure that is heard, read and sampled.

The ear compiles it into a decoding graph, the reader walks it to find what
words mean, and the cheat sheet and the training phrases are drawn from it, so
ear and mind cannot disagree.
"""

import math
import random
from collections import defaultdict
from dataclasses import dataclass, field
from functools import cached_property

from voicelog.meaning.phrase import Costly, OneOf, Phrase, Repaired, Repeat, Say, Sequence, Tagged


@dataclass(frozen=True)
class Mark:
    """The beginning or the end of a tagged part."""

    name: str
    value: str | None
    opens: bool


@dataclass(frozen=True)
class Arc:
    """From one state to another, saying a word, setting a mark, or neither."""

    source: int
    target: int
    word: str | None = None
    cost: float = 0.0  # nats
    mark: Mark | None = None


@dataclass(frozen=True)
class Filled:
    """A tagged part as found in an utterance: which words stand in it."""

    name: str
    value: str | None
    words: tuple[str, ...]
    start: int  # index of its first word


@dataclass(frozen=True)
class Parse:
    """One way to read an utterance, cheapest first; parts in the order they begin."""

    cost: float
    parts: tuple[Filled, ...]

    def first(self, name: str) -> Filled | None:
        return next((part for part in self.parts if part.name == name), None)

    def all(self, name: str) -> tuple[Filled, ...]:
        return tuple(part for part in self.parts if part.name == name)


@dataclass(frozen=True)
class Network:
    """Arcs over states 0 (start) to ``states - 1``; ``final`` maps an end state to its cost in nats."""

    arcs: tuple[Arc, ...]
    final: dict[int, float]
    states: int
    _most: int = field(default=64, repr=False)  # distinct readings of one prefix that are followed

    @cached_property
    def leaving(self) -> dict[int, tuple[Arc, ...]]:
        found: dict[int, list[Arc]] = defaultdict(list)
        for arc in self.arcs:
            found[arc.source].append(arc)
        return {state: tuple(arcs) for state, arcs in found.items()}

    @cached_property
    def words(self) -> frozenset[str]:
        return frozenset(arc.word for arc in self.arcs if arc.word is not None)

    def parses(self, said: tuple[str, ...]) -> list[Parse]:
        """Every distinct way to read the words from start to end; none when they are not in the grammar."""
        beam = self._closed([(0.0, 0, ())], 0)
        for index, word in enumerate(said):
            stepped = [
                (cost + arc.cost, arc.target, trail)
                for cost, state, trail in beam
                for arc in self.leaving.get(state, ())
                if arc.word == word
            ]
            beam = self._closed(stepped, index + 1)
            if not beam:
                return []
        ended = [(cost + self.final[state], trail) for cost, state, trail in beam if state in self.final]
        return _distinct_parses(ended, said)

    def followers(self, said: tuple[str, ...]) -> frozenset[str]:
        """The words that could come next; empty when the words so far are not in the grammar."""
        beam = self._closed([(0.0, 0, ())], 0)
        for word in said:
            reached = {arc.target for _, state, _ in beam for arc in self.leaving.get(state, ()) if arc.word == word}
            beam = self._closed([(0.0, state, ()) for state in reached], 0)
        return frozenset(
            arc.word for _, state, _ in beam for arc in self.leaving.get(state, ()) if arc.word is not None
        )

    def _closed(self, beam: list, index: int) -> list:
        """The beam together with all it reaches without a word, best trail of each kind kept."""
        best: dict[tuple, float] = {}
        stack = list(beam)
        while stack:
            cost, state, trail = stack.pop()
            key = (state, trail)
            if best.get(key, math.inf) <= cost:
                continue
            best[key] = cost
            for arc in self.leaving.get(state, ()):
                if arc.word is None:
                    longer = trail if arc.mark is None else (*trail, (arc.mark, index))
                    stack.append((cost + arc.cost, arc.target, longer))
        ranked = sorted(((cost, state, trail) for (state, trail), cost in best.items()), key=lambda item: item[0])
        return _few_of_each_state(ranked, self._most)

    def sample(self, chance: random.Random) -> tuple[str, ...]:
        """One sentence drawn at random; cheap ways come more often."""
        said, state = [], 0
        while True:
            arcs = self.leaving.get(state, ())
            if state in self.final and (not arcs or chance.random() < 0.5):
                return tuple(said)
            arc = chance.choices(arcs, weights=[math.exp(-arc.cost) for arc in arcs])[0]
            if arc.word is not None:
                said.append(arc.word)
            state = arc.target


def _few_of_each_state(ranked: list, most: int) -> list:
    kept, count = [], defaultdict(int)
    for item in ranked:
        if count[item[1]] < most:
            count[item[1]] += 1
            kept.append(item)
    return kept


def _distinct_parses(ended: list, said: tuple[str, ...]) -> list[Parse]:
    found: dict[tuple[Filled, ...], float] = {}
    for cost, trail in sorted(ended, key=lambda item: item[0]):
        found.setdefault(_filled(trail, said), cost)
    return [Parse(cost, parts) for parts, cost in found.items()]


def _filled(trail: tuple, said: tuple[str, ...]) -> tuple[Filled, ...]:
    opened, parts = [], []
    for mark, index in trail:
        if mark.opens:
            opened.append(index)
        else:
            start = opened.pop()
            parts.append(Filled(mark.name, mark.value, said[start:index], start))
    return tuple(sorted(parts, key=lambda part: part.start))


def compile_phrase(phrase: Phrase) -> Network:
    """The network of a phrase."""
    builder = _Builder()
    end = builder.add(phrase, 0)
    return Network(tuple(builder.arcs), {end: 0.0}, builder.states)


class _Builder:
    """Lays a phrase down arc by arc; ``add`` returns the state in which the phrase ends."""

    def __init__(self) -> None:
        self.arcs: list[Arc] = []
        self.states = 1

    def _state(self) -> int:
        self.states += 1
        return self.states - 1

    def _arc(self, source: int, target: int, **rest) -> int:
        self.arcs.append(Arc(source, target, **rest))
        return target

    def add(self, phrase: Phrase, start: int) -> int:
        match phrase:
            case Say(word):
                return self._arc(start, self._state(), word=word)
            case Sequence(parts):
                for part in parts:
                    start = self.add(part, start)
                return start
            case OneOf(ways):
                return self._one_of(ways, start)
            case Repeat(part):
                return self._repeat(part, start)
            case Repaired(part, repair):
                return self._repaired(part, repair, start)
            case Tagged(part, name, value):
                inside = self._arc(start, self._state(), mark=Mark(name, value, True))
                return self._arc(self.add(part, inside), self._state(), mark=Mark(name, value, False))
            case Costly(part, cost):
                return self.add(part, self._arc(start, self._state(), cost=cost))
        raise TypeError(f"not a phrase: {phrase!r}")

    def _one_of(self, ways: tuple[Phrase, ...], start: int) -> int:
        end = self._state()
        for way in ways:
            self._arc(self.add(way, self._arc(start, self._state())), end)
        return end

    def _repaired(self, part: Phrase, repair: Phrase, start: int) -> int:
        again = self._arc(start, self._state())
        end = self.add(part, again)
        self._arc(self.add(repair, self._arc(end, self._state())), again)
        return self._arc(end, self._state())

    def _repeat(self, part: Phrase, start: int) -> int:
        again = self._arc(start, self._state())
        end = self.add(part, again)
        self._arc(end, again)
        return self._arc(end, self._state())
