"""Sharing keeps exactly the sentences and their costs."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as some

from voicelog.hearing.word_graph import FILLER, WordArc, WordGraph, from_phrases, loop, shared, with_filler

LONGEST = 4


def sentences(graph: WordGraph, longest: int = LONGEST) -> dict[tuple[str, ...], float]:
    """Every sentence of at most ``longest`` words with its least cost, found by walking the graph as it stands."""
    found: dict[tuple[str, ...], float] = {}
    seen: dict[tuple[int, tuple[str, ...]], float] = {}
    waiting = [(0, (), 0.0)]
    while waiting:
        state, said, cost = waiting.pop()
        if seen.get((state, said), math.inf) <= cost:
            continue
        seen[state, said] = cost
        if state in graph.finals:
            total = round(cost + graph.finals[state], 3)
            found[said] = min(total, found.get(said, math.inf))
        for source, target, word, more in graph.arcs:
            longer = said if word is None else (*said, word)
            if source == state and len(longer) <= longest:
                waiting.append((target, longer, cost + more))
    return found


states = some.integers(0, 4)
costs = some.sampled_from([0.0, 0.5, 1.25])
arcs = some.builds(WordArc, states, states, some.sampled_from([None, "one", "two", "point"]), costs)
graphs = some.builds(
    lambda arcs, finals: WordGraph(tuple(arcs), finals, 5),
    some.lists(arcs, max_size=12),
    some.dictionaries(states, costs, min_size=1, max_size=3),
)


@given(graphs)
def test_sharing_keeps_sentences_and_costs(graph):
    assert sentences(shared(graph)) == pytest.approx(sentences(graph))


@given(graphs)
def test_after_sharing_no_arc_is_empty_or_doubled(graph):
    small = shared(graph)
    assert all(arc.word is not None for arc in small.arcs)
    labels = [(arc.source, arc.word, arc.cost) for arc in small.arcs]
    assert len(labels) == len(set(labels))


def test_common_beginnings_and_ends_are_one():
    phrases = ["kitchen ring zs one ohms", "kitchen ring zs two ohms", "kitchen lights zs two ohms"]
    assert len(from_phrases(phrases).arcs) == 15
    assert len(shared(from_phrases(phrases)).arcs) == 9  # kitchen, ring, lights, zs, zs, one, two, two, ohms


def test_phrases_are_exactly_what_can_be_said():
    assert set(sentences(from_phrases(["zs one", "zs", "one two"]))) == {("zs", "one"), ("zs",), ("one", "two")}


def test_a_loop_says_anything_from_its_words():
    said = sentences(loop(["one", "two"]), 3)
    assert len(said) == 1 + 2 + 4 + 8


def test_filler_may_stand_before_after_and_alone():
    said = set(sentences(with_filler(from_phrases(["zs one"])), 4))
    assert {("zs", "one"), (FILLER,), (FILLER, "zs", "one"), ("zs", "one", FILLER), (FILLER, FILLER)} <= said
    assert ("zs", FILLER) not in said
    assert ("zs", FILLER, "one") not in said
    assert () not in said
