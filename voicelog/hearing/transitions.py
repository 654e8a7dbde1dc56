"""The numbers that tie a decoding graph to the acoustic model: phones and transition ids.

A Kaldi transition model numbers every step a path can take. Ours is the
topology of connectionist temporal classification (CTC, Graves et al. 2006):
the silence phone has one state on the blank output; every other phone has a
first state on its own output and a second, optional state on blank. Each
phone comes in four positions of a word (_B begin, _E end, _I internal,
_S alone) that share an output, so that words can be timed.
"""

from dataclasses import dataclass
from functools import cached_property

from voicelog.hearing.phones import BLANK, PHONE_ID, PHONES

SILENCE = "SIL"
POSITIONS = {"B": "begin", "E": "end", "I": "internal", "S": "singleton"}
SILENCE_STEPS = 2  # loop, leave
PHONE_STEPS = 5  # loop, to blank, leave; then on blank: loop, leave

# Number 0 is no phone; number 1 is silence.
GRAPH_PHONES = (SILENCE, *(f"{phone}_{position}" for phone in PHONES for position in POSITIONS))  # 157 names


@dataclass(frozen=True)
class SilenceSteps:
    """Transition ids of the silence phone: one state, on blank."""

    loop: int
    leave: int


@dataclass(frozen=True)
class PhoneSteps:
    """Transition ids of one phone in one position of a word."""

    loop: int  # stay on the phone's own output
    to_blank: int  # own output, then on to the blank state
    leave: int  # own output, then out of the phone
    blank_loop: int  # stay on blank
    blank_leave: int  # blank, then out of the phone


@dataclass(frozen=True)
class TransitionIds:
    """Every transition id of the topology, numbered from 1 as Kaldi does."""

    phones: tuple[str, ...] = GRAPH_PHONES

    @cached_property
    def phone_numbers(self) -> dict[str, int]:
        """``{"SIL": 1, "AA_B": 2, ...}``."""
        return {name: number for number, name in enumerate(self.phones, start=1)}

    @property
    def silence(self) -> SilenceSteps:
        return SilenceSteps(loop=1, leave=2)

    def steps(self, phone: str, position: str) -> PhoneSteps:
        """The steps of ``phone`` (``"AA"``) in ``position`` (``"B"``, ``"E"``, ``"I"`` or ``"S"``).

        Raises KeyError for a phone or position that the model does not have.
        """
        before = SILENCE_STEPS + PHONE_STEPS * (self.phone_numbers[f"{phone}_{position}"] - 2)
        return PhoneSteps(*range(before + 1, before + 1 + PHONE_STEPS))

    @property
    def count(self) -> int:
        return SILENCE_STEPS + PHONE_STEPS * (len(self.phones) - 1)

    @cached_property
    def outputs(self) -> tuple[int, ...]:
        """The network output of each transition id; place 0 is unused."""
        steps = [-1, BLANK, BLANK]
        for name in self.phones[1:]:
            steps += [PHONE_ID[name[:-2]]] * 3 + [BLANK] * 2
        return tuple(steps)

    @cached_property
    def tuples(self) -> tuple[tuple[int, int, int, int], ...]:
        """(phone number, state, forward output, loop output), in Kaldi's order."""
        rows = [(1, 0, BLANK, BLANK)]
        for number, name in enumerate(self.phones[1:], start=2):
            own = PHONE_ID[name[:-2]]
            rows += [(number, 0, own, own), (number, 1, BLANK, BLANK)]
        return tuple(rows)

    def word_boundaries(self) -> str:
        """The text of ``graph/phones/word_boundary.int``: which phone begins, ends or is a word."""
        kinds = ["nonword", *(POSITIONS[name[-1]] for name in self.phones[1:])]
        return "".join(f"{number} {kind}\n" for number, kind in enumerate(kinds, start=1))
