"""From a grammar of words to the graph that the recogniser searches.

Three steps, each a function over plain values:

1. ``word_graph.shared``: no empty arcs, common beginnings and ends shared.
2. ``spelled``: every word becomes the phones of its pronunciations, laid out
   as a tree from each state, so that words that begin alike are searched
   once. Silence may lie between words.
3. ``expanded``: every phone becomes the states and transition ids of
   ``transitions``, and the whole an OpenFst constant transducer, without empty
   arcs save where copying what follows would cost more.

All costs are in nats. Sequence training makes the network insert phones
unless the graph charges for them, hence ``GraphCosts``.
"""

import math
import struct
from collections.abc import Callable
from dataclasses import astuple, dataclass

import numpy as np

from voicelog.hearing.phones import BLANK, OUTPUTS, PHONE_ID, PHONES, Pronunciation
from voicelog.hearing.transitions import GRAPH_PHONES, SILENCE, TransitionIds
from voicelog.hearing.word_graph import FILLER, WordArc, WordGraph, from_phrases, loop, or_nothing, shared, with_filler

__all__ = [
    "FILLER",
    "DecodingGraph",
    "GraphCosts",
    "WordArc",
    "WordGraph",
    "decoding_graph",
    "from_phrases",
    "loop",
    "with_filler",
]

_IDS = TransitionIds()


@dataclass(frozen=True)
class GraphCosts:
    """What the graph charges, in nats; chosen on recordings that are not in audio_samples (model/README.md)."""

    word: float = 2.0  # for each word
    phone: float = 0.5  # for each phone of a word
    silence: float = 0.3  # for each pause
    filler: float = 2.5  # for each phone of talk outside the grammar, in place of the two first


# ---------------------------------------------------------------- phones


@dataclass(frozen=True)
class PhoneGraph:
    """Arcs as equally long columns over states 0 (start) to ``len(finals) - 1``."""

    source: np.ndarray  # int
    phone: np.ndarray  # number in ``GRAPH_PHONES``, from 1
    word: np.ndarray  # number of the word that is complete here, 0 for none
    cost: np.ndarray  # nats
    target: np.ndarray
    finals: np.ndarray  # cost of ending in each state, infinite where a sentence cannot end


def spelled(
    graph: WordGraph,
    words: tuple[str, ...],
    pronounce: Callable[[str], tuple[Pronunciation, ...]],
    costs: GraphCosts,
) -> PhoneGraph:
    """The phones of every word; ``words`` in the order of their numbers, from 1."""
    number = {word: position for position, word in enumerate(words, start=1)}
    phones = {word: [in_word(way) for way in pronounce(word)] for word in words if word != FILLER}
    phones[FILLER] = [in_word((phone,)) for phone in PHONES]
    tree = _Tree(graph.states)
    for source, target, word, cost in graph.arcs:
        each, once = (0.0, costs.filler) if word == FILLER else (costs.phone, costs.phone + costs.word)
        for way in phones[word]:
            tree.add(source, way, number[word], cost, target, each, once)
    silence = _IDS.phone_numbers[SILENCE]
    tree.arcs.update(((state, silence, 0, state), costs.silence) for state in range(graph.states))
    finals = np.full(tree.states, np.inf, np.float32)
    finals[list(graph.finals)] = list(graph.finals.values())
    columns = np.array(list(tree.arcs), np.int64).reshape(-1, 4).T
    return PhoneGraph(columns[0], columns[1], columns[2], np.array(list(tree.arcs.values())), columns[3], finals)


def in_word(phones: Pronunciation) -> tuple[int, ...]:
    """The numbers of a word's phones in their positions: begin, internal, end, or alone."""
    last = len(phones) - 1
    positions = "S" if last == 0 else f"B{'I' * (last - 1)}E"
    names = (f"{phone}_{position}" for phone, position in zip(phones, positions, strict=True))
    return tuple(_IDS.phone_numbers[name] for name in names)


class _Tree:
    """Lays words out from each state; beginnings that sound alike are one path."""

    def __init__(self, states: int) -> None:
        self.states = states
        self.arcs: dict[tuple[int, int, int, int], float] = {}  # (source, phone, word, target) -> cost
        self.branch: dict[tuple[int, int], int] = {}

    def add(
        self, state: int, way: tuple[int, ...], word: int, cost: float, target: int, each: float, once: float
    ) -> None:
        """A word from ``state`` to ``target``: its first phone costs ``once``, the others ``each``."""
        charge = once
        for phone in way[:-1]:
            if (state, phone) not in self.branch:
                self.branch[state, phone] = self.states
                self.arcs[state, phone, 0, self.states] = charge
                self.states += 1
            state, charge = self.branch[state, phone], each
        last = (state, way[-1], word, target)
        self.arcs[last] = min(charge + cost, self.arcs.get(last, math.inf))


