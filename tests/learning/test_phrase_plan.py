"""The plan asks for everything worth hearing, in little time."""

from collections import Counter

import pytest

from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.phones import PHONES
from voicelog.learning.phrase_plan import CONFUSABLE, LONGEST_PHRASE, PROWORDS, phrase_plan


@pytest.fixture(scope="module")
def lexicon():
    return bundled_lexicon()


@pytest.fixture(scope="module")
def plan(grammar, lexicon):
    return phrase_plan(grammar, lexicon.pronounce, minutes=2.0)


def test_every_phone_is_asked_for(plan, lexicon):
    said = Counter(phone for phrase in plan for word in phrase.split() for phone in lexicon.pronounce(word)[0])
    rare = {"ZH"}  # in no word of the grammar
    assert set(PHONES) - set(said) <= rare
    assert sum(count >= 4 for count in said.values()) >= 36


def test_both_words_of_every_confusable_pair_are_asked_for_twice(plan):
    said = Counter(word for phrase in plan for word in phrase.split())
    short = {word: said[word] for pair in CONFUSABLE for word in pair if said[word] < 2}
    assert not short
    assert all(said[word] for word in PROWORDS)


def test_phrases_are_different_and_can_be_said_in_one_breath(plan):
    assert len(set(plan)) == len(plan)
    assert max(len(phrase.split()) for phrase in plan) <= LONGEST_PHRASE


def test_half_the_time_is_about_half_the_phrases(grammar, lexicon, plan):
    half = phrase_plan(grammar, lexicon.pronounce, minutes=1.0)
    assert plan[: len(half)] == half
    assert 0.3 < len(half) / len(plan) < 0.7


def test_another_seed_asks_for_other_phrases(grammar, lexicon, plan):
    other = phrase_plan(grammar, lexicon.pronounce, minutes=2.0, seed=1)
    assert len(set(other) - set(plan)) > len(plan) / 3
