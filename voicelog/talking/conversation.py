"""The nouns of a dialogue: where it stands, what comes in, what is to be done.

No clock, no sound, no disk. Time comes in as Silence, and what is to be done
goes out as acts for the session to carry out in order.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum

from voicelog.installation import Sheet
from voicelog.keeping.record import Record
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.parsing import Context
from voicelog.model import Called, Command, Conditions, Draft, EntryKind, Noun, Place, Reading, Understood, Verdict
from voicelog.talking.phrasing import Phrasing
from voicelog.talking.tones import Tone

CIRCUIT_FIRST = "say the circuit first"


class Mode(StrEnum):
    """What the dialogue is waiting for."""

    LISTENING = "listening"  # a reading, a place, an order
    CONFIRMING = "confirming"  # an answer to the reading said back
    CHOOSING = "choosing"  # which of two readings was meant
    NAMING = "naming"  # the free name of a wander-lead point
    DICTATING = "dictating"  # free words of an observation or note
    STANDING_BY = "standing by"  # only "resume"
    ENDED = "ended"


class Policy(StrEnum):
    """Who confirms."""

    EVERY = "every"  # every reading is confirmed by voice
    SECOND_PERSON = "second-person"  # the mate's ear: a reading stands unless challenged before the next one


class Asked(Noun):
    """A reading that needs only its value: after "negative", in a sweep, in a sequence."""

    place: Place
    quantity: str
    unit: str = ""
    conditions: Conditions = {}
    again: bool = False  # asked for by "retest"

    def is_met_by(self, reading: "Reading | Asked") -> bool:
        """Whether the reading is of this quantity, at this place and under these conditions."""
        return (self.place, self.quantity, self.conditions) == (reading.place, reading.quantity, reading.conditions)


class Pending(Noun):
    """A reading that was said back and awaits its answer."""

    number: int = 0  # of its entry; 0 until the journal has numbered it
    reading: Reading
    verdict: Verdict
    said_back: str = ""
    doubted: bool = False  # hard to believe, or no part of the tour: it never stands unanswered


class Tour(Noun):
    """A sweep or a sequence: what is asked for, in order, and where it stands."""

    title: str
    steps: tuple[Asked, ...]
    at: int = 0
    skipped: tuple[int, ...] = ()  # steps that were left out on purpose
    over: bool = False  # it ends once the entries before are kept: the last value is in the total
    after: int = 0  # number of the last entry before a further round: what was read until then is of an earlier one

    @property
    def here(self) -> Asked | None:
        return self.steps[self.at] if self.at < len(self.steps) else None

    def asks_for(self, quantity: str) -> bool:
        """Whether one of the steps is of this quantity, whichever is asked for now."""
        return any(step.quantity == quantity for step in self.steps)


class Watch(Noun):
    """One quantity at one place, called again and again."""

    asked: Asked
    times_s: tuple[float, ...] = ()
    values: tuple[str, ...] = ()  # figures as spoken


class Note(Noun):
    """Free words being taken down."""

    kind: str  # "observation", "note"
    code: str = ""
    place: Place | None = None
    begun: bool = False  # words of it are on the record


class Unplugged(Noun):
    """Something that is out of its socket: the reason of readings at the places that it concerns."""

    item: str
    at: tuple[str, ...]  # keys of these places
    place: Place | None = None  # of "everything": whose


class Redo(Noun):
    """An entry that would do again what "undo" took back."""

    kind: EntryKind
    refers: int


class Conversation(Noun):
    """Where the dialogue stands. Each move gives a new one."""

    mode: Mode = Mode.LISTENING
    place: Place | None = None  # the place in hand
    pending: Pending | None = None
    last: Pending | None = None  # the last reading that was kept or left unconfirmed
    choices: tuple[Called, ...] = ()  # the two readings between which it is in doubt
    asked: Asked | None = None  # a bare value is one of these
    tour: Tour | None = None
    watch: Watch | None = None
    note: Note | None = None
    unplugged: tuple[Unplugged, ...] = ()  # what is unplugged still, latest last
    point: str = ""  # the wander-lead point in hand
    undone: tuple[Redo, ...] = ()  # what "redo" would do, latest last
    due: bool = False  # the tour asks for its next step once the entries before it are kept
    said: str = ""  # the program's last words
    aside: EntryKind | None = None  # a refusal or a note that came after the last reading
    open_correction: bool = False  # what was refused was a correction of the last reading, which still stands open
    repeated: bool = False  # the pending words were already said twice
    suspect: Reading | None = None  # what was just taken for a reading and may well be none
    terse: bool = False

    def watches(self, reading: Reading) -> bool:
        """Whether it is one of the values that are being watched."""
        return self.watch is not None and self.watch.asked.is_met_by(reading)

    def at(self, place: Place | None) -> "Conversation":
        """With this place in hand; a wander-lead point is left behind with its own place."""
        return self.having(place=place, point=self.point if place == self.place else "")

    @property
    def gone_round(self) -> tuple[Asked, ...]:
        """All that is asked for by turns: the steps of the tour, or what is watched."""
        return (*(self.tour.steps if self.tour else ()), *((self.watch.asked,) if self.watch else ()))

    def having(self, **changes) -> "Conversation":
        """The same but for the changes."""
        return self.model_copy(update=changes)


# ---------------------------------------------------------------- what comes in


@dataclass(frozen=True)
class Said:
    """An utterance and its meaning."""

    understood: Understood
    at_s: float = 0.0  # when it ended, on the clock of the sound
    speaker: str = ""

    @property
    def called(self) -> Called | None:
        """What was called, with a word before it or without; None where that word stands alone."""
        meaning = self.understood.meaning
        return meaning.called if isinstance(meaning, Command) else meaning


@dataclass(frozen=True)
class Silence:
    """Nothing was said for so long."""

    seconds: float


Event = Said | Silence


# ---------------------------------------------------------------- what is to be done


@dataclass(frozen=True)
class Keep:
    """Add an entry to the journal, before anything is said about it."""

    draft: Draft


@dataclass(frozen=True)
class Speak:
    """Say this, after the tone."""

    text: str
    tone: Tone | None = None


@dataclass(frozen=True)
class Adjust:
    """Change the voice: louder, quieter, faster, slower."""

    how: str


@dataclass(frozen=True)
class End:
    """The visit is over."""


Act = Keep | Speak | Adjust | End


@dataclass(frozen=True)
class Turn:
    """What a move leaves behind: the conversation after it, and the acts in order."""

    talk: Conversation
    acts: tuple[Act, ...] = ()

    def then(self, *acts: Act) -> "Turn":
        return Turn(self.talk, (*self.acts, *acts))


Doubt = Callable[[Reading, Verdict, Record], str]  # why a value is hard to believe, as a question; empty when it is not


@dataclass(frozen=True)
class Desk:
    """All that the dialogue may look at."""

    grammar: Grammar
    sheet: Sheet
    phrasing: Phrasing
    record: Record
    judge: Callable[[Reading, Record], Verdict]
    doubt: Doubt
    policy: Policy = Policy.EVERY
    close: float = 4.0  # nats: two readings nearer than this are both asked about (``voicelog bench meant`` tells)

    def awaits_answer(self, talk: Conversation) -> bool:
        """Whether the reading said back must be answered; with a second person only one in doubt."""
        return talk.pending is not None and (self.policy is Policy.EVERY or talk.pending.doubted)

    def must_be_answered(self, talk: Conversation) -> bool:
        """The same where a value is watched: minutes may pass before the next lets it stand, if it is not in doubt."""
        return self.awaits_answer(talk) and (talk.pending.doubted or not talk.watches(talk.pending.reading))

    def once_stood(self, pending: Pending | None) -> "Desk":
        """The desk for a move that comes after a reading was let stand: limits, totals and steps count it already."""
        return replace(self, record=self.record.once_stood(pending.number)) if pending else self

    def counting(self, talk: Conversation) -> "Desk":
        """The desk for a question: a reading said back that needs no answer counts in what is told."""
        return self if self.awaits_answer(talk) else self.once_stood(talk.pending)

    def context(self, talk: Conversation) -> Context:
        """What the reader may take from the dialogue: the board in hand, and units that need not be said."""
        units = {step.quantity: step.unit for step in talk.gone_round}
        return Context(board=self.board(talk), units=tuple(units.items()))

    def board(self, talk: Conversation) -> str:
        """The board in hand: that of the place in hand, or else the sheet's first."""
        return talk.place.board if talk.place else self.sheet.boards[0].reference


Move = Callable[[Conversation, Said, Desk], Turn]  # what an utterance does


def speak(talk: Conversation, text: str, tone: Tone | None = None) -> Turn:
    """Say something and remember it for "say again"."""
    return Turn(talk.having(said=text), (Speak(text, tone),))


def circuit_first(talk: Conversation) -> Turn:
    """What was said needs a place in hand."""
    return speak(talk, CIRCUIT_FIRST, Tone.ATTENTION)
