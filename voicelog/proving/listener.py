"""The person who hears the read-back and sees what the instrument shows: a model, stated to be argued with.

They notice that something differs by chance, once for each cue that is out: the words said back, a verdict other than
the one the true figure would get, a question that the program asks. No source gives the chance for this task. The
closest: implicit confirmation lets 40 % of errors through (a secondary source), so 0.60 a cue is taken as the worst
case; one person reading to another is known to be a weak check (Barchard and others, 2020). So results are given for a
range, and whoever quotes one must quote the listener with it.
"""

import random
from dataclasses import dataclass

from voicelog.model import Reading, Verdict
from voicelog.proving.mishearing import Utterance, Words
from voicelog.talking.conversation import Pending

NOTICES = (0.60, 0.90, 0.97)  # chance for each cue; the first from a source, the others to show how much it matters
FALSE_ALARM = 0.002  # a right read-back is challenged all the same (assumption)
UNHEARD = 0.02  # an answer does not reach the program (assumption)


@dataclass(frozen=True)
class Listener:
    """How likely a difference is noticed, cue by cue."""

    notices: float
    draw: random.Random

    def objects(self, meant: Reading, expected: Verdict, back: Pending, asked: bool, told: bool = True) -> bool:
        """Whether they challenge what was said back; ``told``: the part that is wrong was said."""
        if back.reading == meant:
            return self.draw.random() < FALSE_ALARM
        cues = told + (back.verdict.outcome is not expected.outcome) + asked
        return any(self.draw.random() < self.notices for _ in range(cues))

    def reaches(self) -> bool:
        """Whether an answer reaches the program."""
        return self.draw.random() >= UNHEARD

    def objection(self, meant: Reading, back: Reading, call: Utterance) -> tuple[Words, Utterance | None]:
        """What they say, and what they say after being asked again, if they will be."""
        if (back.place, back.quantity, back.conditions) != (meant.place, meant.quantity, meant.conditions):
            return ("disregard",), call
        value = Utterance((), (), call.value, call.unit)
        if self.draw.random() < 0.5:
            return ("negative",), value
        return ("correction",), value
