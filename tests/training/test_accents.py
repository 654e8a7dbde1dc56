"""Phones changed before they are spoken. What each way changes: J. C. Wells, Accents of English (1982)."""

import random
import re

import pytest

from voicelog.training.accents import EVERY_WAY, FOREIGN, changed, draw_changes
from voicelog.training.synthesis import TOKENS


def everyone(way: str):
    """The changes of a speaker who makes all of them."""
    return tuple((re.compile(change.pattern), change.becomes) for change in EVERY_WAY[way])


@pytest.mark.parametrize(
    ("way", "said", "becomes"),
    [
        ("german", "wˈʌn θˈɹiː", "vˈan sˈʁiː"),
        ("german", "ɹˈɛd bˈɛd", "ʁˈɛt bˈɛt"),  # a voiced consonant at the end hardens, elsewhere it stays
        ("french", "hˈɪt", "ˈit"),
        ("indian", "vˈɒlt", "ʋˈɒlʈ"),
        ("spanish", "stˈɒp", "estˈɒp"),
        ("arabic", "pˈInt", "bˈInt"),
        ("london", "sˈɪt nˈaθɪŋ", "sˈɪʔ nˈafɪŋ"),
        ("chinese", "sˈɛvən ˈQld", "sˈɛwəŋ ˈQl"),
    ],
)
def test_what_each_way_of_speaking_changes(way, said, becomes):
    assert changed(said, everyone(way)) == becomes


def test_nobody_is_changed_without_a_way():
    assert changed("θˈɹiː", draw_changes("", random.Random(0))) == "θˈɹiː"


@pytest.mark.parametrize("way", EVERY_WAY)
def test_every_new_sound_is_one_that_the_synthesiser_has(way):
    for change in EVERY_WAY[way]:
        assert set(re.sub(r"\\\d", "", change.becomes)) <= set(TOKENS)


def test_two_speakers_of_one_language_differ():
    drawn = {tuple(new for _, new in draw_changes("polish", random.Random(seed))) for seed in range(20)}
    assert len(drawn) > 5 and set(FOREIGN) < set(EVERY_WAY)