# ---------------------------------------------------------------- transition ids

COPIED = 8  # at most so many arcs are copied to spare an empty arc

_STEPS = np.zeros((len(GRAPH_PHONES) + 1, 5), np.int32)  # phone -> loop, to_blank, leave, blank_loop, blank_leave
_STEPS[_IDS.phone_numbers[SILENCE]] = (_IDS.silence.loop, 0, _IDS.silence.leave, 0, 0)
for _name in GRAPH_PHONES[1:]:
    _STEPS[_IDS.phone_numbers[_name]] = astuple(_IDS.steps(*_name.split("_")))
_OUTPUT = np.array([0, BLANK, *(PHONE_ID[name[:-2]] for name in GRAPH_PHONES[1:])])  # phone -> network output
_INSIDE = np.array([False, *(name[-2:] in ("_B", "_I") for name in GRAPH_PHONES)])  # a blank may follow

_OUTPUTS_OF_STEPS = np.array(_IDS.outputs)

_ARC = np.dtype([("input", "<i4"), ("output", "<i4"), ("cost", "<f4"), ("next", "<i4")])
_STATE = np.dtype([("final", "<f4"), ("first", "<u4"), ("arcs", "<u4"), ("empty_in", "<u4"), ("empty_out", "<u4")])


def expanded(graph: PhoneGraph) -> bytes:
    """The decoding graph as an OpenFst constant transducer from transition ids to word numbers.

    Each distinct (phone, target) of the phone graph becomes a state that has
    heard the phone, and for phones inside a word also one that has heard it
    and then hears blanks. What may follow is copied to both, or reached over
    an empty arc through a junction when it is much. As in training, the same
    phone may only follow itself after a blank.
    """
    layout = _Layout(graph)
    source, arcs = _joined(layout.staying(), layout.empty(), layout.copied())
    order = np.lexsort((arcs["input"], source))
    return _constant_fst(layout.finals(), source[order], arcs[order])


