"""What is demanded of each kind of utterance: what costs a crew the least time, in talk let through and calls lost."""

import random

import pytest

from voicelog.model import Command, NotUnderstood
from voicelog.proving.meant import AFTER_TALK, AGAIN_S, CALLS_AN_HOUR, PRICE_S, TALK, Weighed, _read, call, chosen
from voicelog.talking.overhearing import Demands


def weighed(kind, margin, meant, words=3, soon=False, right=None, **more):
    right = meant if right is None else right
    words = ("one",) * words
    return Weighed(
        source="s", minute=0, meant=meant, right=right, kind=kind, words=words, margin=margin, soon=soon, **more
    )


def test_talk_is_barred_and_calls_above_it_are_kept():
    calls = [weighed("reading", 4.5, True), weighed("reading", 9.0, True)]
    found = chosen([weighed("reading", 4.0, False, seconds=60.0), *calls])
    assert found.demands["reading"] == 4.5
    assert (found.kinds["reading"].let_through, found.kinds["reading"].lost) == (0, 0)


def test_a_call_is_lost_where_that_costs_less_than_the_talk():
    """One false reading in an hour of talk costs 10 s; of sixty calls an hour one in forty 7.5 s, one in two 150 s."""
    talk, far = weighed("reading", 4.0, False, seconds=3600.0), [weighed("reading", 30.0, True)]
    below = weighed("reading", 2.0, True)
    few, many = chosen([talk, below, *far * 39]), chosen([talk, below, *far])
    assert (few.kinds["reading"].let_through, few.kinds["reading"].lost) == (0, 1)
    assert (many.kinds["reading"].let_through, many.kinds["reading"].lost) == (1, 0)
    assert many.kinds["reading"].cost_s == pytest.approx(TALK * PRICE_S["reading"])
    lost = AGAIN_S * CALLS_AN_HOUR["reading"] / 40
    assert few.kinds["reading"].cost_s == pytest.approx(lost, rel=AFTER_TALK)


def test_what_nobody_called_keeps_its_demand():
    found = chosen([weighed("place", 2.0, False, seconds=60.0), weighed("reading", 9.0, True)])
    assert found.demands["place"] == Demands().place


def test_the_breath_parts_numbers_in_talk_from_values():
    talk = [weighed("value", 15.0, False, soon=True, seconds=60.0), weighed("value", -8.0, False)]
    found = chosen([*talk, weighed("value", 4.0, True)])
    assert found.kinds["value"].lost == found.kinds["value"].let_through == 0
    assert Demands(**found.demands).of("value", 3, soon=True) > 15.0


def test_doubt_counts_what_asking_would_catch():
    misheard = weighed("reading", 9.0, True, right=False, rival=0.4, rival_right=True)
    found = chosen([misheard, weighed("reading", 9.0, True, rival=1.2), weighed("place", -4.0, False, seconds=60.0)])
    by = {doubt.within: doubt for doubt in found.doubts}
    assert (by[0.5].caught, by[0.5].needless, by[1.5].needless, by[1.5].misheard) == (1, 0, 1, 1)


@pytest.mark.parametrize("seed", range(12))
def test_every_call_means_something(grammar, sheet, reader, seed):
    words = call(random.Random(seed), reader)
    assert not isinstance(_read(words.split(), reader), NotUnderstood)
    assert isinstance(_read(("affirm",), reader), Command)


def test_what_is_suspect_is_barred_where_that_costs_less_than_saying_it_twice():
    talk = [weighed("reading", 9.0, False, seconds=3600.0, suspect=True)] * 4
    calls = [weighed("reading", 8.0, True), weighed("reading", 11.0, True)] * 20
    found = chosen([*talk, *calls])
    assert found.demands["suspect"] > 0 and found.demands["reading"] <= 8.0
    assert (found.kinds["reading"].let_through, found.kinds["reading"].lost) == (0, 0)
    assert chosen([one.model_copy(update={"suspect": False}) for one in (*talk, *calls)]).demands["suspect"] == 0
