"""The decoding graph, read back and walked: which phones it lets through, and at what cost."""

import math
import struct
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from tests.hearing.tones import PRONUNCIATIONS, pronounce
from voicelog.errors import ModelError
from voicelog.hearing.graph import GraphCosts, decoding_graph, in_word
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.phones import BLANK, PHONE_ID
from voicelog.hearing.transitions import TransitionIds
from voicelog.hearing.word_graph import FILLER, WordArc, WordGraph, from_phrases, loop, with_filler

HEADER = 4 + (4 + 5) + (4 + 8) + struct.calcsize("<iiQqqq")
OUTPUTS = TransitionIds().outputs


class Walker:
    """Takes network outputs one by one, as the search does, and knows the cheapest way to each word sequence."""

    def __init__(self, hclg: bytes, words_txt: str) -> None:
        _, _, _, self.start, states, arcs = struct.unpack("<iiQqqq", hclg[HEADER - 40 : HEADER])
        self.states = np.frombuffer(hclg[HEADER:], "<f4,<u4,<u4,<u4,<u4", states)
        self.arcs = np.frombuffer(hclg[HEADER + 20 * states :], "<i4,<i4,<f4,<i4", arcs)
        assert len(hclg) == HEADER + 20 * states + 16 * arcs
        self.words = [line.split()[0] for line in words_txt.splitlines()]

    def leaving(self, state: int):
        _, first, count, _, _ = self.states[state].tolist()
        return self.arcs[first : first + count].tolist()

    def cheapest(self, outputs: list[int]) -> dict[tuple[str, ...], float]:
        beam = self.without_input({(self.start, ()): 0.0})
        for output in outputs:
            stepped: dict = {}
            for (state, said), cost in beam.items():
                for step, word, more, target in self.leaving(state):
                    if step and OUTPUTS[step] == output:
                        self.keep(stepped, (target, self.longer(said, word)), cost + more)
            beam = self.without_input(stepped)
        ended: dict = {}
        for (state, said), cost in beam.items():
            final = self.states[state].tolist()[0]
            if math.isfinite(final):
                self.keep(ended, said, cost + final)
        return ended

    def without_input(self, beam: dict) -> dict:
        for (state, said), cost in list(beam.items()):  # empty arcs never follow one another
            for step, word, more, target in self.leaving(state):
                if not step:
                    self.keep(beam, (target, self.longer(said, word)), cost + more)
        return beam

    def longer(self, said, word):
        return (*said, self.words[word]) if word else said

    @staticmethod
    def keep(found: dict, key, cost: float) -> None:
        found[key] = min(cost, found.get(key, math.inf))


def walker(graph: WordGraph, costs: GraphCosts | None = None) -> Walker:
    compiled = decoding_graph(graph, pronounce, costs)
    return Walker(compiled.hclg, compiled.words_txt)


def outputs(text: str) -> list[int]:
    """``"W - AH AH N"`` -> network outputs; a dash is blank."""
    return [BLANK if sign == "-" else PHONE_ID[sign] for sign in text.split()]


FREE = GraphCosts(word=0.0, phone=0.0, silence=0.0)


@pytest.mark.parametrize(
    ("heard", "words"),
    [
        ("W AH N", "one"),
        ("- W W - AH AH N - -", "one"),
        ("W - - AH - N", "one"),
        ("T UW - W AH N", "two one"),
        ("T UW W AH N", "two one"),
        ("N AY N - N AY N", "nine nine"),
        ("OW OW", "oh"),
        ("W AH N - S IH K S", "one six"),
        ("- - S IH K S - S IH K S", "six six"),
        ("OW - OW", "oh oh"),
        ("P OY N T - T UW", "point two"),
    ],
)
def test_lets_phones_blanks_and_pauses_through(heard, words):
    assert tuple(words.split()) in walker(loop(["one", "two", "nine", "point", "oh", "six"]), FREE).cheapest(
        outputs(heard)
    )


