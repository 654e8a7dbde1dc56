"""Which words remain risky for a person: those that another word fits nearly as well, when they say them.

Every digit is held against every other, and the words of the pairs that are
easily confused against each other.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from voicelog.hearing.network import AcousticModel
from voicelog.learning.adaptation import Spoken
from voicelog.learning.alignment import Pronounce
from voicelog.learning.phrase_plan import CONFUSABLE
from voicelog.learning.said import Said, costs, times_said

DIGITS = ("nought", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
NEAR = 2.0  # nats by which the other word is behind: closer than that, a little noise turns the one into the other
MOST = 5  # words told, the worst first


@dataclass(frozen=True)
class Risk:
    """A word, and the one that it is nearly taken for."""

    word: str
    rival: str
    near: int  # times the rival fitted nearly as well
    of: int  # times the word was said

    def __str__(self) -> str:
        return f"{self.word} (near {self.rival}, {self.near} of {self.of} times)"


def risky_words(model: AcousticModel, phrases: tuple[Spoken, ...], pronounce: Pronounce) -> tuple[Risk, ...]:
    """The riskiest words of ``phrases``, worst first; empty when none is."""
    times = times_said(model, phrases, pronounce)
    risks = [risk for word, said in times.items() for risk in _risks(word, said, pronounce)]
    worst = {risk.word: risk for risk in sorted(risks, key=lambda risk: risk.near / risk.of)}  # one rival a word
    return tuple(sorted(worst.values(), key=lambda risk: -risk.near / risk.of)[:MOST])


def _risks(word: str, said: list[Said], pronounce: Pronounce) -> Iterator[Risk]:
    own = np.min([costs(way, said) for way in pronounce(word)], axis=0)
    for rival in rivals(word):
        behind = np.min([costs(way, said) for way in pronounce(rival)], axis=0) - own
        if near := int((behind < NEAR).sum()):
            yield Risk(word, rival, near, len(said))


def rivals(word: str) -> tuple[str, ...]:
    """Words that ``word`` could be taken for."""
    groups = [pair for pair in (*CONFUSABLE, DIGITS) if word in pair]
    return tuple(sorted({other for group in groups for other in group} - {word}))
