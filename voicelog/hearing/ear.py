"""The one seam between sound and mind: an ear gives utterances and silences, in order."""

import re
import unicodedata
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from queue import Empty, SimpleQueue
from typing import Protocol

import numpy as np

from voicelog.model import Heard, Hypothesis, Word

TYPED_WORD_S = 0.4  # how long a typed word is taken to last, so that typed sessions have a clock
SILENCE = re.compile(r"\.\.\.\s*(\d{1,5}(?:\.\d{1,3})?)?")  # a typed line that stands for it: "..." or "... 12"
SILENCE_S = 10.0


@dataclass(frozen=True)
class Quiet:
    """Nothing was said for so long."""

    seconds: float
    at_s: float = 0.0


@dataclass(frozen=True)
class Lost:
    """Sound was lost or the device went away: what was being said is void."""

    why: str
    at_s: float = 0.0
    say: str = "say again, sound was lost"


@dataclass(frozen=True)
class Pressed:
    """An answer given by hand, on the page or a key: a command's name, and the entry that it is about."""

    command: str
    about: int = 0  # number of the entry; 0 for whatever is awaited


Hand = SimpleQueue  # of Pressed; filled from any thread


def pressed(hand: "Hand[Pressed]") -> Iterator[Pressed]:
    """What was pressed since the last look."""
    while True:
        try:
            yield hand.get_nowait()
        except Empty:
            return


class Ear(Protocol):
    """Gives what it hears, until there is nothing more to hear."""

    def events(self) -> Iterator[Heard | Quiet | Lost | Pressed]:
        """Utterances, silences, losses and answers by hand in the order in which they happen."""

    def sound(self, heard: Heard) -> np.ndarray | None:
        """The samples of an utterance just given (int16, 16 kHz, mono), or None when there is no sound."""


class ScriptedEar:
    """Hears typed lines: for a quiet desk, a demonstration, a test.

    A line is an utterance; "..." is silence; empty lines and lines that begin with # are nothing.
    A line may begin with a speaker's name and a colon.
    """

    def __init__(
        self, lines: Iterable[str], hand: "Hand[Pressed] | None" = None, now_s: Callable[[], float] = float
    ) -> None:
        """``now_s``: seconds since the beginning, where lines are typed as things happen."""
        self._lines, self._now_s = lines, now_s
        self._hand = hand or SimpleQueue()

    def events(self) -> Iterator[Heard | Quiet | Lost | Pressed]:
        clock = 0.0
        for line in self._lines:
            yield from pressed(self._hand)
            text = line.strip()
            if not text or text.startswith("#"):
                continue
            began_s = self._now_s() - TYPED_WORD_S * len(text.split())  # a line comes when it is finished
            event = _typed(text, max(clock, began_s))
            clock = event.at_s if isinstance(event, Quiet) else event.end_s
            yield event
        yield from pressed(self._hand)

    def sound(self, heard: Heard) -> np.ndarray | None:
        return None


def _typed(text: str, clock: float) -> Heard | Quiet:
    if silence := SILENCE.fullmatch(text):
        seconds = float(silence[1] or SILENCE_S)
        return Quiet(seconds, clock + seconds)
    speaker, _, rest = text.rpartition(": ")
    words = said_in(rest)
    spoken = tuple(
        Word(text=word, start_s=clock + index * TYPED_WORD_S, end_s=clock + (index + 1) * TYPED_WORD_S)
        for index, word in enumerate(words)
    )
    end_s = clock + len(words) * TYPED_WORD_S
    return Heard(hypotheses=(Hypothesis(words=spoken),), start_s=clock, end_s=end_s, speaker=speaker)


def said_in(text: str) -> tuple[str, ...]:
    """Typed text as words: lower case, punctuation dropped. Figures stay, so that the reader can refuse them."""
    pieces = unicodedata.normalize("NFC", text).lower().replace("-", " ").split()
    return tuple(word for piece in pieces if (word := _word(piece)))


def _word(piece: str) -> str:
    figures = any(sign.isnumeric() for sign in piece)
    return piece.strip(",;:!?") if figures else "".join(sign for sign in piece if sign.isalpha() or sign == "'")
