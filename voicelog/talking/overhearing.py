"""Whether what was heard was meant for the log, or is people talking to each other.

Beside the recogniser that is held to the grammar runs one that takes any talk. The margin says by how many nats the
sentence beats free talk; below 0 free talk explains the sound better. How much is demanded depends on what a mistake
would cost: a question that nobody asked is answered and forgotten, a reading that nobody called is a wrong line in a
record. What follows talk in the same breath is mostly talk, of a value in many words more is to be expected, and more
of one that is hard to believe; but whoever says it twice means it.

The figures are chosen on recordings kept for that purpose (``voicelog bench meant``), none of which is in a score that
these figures take part in.
"""

from dataclasses import dataclass, field

from voicelog.model import Called, Command, Heard, Reading, Understood

SOON_S = 1.0  # a breath: what begins within it after talk belongs to that talk
AGAIN_S = 15.0  # within it the same reading is the same call again, in whatever words
HARMLESS = frozenset(
    {
        *("say_again", "read_back", "status", "where_am_i", "what_failed", "what_is_left", "time_left", "read_board"),
        *("running_total", "terse", "full", "louder", "quieter", "faster", "slower", "undo", "redo", "photo", "resume"),
    }
)
ANSWERS = frozenset({"affirm", "negative", "correction", "disregard"})


@dataclass(frozen=True)
class Demands:
    """Nats of margin demanded of each kind of utterance."""

    harmless: float = -7.0  # questions and settings, and what the next word puts right: undo, redo
    order: float = -8.5  # begins, ends or changes something
    answer: float = -6.0  # may confirm
    place: float = -3.0
    reading: float = -4.5  # a quantity with its value, or a change of one
    value: float = -4.0  # a bare value, where one is awaited
    each_word: float = 2.5  # more for each of its words: one alone is soon said, and has little to be known by
    soon: float = 24.0  # more for what follows talk in the same breath
    soon_value: float = 16.0  # the same for a bare value: numbers in talk are as well said as any
    suspect: float = 8.0  # more for a figure that is hard to believe, and for a word that fits any quantity

    def of(self, kind: str, words: int, soon: bool) -> float:
        """All that is demanded of an utterance of so many words; ``soon``: in the same breath as talk."""
        return getattr(self, kind) + self.beside(kind, words, soon)

    def beside(self, kind: str, words: int, soon: bool, suspect: bool = False) -> float:
        """What is demanded beside the kind's own figure."""
        plain = self.each_word * words + self.soon_value * soon if kind == "value" else self.soon * soon
        return plain + self.suspect * suspect


@dataclass
class Overhearing:
    """Judges utterances in the order in which they come."""

    demands: Demands = field(default_factory=Demands)
    _talk_until_s: float = float("-inf")
    _value_until_s: float = float("-inf")
    _barred: tuple[Reading, float] | None = None  # what was suspect alone, and until when its like is the same call

    def is_talk(self, heard: Heard, understood: Understood, suspect: Reading | None = None) -> bool:
        """True when the utterance was likely not meant for the log. Without a judge nothing is taken for talk.

        ``suspect``: the reading that it would make, where there is reason to ask whether that was called at all.
        """
        if heard.filler_margin is None:
            return False
        value = kind(understood) == "value"  # nobody calls two values in one breath
        before_s = max(self._talk_until_s, self._value_until_s) if value else self._talk_until_s
        demand = self.demands.of(kind(understood), len(understood.words), heard.start_s - before_s < SOON_S)
        beyond = margin(heard, understood) - demand
        talk = beyond < self._for_doubt(heard, suspect if beyond >= 0 else None)
        if talk:
            self._talk_until_s = heard.end_s
        if value:
            self._value_until_s = heard.end_s
        return talk

    def _for_doubt(self, heard: Heard, suspect: Reading | None) -> float:
        """More that is demanded of the suspect, unless the same was said a moment ago."""
        if suspect is None:
            return 0.0
        before, self._barred = self._barred, (suspect, heard.end_s + AGAIN_S)
        again = before is not None and before[0] == suspect and heard.start_s < before[1]
        return 0.0 if again else self.demands.suspect


def margin(heard: Heard, understood: Understood) -> float:
    """Of the words that were understood, which need not be the best ones."""
    best = heard.hypotheses[0].cost
    cost = next((one.cost for one in heard.hypotheses if one.texts == understood.words), best)
    return heard.filler_margin - (cost - best)


def kind(understood: Understood) -> str:
    """Which of the demands an utterance must meet; words without a meaning are like a reading: they may be refused."""
    match understood.meaning:
        case Command(name=name) if name in HARMLESS:
            return "harmless"
        case Command(name="stop"):  # nothing is heard after it
            return "reading"
        case Command(name=name, called=called) if name in ANSWERS or called is None or called.value is None:
            return "answer" if name in ANSWERS else "order"
        case Called(value=None):
            return "place"
        case Called(quantity=""):
            return "value"
    return "reading"