class _Layout:
    """Which state is which: junctions, then phones heard, then phones that hear their blanks.

    A junction stands for a state of the phone graph and an output that may not
    come next (0: any may).
    """

    def __init__(self, graph: PhoneGraph) -> None:
        self.graph = graph
        width = len(graph.finals)
        heard, self.heard_by = np.unique(graph.phone * width + graph.target, return_inverse=True)
        self.phone, after = heard // width, heard % width
        blank = _INSIDE[self.phone]
        wide = np.bincount(graph.source, 1 + _INSIDE[graph.phone], width) > COPIED

        # What follows a phone at once, what follows its blanks, and the start: each a (state, output not to come).
        once = after * OUTPUTS + _OUTPUT[self.phone]
        leads = np.unique(graph.source * OUTPUTS + _OUTPUT[graph.phone])
        once = np.where(np.isin(once, leads), once, after * OUTPUTS)
        self.follows = np.concatenate([once, after[blank] * OUTPUTS])
        self.junctions = np.unique(np.concatenate([[0], self.follows[wide[self.follows // OUTPUTS]]]))

        first = len(self.junctions)
        self.whole = first + np.arange(len(heard))  # heard, nothing but the next phone may follow
        first += len(heard)
        self.open = np.where(blank, first + np.cumsum(blank) - 1, -1)  # heard, a blank must follow
        self.blank = np.where(blank, self.open + int(blank.sum()), -1)  # blank heard after it
        self.states = first + 2 * int(blank.sum())
        self.continuing = np.concatenate([self.whole, self.blank[blank]])  # states here, parallel to ``follows``
        self.through = np.isin(self.follows, self.junctions)

    def entries(self) -> tuple[np.ndarray, np.ndarray]:
        """For each arc of the phone graph: its source there, and one or two arcs into states here."""
        graph, inside = self.graph, _INSIDE[self.graph.phone]
        whole = _arcs(_STEPS[graph.phone, 2], graph.word, graph.cost, self.whole[self.heard_by])
        opened = _arcs(_STEPS[graph.phone, 1], graph.word, graph.cost, self.open[self.heard_by])[inside]
        return np.concatenate([graph.source, graph.source[inside]]), np.concatenate([whole, opened])

    def empty(self) -> tuple[np.ndarray, np.ndarray]:
        """Arcs to junctions."""
        junction = np.searchsorted(self.junctions, self.follows[self.through])
        return self.continuing[self.through], _arcs(0, 0, 0.0, junction)

    def copied(self) -> tuple[np.ndarray, np.ndarray]:
        """What leaves the states of the phone graph, copied to junctions and to states that need none."""
        states = np.concatenate([np.arange(len(self.junctions)), self.continuing[~self.through]])
        follows = np.concatenate([self.junctions, self.follows[~self.through]])
        source, arcs = self.entries()
        order = np.argsort(source, kind="stable")
        count = np.bincount(source, minlength=len(self.graph.finals))
        first = np.cumsum(count) - count
        many = count[follows // OUTPUTS]
        within = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
        chosen = arcs[order][np.repeat(first[follows // OUTPUTS], many) + within]
        barred = np.repeat(follows % OUTPUTS, many)
        allowed = (barred == BLANK) | (_OUTPUTS_OF_STEPS[chosen["input"]] != barred)
        return np.repeat(states, many)[allowed], chosen[allowed]

    def staying(self) -> tuple[np.ndarray, np.ndarray]:
        """Self-loops, and the step from a phone to its blank."""
        blank = self.blank >= 0
        stay, _, _, blank_stay, blank_out = _STEPS[self.phone].T
        opened, closed = self.open[blank], self.blank[blank]
        loops = [(self.whole, stay, self.whole), (opened, stay[blank], opened), (closed, blank_stay[blank], closed)]
        steps = [*loops, (opened, blank_out[blank], closed)]
        source = np.concatenate([step[0] for step in steps])
        return source, np.concatenate([_arcs(ids, 0, 0.0, target) for _, ids, target in steps])

    def finals(self) -> np.ndarray:
        """A sentence ends where nothing more need follow; a state before a junction leaves that to the junction."""
        found = np.full(self.states, np.inf, np.float32)
        own = self.graph.finals[self.follows // OUTPUTS]
        found[self.continuing] = np.where(self.through, np.inf, own)
        found[: len(self.junctions)] = self.graph.finals[self.junctions // OUTPUTS]
        return found


def _arcs(ids, words, costs, target: np.ndarray) -> np.ndarray:
    arcs = np.empty(len(target), _ARC)
    arcs["input"], arcs["output"], arcs["cost"], arcs["next"] = ids, words, costs, target
    return arcs


def _joined(*parts: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    return np.concatenate([part[0] for part in parts]), np.concatenate([part[1] for part in parts])


def _constant_fst(finals: np.ndarray, source: np.ndarray, arcs: np.ndarray) -> bytes:
    """OpenFst's "const" file, version 2 (unaligned): header, states, arcs sorted by state."""
    states = np.zeros(len(finals), _STATE)
    states["final"] = finals
    states["arcs"] = np.bincount(source, minlength=len(finals))
    states["first"] = np.cumsum(states["arcs"]) - states["arcs"]
    states["empty_in"] = np.bincount(source[arcs["input"] == 0], minlength=len(finals))
    states["empty_out"] = np.bincount(source[arcs["output"] == 0], minlength=len(finals))
    kinds = b"".join(struct.pack("<i", len(kind)) + kind for kind in (b"const", b"standard"))
    expanded_only = 1  # the property bit of a transducer that lies in memory whole
    sizes = struct.pack("<iiQqqq", 2, 0, expanded_only, 0, len(finals), len(arcs))
    return struct.pack("<i", 2125659606) + kinds + sizes + states.tobytes() + arcs.tobytes()


# ---------------------------------------------------------------- all of it


@dataclass(frozen=True)
class DecodingGraph:
    """The files that Vosk reads: ``HCLG.fst`` and ``words.txt``."""

    hclg: bytes
    words_txt: str


def decoding_graph(
    graph: WordGraph, pronounce: Callable[[str], tuple[Pronunciation, ...]], costs: GraphCosts | None = None
) -> DecodingGraph:
    """Compile a word graph; silence is always let through.

    ``pronounce`` gives a word's pronunciations and raises ModelError for a word that has none.
    """
    words = graph.words
    hclg = expanded(spelled(shared(or_nothing(graph)), words, pronounce, costs or GraphCosts()))
    listing = "".join(f"{word} {number}\n" for number, word in enumerate(("<eps>", *words)))
    return DecodingGraph(hclg, listing)
