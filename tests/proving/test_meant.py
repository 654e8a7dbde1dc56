"""What is demanded of each kind of utterance: chosen so that talk is barred at the least cost in calls."""

import random

import pytest

from voicelog.model import Command, NotUnderstood
from voicelog.proving.meant import SLACK, Weighed, _read, call, chosen
from voicelog.talking.overhearing import Demands


def weighed(kind, margin, meant, words=3, soon=False, right=None, **more):
    right = meant if right is None else right
    words = ("one",) * words
    return Weighed(
        source="s", minute=0, meant=meant, right=right, kind=kind, words=words, margin=margin, soon=soon, **more
    )


def test_talk_is_barred_and_calls_above_it_are_kept():
    calls = [weighed("place", 4.5, True), weighed("place", 9.0, True)]
    found = chosen([weighed("place", 4.0, False, seconds=60.0), *calls])
    assert found.demands["place"] == 4.0 + SLACK
    assert (found.kinds["place"].let_through, found.kinds["place"].lost) == (0, 1)


def test_what_is_cheap_is_demanded_by_calls_alone():
    found = chosen([weighed("harmless", 2.0, False, seconds=60.0), weighed("harmless", -9.0, True)])
    assert found.demands["harmless"] == -9.0 - SLACK


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
