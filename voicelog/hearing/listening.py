"""The ear that hears sound: pieces of sound through the recogniser, with silences and losses in their place.

It is deaf while the program itself speaks, and remembers the last minute, so
that an utterance just given can be kept as a clip.
"""

from collections.abc import Iterable, Iterator
from pathlib import Path
from queue import SimpleQueue

import numpy as np

from voicelog.hearing.audio import Piece, Recent, sound_pieces
from voicelog.hearing.ear import Hand, Lost, Pressed, Quiet, pressed
from voicelog.hearing.recogniser import Recogniser
from voicelog.model import Heard

# Silences worth telling, in seconds since anything last happened: a dictation ends, a question is repeated.
QUIET_S = (4.0, 8.0)
MARGIN_S = 0.25  # of sound kept before the first word and after the last


def recorded(file: Path) -> Iterator[Piece]:
    """The pieces of a recording; nobody speaks back at it, so it has no time of its own."""
    return (Piece(samples, at=float("inf")) for samples in sound_pieces(file))


class SoundEar:
    """Hears pieces of sound, from a microphone or a recording."""

    def __init__(self, recogniser: Recogniser, pieces: Iterable[Piece], hand: "Hand[Pressed] | None" = None) -> None:
        self._recogniser, self._pieces = recogniser, pieces
        self._hand = hand or SimpleQueue()
        self._recent = Recent()
        self._closed_until = 0.0
        self._since_s = 0.0  # when anything last happened
        self._told = 0  # how many of the silences since then were told

    def events(self) -> Iterator[Heard | Quiet | Lost | Pressed]:
        for piece in self._pieces:
            yield from self._pressed()
            if piece.lost:
                yield from self._void()
            yield from self._hear(self._unless_speaking(piece))
        yield from self._recogniser.finish()

    def sound(self, heard: Heard) -> np.ndarray | None:
        return self._recent.between(heard.start_s - MARGIN_S, heard.end_s + MARGIN_S)

    def close_until(self, moment: float) -> None:
        self._closed_until = moment
        self._happened()

    def _pressed(self) -> Iterator[Pressed]:
        for answer in pressed(self._hand):
            self._happened()
            yield answer

    def _unless_speaking(self, piece: Piece) -> np.ndarray:
        """Silence in place of the program's own voice: the clock of the sound goes on."""
        if piece.at >= self._closed_until:
            return piece.samples
        self._happened()
        return np.zeros_like(piece.samples)

    def _void(self) -> Iterator[Lost]:
        """Sound went missing: what was being said is not to be trusted."""
        for _ in self._recogniser.finish():
            pass
        self._happened()
        yield Lost("the computer fell behind and sound was lost", self._recogniser.taken_s)

    def _hear(self, samples: np.ndarray) -> Iterator[Heard | Quiet]:
        self._recent.add(samples)
        for heard in self._recogniser.hear(samples):
            self._happened()
            yield heard
        silence = self._recogniser.taken_s - self._since_s
        if silence >= QUIET_S[self._told]:
            self._told += 1
            if self._told == len(QUIET_S):
                self._happened()
            yield Quiet(silence, self._recogniser.taken_s)

    def _happened(self) -> None:
        self._since_s, self._told = self._recogniser.taken_s, 0
