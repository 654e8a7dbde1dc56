"""Ends an utterance when the sound itself has paused, whatever the search makes of it.

The search ends a sentence that is whole within a third of a second. Talk that
fits no sentence can leave it waiting inside some word for sounds that never
come, and the next call would be taken for more of it. So the level is watched
as well: speech that stands above the room, and then a pause.
"""

from collections import deque

import numpy as np

from voicelog.hearing.filterbank import RATE_HZ

ROOM_S = 5.0  # the room is what the quietest tenth of the last seconds sounds like
OVER_ROOM_dB = 9.0  # speech stands at least so far over it
SHORTEST_S = 0.12  # of speech: anything shorter is a click


class Pauses:
    """Tells where speech has been followed by a pause of ``pause_s`` seconds."""

    def __init__(self, pause_s: float) -> None:
        self._pause_s = pause_s
        self._levels: deque[tuple[float, float]] = deque()  # dB and seconds of each piece
        self._known_s = 0.0
        self._speech_s = self._quiet_s = 0.0

    def over(self, piece: np.ndarray) -> bool:
        """Take a piece (int16); True once, when the pause after speech is long enough."""
        seconds = len(piece) / RATE_HZ
        level = _decibels(piece)
        self._remember(level, seconds)
        if level > self._room_dB() + OVER_ROOM_dB:
            self._speech_s, self._quiet_s = self._speech_s + seconds, 0.0
        else:
            self._quiet_s += seconds
        if self._speech_s < SHORTEST_S or self._quiet_s < self._pause_s:
            return False
        self.forget()
        return True

    @property
    def quiet_s(self) -> float:
        """How long nothing has stood over the room, or since the utterance before ended."""
        return self._quiet_s

    def forget(self) -> None:
        """The utterance has ended by itself."""
        self._speech_s = self._quiet_s = 0.0

    def _remember(self, level: float, seconds: float) -> None:
        self._levels.append((level, seconds))
        self._known_s += seconds
        while self._known_s > ROOM_S:
            self._known_s -= self._levels.popleft()[1]

    def _room_dB(self) -> float:
        return float(np.percentile([level for level, _ in self._levels], 10))


def _decibels(piece: np.ndarray) -> float:
    """Level of a piece; digital silence counts as the faintest sound that 16 bits hold."""
    return 10 * np.log10(max(float(np.mean(np.square(piece, dtype=np.float64))), 1.0)) if len(piece) else 0.0
