"""START HERE. The loop that carries a reading from the ear to the journal.

Hear an utterance, find its meaning, take one step of the dialogue, then do
what the step asks for in order: keep the entry first, speak about it after.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from voicelog.errors import KeepingError
from voicelog.hearing.ear import Ear, Lost, Pressed, Quiet
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.journal import Journal
from voicelog.keeping.record import Record, fold
from voicelog.meaning.parsing import Reader
from voicelog.model import Command, Draft, Entry, EntryKind, Heard, Reading, Understood
from voicelog.talking.conversation import Act, Adjust, Conversation, Desk, End, Keep, Mode, Said, Silence, Speak, Turn
from voicelog.talking.dialogue import ANSWERS, numbered, onward, step
from voicelog.talking.overhearing import Overhearing
from voicelog.talking.taking_up import taken_up
from voicelog.talking.tones import Tone
from voicelog.talking.voice import Mouth

SAMPLE_RATE_HZ = 16_000
HAND = "by hand"  # the speaker of an answer that was tapped or pressed


class Watcher:
    """Sees everything that happens, as it happens: a screen, a live page. This one looks away."""

    def heard(self, heard: Heard) -> None:
        """An utterance came in."""

    def kept(self, entry: Entry, record: Record, talk: Conversation) -> None:
        """An entry is on the journal."""

    def spoke(self, text: str, tone: Tone | None) -> None:
        """Something is about to be said."""

    def lost(self, why: str) -> None:
        """Sound, or the room to keep it, was lost."""


@dataclass
class Session:
    """One visit: everything it needs, and where the dialogue stands."""

    reader: Reader
    desk: Desk
    ear: Ear
    mouth: Mouth
    journal: Journal
    clips: ClipFolder | None  # None: no sound is kept
    watcher: Watcher = field(default_factory=Watcher)
    versions: dict[str, str] = field(default_factory=dict)
    overhearing: Overhearing = field(default_factory=Overhearing)
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    talk: Conversation = Conversation()

    def run(self) -> Record:
        """Listen until the visit is ended, or there is nothing more to hear."""
        self._begin()

        try:
            for event in self.ear.events():
                # A loss voids what was being said; silence and speech move the dialogue on.
                match event:
                    case Lost(why, _, say):
                        self._say_lost(why, say)
                    case Pressed():
                        self._answer(event)
                    case Quiet(seconds):
                        self._go(step(self.talk, Silence(seconds), self.desk), None)
                    case Heard():
                        self._take(event)

                if self.talk.mode is Mode.ENDED:
                    break
        except KeepingError as refused:
            self._say_lost(f"the visit ends, nothing more can be kept: {refused.what}", "stop, nothing more is kept")
            raise
        finally:
            self._finish()

        return self.desk.record

    # ------------------------------------------------------------ the beginning and the end

    def _begin(self) -> None:
        self.desk = replace(self.desk, record=fold(self.journal.entries()))
        self._keep(Draft(kind=EntryKind.STARTED, detail=self._terms()), None)

        turn = taken_up(self.talk, self.desk)
        self.talk = turn.talk
        self._carry_out(turn.acts, None)

    def _terms(self) -> dict[str, str]:
        """By what it is understood and judged, who confirms, and whether its sound is kept."""
        silent = {} if self.clips else {"sound": "not kept"}
        return {**self.versions, "policy": self.desk.policy.value, **silent}

    def _finish(self) -> None:
        unconfirmed = len(self.desk.record.unconfirmed)
        self._keep(Draft(kind=EntryKind.STOPPED, detail={"unconfirmed": str(unconfirmed)}), None)

    # ------------------------------------------------------------ one event

    def _take(self, heard: Heard) -> None:
        """An utterance: its meaning moves the dialogue, unless it was not meant for the log."""
        self.watcher.heard(heard)
        said = self._meaning(heard)
        turn = step(self.talk, said, self.desk)
        if not self._is_other_talk(heard, said.understood, turn.talk.suspect):
            self._go(turn, heard)

    def _answer(self, pressed: Pressed) -> None:
        """An answer by hand, if what it answers still awaits one."""
        awaited = self.talk.pending.number if self.talk.pending else 0
        if pressed.about in (0, awaited):
            said = Said(Understood(meaning=Command(name=pressed.command)), speaker=HAND)
            self._go(step(self.talk, said, self.desk), None)

    def _go(self, turn: Turn, heard: Heard | None) -> None:
        """Where the dialogue stands now and its acts in order, and then what it does by itself."""
        self.talk = turn.talk
        self._carry_out(turn.acts, heard)

        turn = onward(self.talk, self.desk)
        self.talk = turn.talk
        self._carry_out(turn.acts, None)

    def _is_other_talk(self, heard: Heard, understood: Understood, suspect: Reading | None) -> bool:
        """Speech that free talk explains about as well, or that lacks the attention word."""
        if self.talk.mode in (Mode.DICTATING, Mode.NAMING):
            return False
        if self.overhearing.is_talk(heard, understood, suspect):
            return True
        called_by = heard.texts[:1] == (self.reader.attention,)
        return bool(self.reader.attention) and not called_by and not self._is_awaited(understood)

    def _is_awaited(self, understood: Understood) -> bool:
        """Whether the program has asked for something, or is answered; a reading that may stand asks for nothing."""
        if self.talk.mode is Mode.LISTENING or self.talk.asked is not None:
            return self.talk.asked is not None
        answers = isinstance(understood.meaning, Command) and understood.meaning.name in ANSWERS
        return answers or self.talk.mode is not Mode.CONFIRMING or self.desk.awaits_answer(self.talk)

    def _meaning(self, heard: Heard) -> Said:
        understood = self.reader.understand(heard, self.desk.context(self.talk))
        return Said(understood, heard.end_s, heard.speaker)

    # ------------------------------------------------------------ what the dialogue asks for

    def _carry_out(self, acts: tuple[Act, ...], heard: Heard | None) -> None:
        for act in acts:
            match act:
                case Keep(draft):
                    self._keep(draft, heard)
                case Speak(text, tone):
                    self._speak(text, tone)
                case Adjust(how):
                    self.mouth.manner = getattr(self.mouth.manner, how)()
                case End():
                    pass

    def _keep(self, draft: Draft, heard: Heard | None) -> None:
        """Add an entry, with its sound, before anything is said about it."""
        entry = self.journal.append(self._with_clip(draft, heard))
        self.desk = replace(self.desk, record=self.desk.record.with_entry(entry))
        self.talk = numbered(self.talk, entry)
        self.watcher.kept(entry, self.desk.record, self.talk)

    def _with_clip(self, draft: Draft, heard: Heard | None) -> Draft:
        """The sound of the words goes with them; without room for it the entry goes on alone."""
        wanted = self.clips is not None and heard is not None and draft.words
        samples = self.ear.sound(heard) if wanted else None
        if samples is None or not len(samples):
            return draft
        try:
            clip = self.clips.keep(samples, SAMPLE_RATE_HZ, self.now())
        except KeepingError as error:
            self._say_lost(f"the sound of this entry is not kept: {error.what}", "sound was not kept")
            return draft
        if clip.remark:
            self.watcher.lost(clip.remark)
        return draft.model_copy(update={"clip": clip.name, "clip_sha256": clip.sha256})

    def _speak(self, text: str, tone: Tone | None) -> None:
        self.watcher.spoke(text, tone)
        self.mouth.say(text, tone)

    def _say_lost(self, why: str, say: str) -> None:
        self.watcher.lost(why)
        self.mouth.say(say, Tone.ATTENTION)
