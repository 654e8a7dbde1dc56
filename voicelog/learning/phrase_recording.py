"""One phrase out of a stream of sound: from a little before it begins until it has been quiet for a while.

Loudness decides, against the quiet heard first: no network is needed to notice
that somebody began and stopped to speak.
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import RATE_HZ

Sound = NDArray[np.int16]

BEGINS_dB = 9.0  # over the quietest moment so far
BEFORE_S = 0.4  # of sound kept before speech begins
AFTER_S = 0.9  # of quiet that ends a phrase: longer than a pause between two words
LONGEST_S = 12.0
PATIENCE_S = 8.0  # without any speech the sound so far is given, and found to be silence
FAINT = 2.0  # sample units; digital silence counts as this loud


def one_phrase(pieces: Iterable[Sound]) -> Sound:
    """The next phrase in ``pieces`` (int16, 16 kHz, mono, any length).

    Ends with the stream, after a pause, or when patience runs out; nothing
    that was said is cut off at the start.
    """
    held: list[Sound] = []
    quietest, length, began, loud_until = np.inf, 0, None, 0
    for piece in pieces:
        held.append(piece)
        length += len(piece)
        level = 20 * np.log10(max(FAINT, float(np.sqrt(np.mean(piece.astype(np.float64) ** 2)))))
        quietest = min(quietest, level)
        if level > quietest + BEGINS_dB:
            began = began if began is not None else length - len(piece)
            loud_until = length
        if _over(length, began, loud_until):
            break
    sound = np.concatenate(held) if held else np.zeros(0, np.int16)
    return sound if began is None else sound[max(0, began - round(BEFORE_S * RATE_HZ)) :]


def _over(length: int, began: int | None, loud_until: int) -> bool:
    if began is None:
        return length >= PATIENCE_S * RATE_HZ
    return length - loud_until >= AFTER_S * RATE_HZ or length - began >= LONGEST_S * RATE_HZ
