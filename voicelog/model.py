"""The nouns. Frozen things that travel from the ear to the journal.

Numbers are ``Decimal`` exactly as spoken (2.50 is not 2.5), units are the
symbols of ``grammars/units.toml``, times are seconds unless a name says
otherwise, and absence has a name: NotUnderstood, OverRange, Result.
"""

from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field


class Noun(BaseModel):
    """Frozen, and strict about what it is given."""

    model_config = ConfigDict(frozen=True, extra="forbid")


# ---------------------------------------------------------------- what the ear gives


class Word(Noun):
    """One recognised word and where it lies in the sound."""

    text: str
    start_s: float = 0.0  # from the start of the stream
    end_s: float = 0.0


class Hypothesis(Noun):
    """One way to hear an utterance."""

    words: tuple[Word, ...]
    cost: float = 0.0  # negative log score, lower is better; only differences mean anything

    @property
    def texts(self) -> tuple[str, ...]:
        return tuple(word.text for word in self.words)


class Heard(Noun):
    """One utterance: its hypotheses, best first, and its place in the sound."""

    hypotheses: tuple[Hypothesis, ...]
    start_s: float = 0.0
    end_s: float = 0.0
    decode_s: float = 0.0  # processor seconds the recogniser spent
    filler_margin: float | None = None  # cost of the best filler path minus cost of the best reading
    speaker: str = ""  # which profile fitted best; empty when there is none

    @property
    def texts(self) -> tuple[str, ...]:
        return self.hypotheses[0].texts if self.hypotheses else ()


# ---------------------------------------------------------------- what was said


class Comparison(StrEnum):
    """How a figure bounds the quantity."""

    EQUAL = "="
    ABOVE = ">"
    BELOW = "<"


class Number(Noun):
    """A figure exactly as spoken."""

    kind: Literal["number"] = "number"
    figure: Decimal
    comparison: Comparison = Comparison.EQUAL


class OverRange(Noun):
    """The instrument shows that the value lies beyond its span, without a figure."""

    kind: Literal["over_range"] = "over_range"


class OpenCircuit(Noun):
    """No continuity at all."""

    kind: Literal["open_circuit"] = "open_circuit"


class Result(Noun):
    """A yes/no kind of result, or the named reason why there is none."""

    kind: Literal["result"] = "result"
    word: Literal["pass", "fail", "no_trip", "not_applicable", "limitation", "no_earth"]


class Choice(Noun):
    """One of a quantity's own words, such as a device type or a phase order."""

    kind: Literal["choice"] = "choice"
    word: str


Value = Annotated[Number | OverRange | OpenCircuit | Result | Choice, Field(discriminator="kind")]


class Place(Noun):
    """Where a reading belongs: a circuit, an RCD, or with neither the board (its tails)."""

    board: str  # the board's reference on the job sheet
    circuit: str = ""  # circuit designation on that board, "5" or "5L2"
    rcd: str = ""  # RCD reference on that board

    @property
    def key(self) -> str:
        """One word to group by: ``DB1/5``, ``DB1/RCD1``, ``DB1``."""
        return "/".join(part for part in (self.board, self.circuit or self.rcd) if part)

    @property
    def _parts(self) -> tuple[str, str, str]:
        return self.board, self.circuit, self.rcd

    # As the library compares nouns, but ten times as fast: every look-up among readings compares places.
    def __eq__(self, other: object) -> bool:
        return isinstance(other, Place) and self._parts == other._parts

    def __hash__(self) -> int:
        return hash(self._parts)


Conditions = dict[str, str]  # e.g. {"test_voltage_V": "500"}, {"multiple": "5"}, {"point": "cloakroom switch"}


class Called(Noun):
    """What an utterance called out; parts that were not said are absent."""

    kind: Literal["called"] = "called"
    place: Place | None = None
    quantity: str = ""  # key of a quantity in grammars/; "five times nine point one" has conditions and none
    value: Value | None = None
    unit: str = ""  # symbol as spoken; empty when none was said
    conditions: Conditions = Field(default_factory=dict)
    repaired: bool = False  # the value was put right in the same breath: "seven, no wait, seven point two"


class Command(Noun):
    """A proword or an order, with what it carries along."""

    kind: Literal["command"] = "command"
    name: str  # key of a command in grammars/commands.toml
    called: Called | None = None  # the reading or value said in the same breath
    arguments: Conditions = Field(default_factory=dict)


