"""The chance that a reading is right: the curve's arithmetic against its own definition and a known generator."""

import math
import random

import pytest

from voicelog.proving.certainty import (
    ASKING_S,
    NOT_NOTICED,
    SECOND_VISIT_S,
    Certainty,
    Trial,
    ask_within,
    fitted,
    found_in,
)


def trials(truth: Certainty, count: int) -> list[Trial]:
    draw = random.Random(0)
    margins = [draw.choice((None, draw.uniform(0, 12))) for _ in range(count)]
    return [
        Trial(group=str(number % 6), condition="", margin=margin, right=draw.random() < truth.chance(margin))
        for number, margin in enumerate(margins)
    ]


def test_the_chance_grows_with_the_margin_and_has_its_own_value_without_another_meaning():
    curve = Certainty(0.0, 0.5, 4.0)
    assert curve.chance(0.0) == curve.chance(-3.0) == 0.5 < curve.chance(2.0)
    assert curve.chance(None) == pytest.approx(0.982, abs=1e-3)


def test_the_fit_finds_the_curve_that_made_the_trials():
    found = fitted(trials(Certainty(-0.5, 0.6, 2.0), 6000))
    assert (found.at_zero, found.rise, found.alone) == pytest.approx((-0.5, 0.6, 2.0), abs=0.25)


def test_chances_that_are_true_are_found_true_on_other_groups():
    found = found_in(trials(Certainty(-0.5, 0.6, 2.0), 6000), 6000)
    assert found.expected_error < 0.03
    assert sum(one.readings for one in found.bins) == 3000


def test_chances_that_are_not_true_are_shown_so():
    """Speakers of the other groups are wrong half the time, whatever the margin."""
    draw = random.Random(1)
    mixed = [
        trial if int(trial.group) % 2 == 0 else trial.model_copy(update={"right": draw.random() < 0.5})
        for trial in trials(Certainty(3.0, 0.3, 5.0), 2000)
    ]
    assert found_in(mixed, 2000).expected_error > 0.3


def test_asking_begins_where_it_costs_what_a_wrong_reading_would():
    curve = Certainty(0.0, 0.5, 4.0)
    margin = ask_within(curve)
    wrong = 1 - 1 / (1 + math.exp(-0.5 * margin))
    assert wrong * NOT_NOTICED * SECOND_VISIT_S == pytest.approx(ASKING_S)