@pytest.mark.parametrize("heard", ["W AH", "W N", "AH N W", "W AH N UW", "W AH N W", "N AY N N AY N"])
def test_refuses_what_is_no_word(heard):
    assert not walker(loop(["one", "two", "nine"]), FREE).cheapest(outputs(heard))


def test_a_phone_held_is_one_phone_as_in_training():
    assert set(walker(loop(["oh", "ohms"]), FREE).cheapest(outputs("OW OW OW"))) == {("oh",)}
    assert set(walker(loop(["oh", "ohms"]), FREE).cheapest(outputs("OW - OW M Z"))) == {("oh", "ohms")}


def test_only_the_grammar_is_let_through():
    ear = walker(from_phrases(["zs one", "zs two"]), FREE)
    assert set(ear.cheapest(outputs("Z EH D EH S W AH N"))) == {("zs", "one")}
    assert not ear.cheapest(outputs("W AH N Z EH D EH S"))


def test_silence_is_always_let_through():
    assert walker(from_phrases(["zs one"]), FREE).cheapest(outputs("- - -")) == {(): 0.0}
    assert walker(from_phrases(["zs one"]), FREE).cheapest(outputs("- - Z EH D EH S W AH N - -")) == {
        ("zs", "one"): 0.0
    }


def test_costs_are_charged_once_each():
    costs = GraphCosts(word=1.0, phone=0.5, silence=0.25)
    graph = WordGraph((WordArc(0, 1, "zs", 0.125), WordArc(1, 2, "one")), {2: 2.0}, 3)
    found = walker(graph, costs).cheapest(outputs("Z EH D EH S - - W AH N"))
    assert found == {("zs", "one"): pytest.approx(2 * 1.0 + 8 * 0.5 + 0.25 + 0.125 + 2.0)}


def test_words_that_sound_alike_are_both_found():
    assert set(walker(loop(["two", "to"])).cheapest(outputs("T UW"))) == {("two",), ("to",)}


def test_filler_takes_any_phones_and_charges_for_each():
    costs = GraphCosts(word=1.0, phone=1.0, silence=0.0, filler=3.0)
    ear = walker(with_filler(from_phrases(["one"])), costs)
    talk = ear.cheapest(outputs("K AE T W AH N"))
    assert talk[FILLER, FILLER, FILLER, "one"] == pytest.approx(3 * 3.0 + 1.0 + 3 * 1.0)
    assert talk[(FILLER,) * 6] == pytest.approx(6 * 3.0)


@given(some.lists(some.sampled_from(sorted(PRONUNCIATIONS)), min_size=1, max_size=5))
def test_whatever_is_said_is_found_at_its_own_cost(said):
    phones = [phone for word in said for phone in PRONUNCIATIONS[word][0]]
    parted = [output for phone in phones for output in (PHONE_ID[phone], BLANK)]
    assert LOOP.cheapest(parted)[tuple(said)] == pytest.approx(len(said) + len(phones))


LOOP = walker(loop(PRONUNCIATIONS), GraphCosts(word=1.0, phone=1.0, silence=0.0))


def test_arcs_are_sorted_by_input_and_lead_somewhere():
    for state in range(len(LOOP.states)):
        steps = [step for step, _, _, _ in LOOP.leaving(state)]
        assert all(before <= after for before, after in pairwise(steps))
        assert all(0 <= target < len(LOOP.states) for _, _, _, target in LOOP.leaving(state))


def test_a_word_without_pronunciation_is_named():
    with pytest.raises(ModelError, match="'gazebo'"):
        decoding_graph(loop(["gazebo"]), Lexicon(PRONUNCIATIONS).pronounce)


@pytest.mark.parametrize(
    ("phones", "names"),
    [(("OW",), ["OW_S"]), (("T", "UW"), ["T_B", "UW_E"]), (("W", "AH", "N"), ["W_B", "AH_I", "N_E"])],
)
def test_phones_know_their_place_in_a_word(phones, names):
    assert list(in_word(phones)) == [TransitionIds().phone_numbers[name] for name in names]
