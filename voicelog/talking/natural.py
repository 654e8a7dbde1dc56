"""The natural voice: the one inside the hibari-tts wheel, and nothing that it would have to fetch.

Loading takes about half a second and is asked for once, in the background; the voice's dictionary, slower than the
voice, is loaded only when a word outside the table is met.
"""

import threading
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from voicelog.errors import DeviceError
from voicelog.talking.levels import levelled, trimmed
from voicelog.talking.pronouncing import respell, say_words, spoken_words
from voicelog.talking.tones import Sound

if TYPE_CHECKING:
    from hibari import Hibari
    from hibari.g2p import G2P

WANTED = "heart"  # the wheel's own voice; every other name would be downloaded
SEED = 0  # the voice adds a little noise; the same clause shall sound the same each time
# Brisk, and well clear of 1.38 times the voice's own pace, where whole sounds drop out and the recogniser hears only
# 91 % of its words right (100 % at 1.05, 1.2 and 1.3: twenty read-backs each). Faster than this, every sound is
# shortened alike instead: 99 % at 1.25 times this pace, 97 % at 1.4.
USUAL_PACE = 1.2


class NaturalVoice:
    """Text to sound at 24 kHz. Raises DeviceError when the wheel or its voice is missing."""

    name = "natural"

    def __init__(self) -> None:
        self._words = spoken_words(self.name)
        self._loading = threading.Lock()
        self._known = lru_cache(maxsize=4096)(self._look_up)

    def load(self) -> None:
        """Load the voice now rather than at the first clause."""
        with self._loading:
            _ = self._voice

    def load_dictionary(self) -> None:
        """Load the dictionary now rather than at the first unknown word."""
        with self._loading:
            _ = self._dictionary

    def render(self, clause: str, speed: float = 1.0) -> Sound:
        """The clause as float32 sound at 24 kHz, without silence around it."""
        self.load()
        try:
            ids = self._voice.ids(self.phonemes(clause))
            sound = self._spoken(ids, speed * USUAL_PACE) if speed <= 1 else self._shortened(ids, speed)
        except Exception as failure:  # a neural runtime fails in its own many ways: the other voice takes over
            raise DeviceError(f"the natural voice failed: {failure}.", do="Use --voice espeak.") from failure
        return levelled(trimmed(sound))

    def _spoken(self, ids: list[int], pace: float) -> Sound:
        return self._voice.from_ids(ids, pace, np.random.default_rng(SEED))

    def _shortened(self, ids: list[int], speed: float) -> Sound:
        """At the usual pace, with frames left out evenly before they are made into sound."""
        from hibari import dsp

        given = {"ids": np.asarray([ids], np.int64), "speed": np.asarray([USUAL_PACE], np.float32)}
        frames = [part[0] for part in self._voice.sess.run(None, given)]
        count = frames[0].shape[-1]
        kept = np.minimum(np.round(np.arange(0, count, speed)).astype(int), count - 1)
        return dsp.synth(*(np.ascontiguousarray(part[..., kept]) for part in frames), np.random.default_rng(SEED))

    def phonemes(self, clause: str) -> str:
        """The clause in the voice's own alphabet, marks kept for its melody."""
        return say_words(clause, self._words, self._known)

    def _look_up(self, word: str) -> str:
        self.load_dictionary()
        return respell(self._dictionary(word, normalize_text=any(c.isdigit() for c in word)), word)

    @cached_property
    def _voice(self) -> "Hibari":
        try:
            from hibari import Hibari
            from hibari.voices import VOICES, voice_path

            if not VOICES[WANTED].get("bundled"):
                raise FileNotFoundError(f"{WANTED} is no longer inside the wheel")
            path = voice_path(WANTED, download_missing=False)
            return Hibari(voice=WANTED, model=path, g2p=False) if Path(path).is_file() else _missing(path)
        except Exception as absent:  # import, runtime or file: whatever it is, there is no natural voice
            raise DeviceError(f"the natural voice is not here: {absent}.", do="Use --voice espeak.") from absent

    @cached_property
    def _dictionary(self) -> "G2P":
        from hibari.g2p import G2P

        return G2P(british=True)


def _missing(path: str) -> None:
    raise FileNotFoundError(path)
