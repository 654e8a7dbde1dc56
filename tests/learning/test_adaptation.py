"""Learning with small random networks: a person is a network whose scales and weights differ from the general one."""

from dataclasses import replace

import numpy as np
import pytest

from tests.networks import random_network
from voicelog.errors import InputError
from voicelog.hearing.filterbank import filter_banks
from voicelog.hearing.network import log_posteriors
from voicelog.hearing.phones import PHONES
from voicelog.learning.adaptation import Judgement, Kind, Recipe, Spoken, edits, heard_freely, learn
from voicelog.learning.layers import arrays, with_arrays

# Random networks were never trained against rival paths.
QUICK = Recipe(
    passes=15,
    most_s=60,
    weights_from_s=20,
    batch_s=8,
    scales_rate=6e-3,
    weights_rate=6e-3,
    misfit=1e9,
    rivals=0.0,
    least_fall=0.0,
    full_rate_from_s=0.1,
    fewest_apart=1,
)


def pronounce(word):
    return (tuple(word.split("_")),)


def someone(general, spread: float):
    """The network that a speaker would need: every array a little off."""
    rng = np.random.default_rng(7)
    moved = {
        name: array * (1 + spread * rng.normal(size=array.shape)).astype(np.float32)
        for name, array in arrays(general).items()
        if not (array == 1).all()
    }
    return with_arrays(general, moved)


def sound(seed: int, seconds: float = 2.0) -> np.ndarray:
    rng = np.random.default_rng(seed)
    pieces = []
    for _ in range(int(seconds / 0.12)):
        carrier = np.sin(2 * np.pi * rng.uniform(100, 5000) * np.arange(1920) / 16000)
        pieces.append(rng.uniform(500, 9000) * carrier + rng.normal(0, rng.uniform(20, 1000), 1920))
    return np.concatenate(pieces).clip(-32768, 32767).astype(np.int16)


def phrases(speaker, count: int) -> tuple[Spoken, ...]:
    found = []
    for seed in range(count):
        samples = sound(seed)
        labels = heard_freely(log_posteriors(speaker, filter_banks(samples)))
        found.append(Spoken(samples, ("_".join(PHONES[label - 1] for label in labels),)))
    return tuple(phrase for phrase in found if phrase.words != ("",))


@pytest.fixture(scope="module")
def general():
    return random_network(seed=2, width=24, bottleneck=10)


def test_a_voice_is_learnt_and_heard_better_in_new_phrases(general):
    speaker = someone(general, 0.25)
    learnt = learn(general, phrases(speaker, 14), pronounce, QUICK)
    assert learnt.kind is not Kind.GENERAL
    assert learnt.after.loss < 0.8 * learnt.before.loss
    assert learnt.after.wrong < learnt.before.wrong
    # Phrases that neither learning nor choosing has met.
    wrong = {"general": 0, "learnt": 0}
    for seed in range(100, 112):
        banks = filter_banks(sound(seed))
        said = heard_freely(log_posteriors(speaker, banks))
        wrong["general"] += edits(heard_freely(log_posteriors(general, banks)), said)
        wrong["learnt"] += edits(heard_freely(log_posteriors(learnt.model, banks)), said)
    assert wrong["learnt"] < wrong["general"]


def test_little_speech_moves_scales_and_shifts_alone(general):
    learnt = learn(general, phrases(someone(general, 0.25), 8), pronounce, QUICK)
    assert learnt.kind is not Kind.WEIGHTS
    before, after = arrays(general), arrays(learnt.model)
    for name in before:
        if name.field == "weights":
            np.testing.assert_array_equal(before[name], after[name])


def test_nonsense_leaves_the_general_network(general):
    """Phrases whose words were not said: nothing learnt from them can win on the ones kept apart."""
    right = phrases(general, 10)
    rng = np.random.default_rng(0)
    words = [("_".join(PHONES[i] for i in rng.permutation(39)[:6]),) for _ in right]
    mixed = tuple(
        Spoken(phrase.sound, phrase.words if number % 4 == 1 else nonsense)
        for number, (phrase, nonsense) in enumerate(zip(right, words, strict=True))
    )
    learnt = learn(general, mixed, pronounce, QUICK)
    assert (learnt.kind, learnt.blend) == (Kind.GENERAL, 0.0)
    assert learnt.model is general
    assert learnt.after == learnt.before


def test_size_and_shape_stay(general):
    learnt = learn(general, phrases(someone(general, 0.2), 6), pronounce, QUICK)
    assert learnt.model.weights == general.weights
    assert [layer.input for layer in learnt.model.layers] == [layer.input for layer in general.layers]
    assert all(array.dtype == np.float32 for array in arrays(learnt.model).values())


def test_learning_twice_gives_the_same(general):
    said = phrases(someone(general, 0.2), 6)
    one, other = (learn(general, said, pronounce, QUICK) for _ in range(2))
    for name, array in arrays(one.model).items():
        np.testing.assert_array_equal(array, arrays(other.model)[name])


@pytest.mark.parametrize("count", [0, 2])
def test_too_little_speech_is_refused(general, count):
    with pytest.raises(InputError):
        learn(general, phrases(general, count), pronounce, QUICK)


