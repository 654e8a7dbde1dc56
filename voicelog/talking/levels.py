"""Speech made ready to play: silence trimmed off its ends, and one loudness whoever spoke."""

import numpy as np

from voicelog.talking.loudspeaker import RATE_HZ
from voicelog.talking.tones import Sound

FRAME = RATE_HZ // 200  # 5 ms
QUIET_dB = -50.0  # under the loudest frame: the weakest f and th begin there, the pauses lie under -60
KEPT_BEFORE = 2 * FRAME  # 10 ms: the onset of a stop needs its burst
KEPT_AFTER = 6 * FRAME  # 30 ms: the end of a word may fade
SPEECH_RMS = 0.12  # -18 dB of full scale over the frames that carry speech
CEILING = 0.97


def trimmed(sound: Sound) -> Sound:
    """Without the silence before and after; empty when there is nothing but silence."""
    level = _frame_levels(sound)
    if not len(level) or level.max() <= 0:
        return np.zeros(0, np.float32)
    loud = np.flatnonzero(level > level.max() * 10 ** (QUIET_dB / 20))
    start = max(0, loud[0] * FRAME - KEPT_BEFORE)
    return sound[start : (loud[-1] + 1) * FRAME + KEPT_AFTER]


def levelled(sound: Sound) -> Sound:
    """At SPEECH_RMS over its speech, peaks held under CEILING."""
    level = _frame_levels(sound)
    speech = level[level > level.max(initial=0) * 0.1]
    if not len(speech):
        return sound
    gain = SPEECH_RMS / float(np.sqrt((speech**2).mean()))
    return held(sound * gain)


def held(sound: Sound) -> Sound:
    """Peaks over half the ceiling bent under it, smoothly; what is below passes unchanged."""
    knee = CEILING / 2
    over = np.maximum(np.abs(sound) - knee, 0) / (CEILING - knee)
    bent = np.where(np.abs(sound) > knee, np.sign(sound) * (knee + (CEILING - knee) * np.tanh(over)), sound)
    return bent.astype(np.float32)


def _frame_levels(sound: Sound) -> Sound:
    whole = sound[: len(sound) // FRAME * FRAME].reshape(-1, FRAME)
    return np.sqrt((whole.astype(np.float64) ** 2).mean(axis=1))
