"""A visit without sound, disk or clock: the real reader, dialogue, limits and record, driven with words."""

from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache

from voicelog.checking.editions import load_edition
from voicelog.installation import Sheet
from voicelog.keeping.record import fold
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.parsing import Context, Reader
from voicelog.model import Entry, EntryKind, Heard, Understood
from voicelog.proving.mishearing import Words
from voicelog.talking.conversation import Conversation, Desk, Keep, Policy, Said, Silence, Speak, Turn
from voicelog.talking.dialogue import numbered, onward, step
from voicelog.talking.phrasing import Phrasing
from voicelog.visit import Visit, doubting, judging

NOON = datetime(2026, 1, 1, 12, tzinfo=UTC)


class Stage:
    """What the visits of one sheet share: grammar, reader (with a memory), limits."""

    def __init__(self, grammar: Grammar, sheet: Sheet) -> None:
        self.sheet, self.phrasing = sheet, Phrasing(grammar, sheet)
        self.reader = Reader(grammar, sheet)
        self._judge = judging(sheet, load_edition(sheet.limits))
        self._doubt = doubting(sheet, None, self.phrasing)
        self.read = lru_cache(maxsize=4096)(self._read)

    def desk(self, policy: Policy) -> Desk:
        """A desk with an empty record."""
        grammar = self.phrasing.grammar
        return Desk(grammar, self.sheet, self.phrasing, fold(()), self._judge, self._doubt, policy)

    def _read(self, words: Words, context: Context) -> Understood:
        return Understood(meaning=self.reader.read(words, context), words=words)


def stage_of(visit: Visit) -> Stage:
    """A stage with the grammar and the sheet of a job."""
    return Stage(visit.grammar, visit.sheet)


class Rehearsal:
    """One visit. ``say`` and ``wait`` give back what the program said in answer."""

    def __init__(self, stage: Stage, policy: Policy) -> None:
        self._stage, self.desk, self.talk = stage, stage.desk(policy), Conversation()
        self._count = 0

    def say(self, words: Words, rival: Words = ()) -> tuple[Speak, ...]:
        """Words that reached the program; ``rival``: others that the recogniser found about as likely."""
        context = self.desk.context(self.talk)
        understood = self._stage.read(words, context)
        if rival:
            meaning = self._stage.read(rival, context).meaning
            understood = understood.model_copy(update={"rival": meaning, "margin": 0.0})
        return self._happens(Said(understood))

    def understand(self, heard: Heard) -> Understood:
        """What the ear gave means here."""
        return self._stage.reader.understand(heard, self.desk.context(self.talk))

    def foreseen(self, said: Said) -> Conversation:
        """Where something would lead, were it taken."""
        return step(self.talk, said, self.desk).talk

    def take(self, said: Said) -> tuple[Speak, ...]:
        """Something with its meaning."""
        return self._happens(said)

    def wait(self, seconds: float) -> tuple[Speak, ...]:
        """Nothing reached the program for so long."""
        return self._happens(Silence(seconds))

    @property
    def entries(self) -> int:
        """How many entries there are."""
        return self._count

    def _happens(self, event: Said | Silence) -> tuple[Speak, ...]:
        spoken = self._take(step(self.talk, event, self.desk))
        return spoken + self._take(onward(self.talk, self.desk))

    def _take(self, turn: Turn) -> tuple[Speak, ...]:
        self.talk = turn.talk
        for act in turn.acts:
            if isinstance(act, Keep):
                self._keep(act)
        return tuple(act for act in turn.acts if isinstance(act, Speak))

    def _keep(self, keep: Keep) -> None:
        self._count += 1
        entry = Entry(**dict(keep.draft), number=self._count, at=NOON, previous="", digest="")
        self.talk = numbered(self.talk, entry)
        if entry.kind is not EntryKind.MOVED:
            self.desk = replace(self.desk, record=self.desk.record.with_entry(entry))
