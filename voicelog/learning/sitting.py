"""Sitting down with a person: phrases shown, heard, judged, until enough is said or they stop.

Only three things touch the world, and they are handed in: something that
shows, something that asks, something that listens. What was said well is on
disk before the next phrase is shown, so stopping at any moment loses at most
the phrase in hand.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.model_folder import ACOUSTIC, BUNDLED
from voicelog.hearing.nnet3 import read_model
from voicelog.learning.enrolment import Enrolment, Judge
from voicelog.learning.phrase_plan import phrase_plan
from voicelog.learning.profiles import Profiles
from voicelog.learning.takes import judge_take
from voicelog.meaning.grammar import Grammar


@dataclass(frozen=True)
class Desk:
    """How a sitting meets the person."""

    show: Callable[[str], None]  # a phrase to say, or advice
    ask: Callable[[str], bool]  # a question with yes or no
    listen: Callable[[], NDArray[np.int16]]  # the sound of one phrase


def begin(profiles: Profiles, name: str, grammar: Grammar, minutes: float = 2.0) -> Enrolment:
    """Where the person left off, or a new plan. Raises InputError for a name that cannot be one, KeepingError."""
    unfinished = Enrolment.resume(profiles.unfinished(name))
    return unfinished or Enrolment(phrase_plan(grammar, bundled_lexicon().pronounce, minutes))


def judge_with(general: Path = BUNDLED) -> Judge:
    """The judge of takes with the general network. Raises ModelError."""
    model, pronounce = read_model(general / ACOUSTIC), bundled_lexicon().pronounce

    return partial(judge_take, model=model, pronounce=pronounce)


def sitting(profiles: Profiles, name: str, state: Enrolment, judge: Judge, desk: Desk) -> Enrolment:
    """Go through the phrases that wait; each one accepted is kept before the next is shown."""
    folder = profiles.unfinished(name)
    while state.phrase:
        desk.show(state.phrase)
        state, take = state.take(desk.listen(), judge)
        if state.asks:
            state = state.same_person(desk.ask(take.advice))
        elif take.advice:
            desk.show(take.advice)
        state.save(folder)
    return state