class NotUnderstood(Noun):
    """Words that mean nothing here, and why."""

    kind: Literal["not_understood"] = "not_understood"
    why: str
    words: tuple[str, ...] = ()
    nearly: bool = False  # a sentence of the trade that cannot stand, or the beginning of one: worth an answer
    called: Called | None = None  # all that was understood of it, where the value alone cannot stand


Meaning = Annotated[Called | Command | NotUnderstood, Field(discriminator="kind")]


class Understood(Noun):
    """The best meaning of an utterance and its nearest DIFFERENT rival."""

    meaning: Meaning
    words: tuple[str, ...] = ()
    rival: Meaning | None = None
    margin: float | None = None  # cost of the rival minus cost of the meaning; None when there is no rival


class Reading(Noun):
    """One value of one quantity at one place: complete, with nothing left to guess."""

    place: Place
    quantity: str  # key of a quantity in grammars/
    value: Value
    unit: str = ""  # symbol as spoken, or the quantity's own when it has only one
    conditions: Conditions = Field(default_factory=dict)


# ---------------------------------------------------------------- what it means


class Outcome(StrEnum):
    """What a limit says of a value."""

    PASS = "pass"
    MARGINAL = "marginal"
    FAIL = "fail"
    NO_LIMIT = "no limit known"


class Verdict(Noun):
    """An aid, never the last word: what the limit in force says of a value."""

    outcome: Outcome
    sentence: str  # the limit's own sentence, readable without any code
    source: str = ""  # where the limit comes from, and whether confirmed, computed or from memory
    edition: str = ""  # label of the limit edition
    limit: Decimal | None = None  # in ``unit``
    unit: str = ""
    caution: str = ""  # shown and said where work can hurt


# ---------------------------------------------------------------- what is kept


class EntryKind(StrEnum):
    """What happened. Entries are only ever added; later ones point at earlier ones."""

    STARTED = "started"  # a session began: versions, policy, instruments in ``detail``
    CALLED = "called"  # a reading was heard and said back; it awaits an answer
    AFFIRMED = "affirmed"  # ``refers`` was confirmed by voice or hand
    STOOD = "stood"  # ``refers`` was not challenged before the next reading (second person)
    CORRECTED = "corrected"  # a new reading in place of ``refers``; it awaits an answer of its own
    WITHDRAWN = "withdrawn"  # ``refers`` was disregarded
    RESTORED = "restored"  # ``refers`` (withdrawn or replaced) counts again
    MOVED = "moved"  # the place in hand changed to ``place``
    REFUSED = "refused"  # trade words that made no reading: why is in ``detail``
    NOTED = "noted"  # an observation, board fact, voice note, photo reminder: ``detail`` says which
    REVIEWED = "reviewed"  # a review decision on ``refers`` (signed off, clip removed, free words)
    STOPPED = "stopped"  # the session ended in order


EVERYTHING = "everything"  # the item that stands for all that is plugged in on a circuit


class Draft(Noun):
    """An entry before the journal has numbered, timed and chained it."""

    kind: EntryKind
    words: tuple[str, ...] = ()  # as heard
    place: Place | None = None
    reading: Reading | None = None
    verdict: Verdict | None = None
    said_back: str = ""  # what the program answered
    refers: int | None = None  # number of the entry this one is about
    reason: str = ""  # why: "unplugged the tea urn", "heard wrong"
    speaker: str = ""
    clip: str = ""  # file name in clips/; empty when no sound was kept
    clip_sha256: str = ""
    margin: float | None = None
    rival: Meaning | None = None
    detail: dict[str, str] = Field(default_factory=dict)


class Entry(Draft):
    """One link of the journal."""

    number: int  # 1, 2, 3 ... without gaps
    at: datetime  # aware, UTC
    previous: str  # SHA-256 of the entry before; 64 zeros for the first
    digest: str  # SHA-256 of this entry's canonical JSON, ``previous`` included


class Standing(StrEnum):
    """How far a reading on the record can be trusted."""

    AWAITING = "awaiting"  # said back, not answered: silence never confirms
    AFFIRMED = "affirmed"
    UNCHALLENGED = "unchallenged"  # second person policy
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"