def test_words_that_were_hardly_said_are_left_out(general):
    right = phrases(general, 8)
    wrong = tuple(Spoken(phrase.sound, ("_".join(PHONES[:9]),)) for phrase in right[:4])
    learnt = learn(general, (*right, *wrong), pronounce, replace(QUICK, misfit=1.0))
    assert learnt.speech_s == pytest.approx(sum(phrase.seconds for phrase in right))


def test_phrases_too_short_for_their_words_are_left_out(general):
    said = (
        *phrases(general, 4),
        Spoken(np.zeros(100, np.int16), ("AA",)),
        Spoken(sound(1, 0.24), ("AA_B_" * 20 + "CH",)),
    )
    assert learn(general, said, pronounce, QUICK).speech_s == pytest.approx(sum(x.seconds for x in said[:4]))


@pytest.mark.parametrize(
    ("one", "other", "count"), [((), (), 0), ((1, 2), (), 2), ((1, 2, 3), (1, 3), 1), ((1, 2), (2, 1), 2)]
)
def test_edits(one, other, count):
    assert edits(one, other) == count == edits(other, one)


@pytest.mark.parametrize(
    ("after", "wrong", "beats"),
    [
        ((0.5, 0.6, 0.4), 0.1, True),
        ((0.5, 0.6, 0.4), 0.3, False),  # more phones wrong
        ((0.5, 0.6, 0.4), 0.2, False),  # as many
        ((0.1, 1.4, 1.3), 0.1, False),  # one phrase gains what the others lose
        ((1.0, 1.0, 1.0), 0.1, False),
        ((1.2, 1.1, 1.1), 0.1, False),
    ],
)
def test_only_a_clear_gain_counts(after, wrong, beats):
    general = Judgement((1.0, 1.0, 1.0), 0.2, noisy=2.0)
    assert Judgement(after, wrong, noisy=1.5).clearly_beats(general, errors=1.0) is beats
    assert not Judgement(after, wrong, noisy=2.1).clearly_beats(general, errors=1.0)


def test_phones_that_may_have_come_right_by_chance_do_not_count():
    general, learnt = Judgement((1.0, 1.0, 1.0), 0.2, noisy=2.0), Judgement((0.5, 0.6, 0.4), 0.18, noisy=1.5)
    assert learnt.clearly_beats(general, errors=1.0)
    assert not learnt.clearly_beats(general, errors=1.0, fall=0.25)
    assert not learnt.clearly_beats(general, errors=1.0, fall=0.25, surely=10.0)


def test_a_sure_gain_makes_up_for_a_lesser_fall_but_not_for_none():
    general, gains = Judgement((1.0, 1.0, 1.0), 0.2, noisy=2.0), (0.5, 0.6, 0.4)  # 0.5 in the mean, 8.7 standard errors
    rule = {"errors": 1.0, "fall": 0.25, "surely": 2.0}
    assert Judgement(gains, 0.18, noisy=1.5).clearly_beats(general, **rule)
    assert not Judgement(gains, 0.2, noisy=1.5).clearly_beats(general, **rule)
    assert not Judgement(gains, 0.18, noisy=2.1).clearly_beats(general, **rule)
    assert not Judgement((0.1, 1.0, 1.0), 0.18, noisy=1.5).clearly_beats(general, **rule)  # one standard error


def test_one_phrase_proves_nothing():
    assert not Judgement((0.1,), 0.0, 0.1).clearly_beats(Judgement((1.0,), 0.2, 1.0), errors=1.0)


@pytest.mark.parametrize(("seconds", "share"), [(15.0, 0.5), (60.0, 1.0), (180.0, 1.0)])
def test_little_speech_is_learnt_gently(seconds, share):
    assert Recipe().with_rates_for(seconds).weights_rate == pytest.approx(share * Recipe().weights_rate)


def test_the_network_that_was_judged_is_kept_beside_the_one_learnt_from_everything(general):
    said = phrases(someone(general, 0.25), 14)
    learnt = learn(general, said, pronounce, QUICK)
    apart = {phrase.words for phrase in learnt.apart}
    rest = tuple(phrase for phrase in said if phrase.words not in apart)
    assert len(rest) + len(apart) == len(said)
    assert learnt.model is not learnt.tried


def test_who_is_heard_well_is_left_alone(general):
    """A course moves words that were right as much as wrong ones."""
    said = phrases(someone(general, 0.25), 14)
    well = learn(general, said, pronounce, replace(QUICK, heard_well=1.1))
    assert (well.kind, well.model, well.steps) == (Kind.GENERAL, general, 0)
    assert learn(general, said, pronounce, replace(QUICK, heard_well=0.0)).steps > 0


def test_who_said_too_few_phrases_to_judge_by_is_left_alone(general):
    said = phrases(someone(general, 0.25), 14)
    assert learn(general, said, pronounce, replace(QUICK, fewest_apart=4)).steps > 0
    little = learn(general, said[:9], pronounce, replace(QUICK, fewest_apart=4))
    assert (little.kind, little.model, little.steps) == (Kind.GENERAL, general, 0)


def test_progress_runs_from_nothing_to_all(general):
    told = []
    learn(general, phrases(someone(general, 0.2), 5), pronounce, QUICK, told.append)
    assert told == sorted(told)
    assert (told[0], told[-1]) == (0.0, 1.0)
