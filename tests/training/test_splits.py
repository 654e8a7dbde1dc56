"""Held out means held out: the project's own file, and what it keeps apart."""

from itertools import combinations

from voicelog.training.splits import read_splits

SPLITS = read_splits()


def test_ten_people_of_both_kinds_are_held_out():
    assert len(SPLITS.people) >= 10
    assert {person.kind for person in SPLITS.people} == {"female", "male"}


def test_no_two_people_share_an_utterance():
    for one, other in combinations(SPLITS.people, 2):
        assert one.last < other.first or other.last < one.first


def test_a_person_is_found_by_corpus_and_number():
    first = SPLITS.people[0]
    assert SPLITS.person_of(first.corpus, first.first) == first
    assert SPLITS.person_of(first.corpus, first.last) == first
    assert SPLITS.person_of(first.corpus, first.last + 1) is None
    assert SPLITS.person_of("another corpus", first.first) is None


def test_a_mixture_with_a_held_out_voice_is_kept_out():
    voice = sorted(SPLITS.voices)[0]
    assert SPLITS.keeps_out({voice: 0.2, "another": 0.8}, "en")
    assert not SPLITS.keeps_out({"another": 1.0}, "en")
    assert SPLITS.keeps_out({"another": 1.0}, sorted(SPLITS.accents)[0])
    assert len(SPLITS.voices) >= 6
