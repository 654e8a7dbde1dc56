"""The ear that hears sound: pieces of sound through the recogniser, with silences and losses in their place.

It is deaf while the program itself speaks, and remembers the last minute, so
that an utterance just given can be kept as a clip.
"""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from voicelog.hearing.audio import Loss, Piece, Recent, sound_pieces
from voicelog.hearing.ear import Hand, Lost, Pressed, Quiet, pressed
from voicelog.hearing.recogniser import Recogniser
from voicelog.model import Heard

# Silences worth telling, in seconds since anything last happened: a dictation ends, a question is repeated.
QUIET_S = (4.0, 8.0)
TALK = "talk"  # what a push-to-talk key presses
# A raised voice at a headset's microphone, root mean square of int16: 14 dB under full scale. The loudspeaker's sound
# reaches such a microphone far below it. Common practice, not from a standard.
SHOUT = 32768 * 10 ** (-14 / 20)
SHOUT_PIECES = 3  # in a row, 180 ms: no click or knock lasts so long
MARGIN_S = 0.25  # of sound kept before the first word and after the last


def recorded(file: Path) -> Iterator[Piece]:
    """The pieces of a recording; nobody speaks back at it, so it has no time of its own."""
    return (Piece(samples, at=float("inf")) for samples in sound_pieces(file))


@dataclass(frozen=True)
class OwnVoice:
    """The program's own speech, as far as the ear must know of it."""

    until: Callable[[], float] = lambda: 0.0  # time.monotonic() until which it may be in the sound
    stop: Callable[[], None] = lambda: None  # ends it: somebody raised their voice


class SoundEar:
    """Hears pieces of sound, from a microphone or a recording.

    With ``push_to_talk`` it hears only the one utterance after each press of "talk".
    """

    def __init__(
        self,
        recogniser: Recogniser,
        pieces: Iterable[Piece],
        hand: "Hand[Pressed] | None" = None,
        own_voice: OwnVoice | None = None,
        push_to_talk: bool = False,
    ) -> None:
        self._recogniser, self._pieces = recogniser, pieces
        self._hand = hand or SimpleQueue()
        self._own_voice = own_voice or OwnVoice()
        self._push_to_talk, self._open = push_to_talk, not push_to_talk
        self._recent = Recent()
        self._loud = 0  # pieces in a row that are loud while the program speaks
        self._since_s = 0.0  # when anything last happened
        self._told = 0  # how many of the silences since then were told

    def events(self) -> Iterator[Heard | Quiet | Lost | Pressed]:
        for piece in self._pieces:
            yield from self._pressed()
            if piece.lost:
                yield from self._void(piece.lost)
            yield from self._hear(self._meant_for_us(piece))
        yield from self._recogniser.finish()

    def sound(self, heard: Heard) -> np.ndarray | None:
        return self._recent.between(heard.start_s - MARGIN_S, heard.end_s + MARGIN_S)

    def _pressed(self) -> Iterator[Pressed]:
        for answer in pressed(self._hand):
            self._happened()
            if answer.command == TALK:
                self._open = True
            else:
                yield answer

    def _meant_for_us(self, piece: Piece) -> np.ndarray:
        """Silence in place of the program's own voice and of a closed key: the clock of the sound goes on."""
        if piece.at < self._own_voice.until():
            self._happened()
            self._notice_shouting(piece)
        elif self._open or not len(piece.samples):
            return piece.samples
        return np.zeros_like(piece.samples)

    def _notice_shouting(self, piece: Piece) -> None:
        """A loud word while the program speaks ends the prompt."""
        if not len(piece.samples):
            return
        level = np.sqrt(np.mean(np.square(piece.samples, dtype=np.float64)))
        self._loud = self._loud + 1 if level > SHOUT else 0
        if self._loud == SHOUT_PIECES:
            self._own_voice.stop()

    def _void(self, loss: Loss) -> Iterator[Lost | Quiet]:
        """Sound went missing: what was being said is not to be trusted. A long gap was a silence, too."""
        self._recogniser.forget()
        self._happened()
        yield Lost(loss.why, self._recogniser.taken_s, loss.say)
        if loss.gap_s >= QUIET_S[-1]:
            yield Quiet(loss.gap_s, self._recogniser.taken_s)

    def _hear(self, samples: np.ndarray) -> Iterator[Heard | Quiet]:
        self._recent.add(samples)
        for heard in self._recogniser.hear(samples):
            self._happened()
            self._open = not self._push_to_talk
            yield heard
        silence = self._recogniser.taken_s - self._since_s
        if silence >= QUIET_S[self._told] and not self._recogniser.speaking:
            self._told += 1
            if self._told == len(QUIET_S):
                self._happened()
            yield Quiet(silence, self._recogniser.taken_s)

    def _happened(self) -> None:
        self._since_s, self._told = self._recogniser.taken_s, 0
