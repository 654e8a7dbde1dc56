"""Getting to know a person: phrase by phrase, stopped and resumed at will.

The state is a value; ``save`` and ``resume`` keep it in the person's folder
while it is unfinished, the sound of the takes beside it. The sound goes as
soon as the profile is learnt, unless the person allows it to be kept.
"""

import json
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Self

import numpy as np
import soundfile
from numpy.typing import NDArray

from voicelog.errors import KeepingError, StorageFull
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.learning.adaptation import Spoken
from voicelog.learning.takes import Outcome, Take
from voicelog.learning.voice_print import Numbers

Judge = Callable[[NDArray[np.int16], str, list[Numbers]], Take]

STATE = "enrolment.json"
ATTEMPTS = 3  # after so many a phrase is put off to the end
INSISTED = 2  # times heard badly after which a phrase counts: that is how this person says it


@dataclass(frozen=True, eq=False)
class Accepted:
    """A phrase that was said well."""

    phrase: str
    sound: NDArray[np.int16]  # 16 kHz, mono
    print: Numbers


@dataclass(frozen=True, eq=False)
class Enrolment:
    """Which phrases are still to be said, and what was said so far."""

    waiting: tuple[str, ...]
    accepted: tuple[Accepted, ...] = ()
    attempts: tuple[Outcome, ...] = ()  # at the phrase in hand, none of them good
    held: Accepted | None = None  # said by perhaps another person: waits for an answer, is not mixed in
    passed_over: tuple[str, ...] = ()  # given up after a second round of attempts

    @property
    def phrase(self) -> str:
        """The phrase to be said next; empty when all are said."""
        return self.waiting[0] if self.waiting else ""

    @property
    def asks(self) -> bool:
        """Whether a question about who spoke waits for ``same_person``."""
        return self.held is not None

    @property
    def seconds(self) -> float:
        """Of speech accepted."""
        return sum(len(item.sound) for item in self.accepted) / RATE_HZ

    @property
    def prints(self) -> list[Numbers]:
        return [item.print for item in self.accepted]

    @property
    def spoken(self) -> tuple[Spoken, ...]:
        """What to learn from."""
        return tuple(Spoken(item.sound, tuple(item.phrase.split())) for item in self.accepted)

    def take(self, sound: NDArray[np.int16], judge: Judge) -> tuple[Self, Take]:
        """The state after one attempt at the phrase in hand, and what came of it."""
        found = judge(sound, self.phrase, self.prints)
        if found.good and found.print is not None:
            return self._accept(Accepted(self.phrase, sound, found.print)), found
        if found.outcome is Outcome.ANOTHER_VOICE and found.print is not None:
            return replace(self, held=Accepted(self.phrase, sound, found.print)), found
        badly = [*self.attempts, found.outcome].count(Outcome.HEARD_BADLY)
        if found.outcome is Outcome.HEARD_BADLY and badly >= INSISTED and found.print is not None:
            return self._accept(Accepted(self.phrase, sound, found.print)), found
        return self._missed(found.outcome), found

    def same_person(self, yes: bool) -> Self:
        """The answer to the question: the phrase counts after all, or it never was."""
        if self.held is None:
            return self
        return self._accept(self.held) if yes else replace(self, held=None)

    def _accept(self, item: Accepted) -> Self:
        return replace(self, waiting=self.waiting[1:], accepted=(*self.accepted, item), attempts=(), held=None)

    def _missed(self, outcome: Outcome) -> Self:
        """The same phrase again; after a few attempts another first."""
        if len(self.attempts) + 1 < ATTEMPTS:
            return replace(self, attempts=(*self.attempts, outcome))
        phrase, rest = self.waiting[0], self.waiting[1:]
        if phrase in self.passed_over:
            return replace(self, waiting=rest, attempts=())
        return replace(self, waiting=(*rest, phrase), passed_over=(*self.passed_over, phrase), attempts=())

    # ------------------------------------------------------------ kept while unfinished

    def save(self, folder: Path) -> None:
        """Keep the state and the takes in ``folder``. Raises StorageFull."""
        try:
            folder.mkdir(parents=True, exist_ok=True)
            for number, item in enumerate(self.accepted):
                file = folder / _take_name(number)
                if not file.exists():
                    soundfile.write(file, item.sound, RATE_HZ)
            partial = folder / f"{STATE}.partial"
            partial.write_text(json.dumps(self._record(), indent=1), encoding="utf-8")
            partial.replace(folder / STATE)
        except (OSError, soundfile.SoundFileError) as error:
            raise StorageFull(f"the phrases could not be kept: {error}.", where=str(folder)) from None

    def _record(self) -> dict:
        said = [{"phrase": item.phrase, "print": item.print.tolist()} for item in self.accepted]
        return {"waiting": self.waiting, "accepted": said, "passed_over": self.passed_over}

    @classmethod
    def resume(cls, folder: Path) -> Self | None:
        """The state kept in ``folder``; None when there is none. Raises KeepingError when it cannot be read."""
        if not (folder / STATE).is_file():
            return None
        try:
            record = json.loads((folder / STATE).read_text(encoding="utf-8"))
            accepted = [
                Accepted(item["phrase"], _sound(folder / _take_name(number)), np.array(item["print"]))
                for number, item in enumerate(record["accepted"])
            ]
            return cls(tuple(record["waiting"]), tuple(accepted), passed_over=tuple(record["passed_over"]))
        except (OSError, ValueError, KeyError, TypeError, soundfile.SoundFileError) as error:
            raise KeepingError(
                f"the unfinished phrases cannot be read: {error}.",
                where=str(folder),
                do="Delete that folder and begin again.",
            ) from None

    @staticmethod
    def forget(folder: Path) -> None:
        """Remove what was kept while unfinished, sound and all."""
        shutil.rmtree(folder, ignore_errors=True)


def _take_name(number: int) -> str:
    return f"take-{number + 1:03d}.flac"


def _sound(file: Path) -> NDArray[np.int16]:
    sound, _ = soundfile.read(file, dtype="int16")
    return sound
