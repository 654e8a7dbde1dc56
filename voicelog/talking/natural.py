"""The natural voice: the one inside the hibari-tts wheel, and nothing that it would have to fetch.

Loading takes about half a second and is asked for once, in the background; the voice's dictionary, slower than the
voice, is loaded only when a word outside the table is met.
"""

import threading
from functools import cached_property, lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from voicelog.errors import DeviceError
from voicelog.talking.levels import levelled, trimmed
from voicelog.talking.pronouncing import respell, say_words, spoken_words
from voicelog.talking.tones import Sound

if TYPE_CHECKING:
    from hibari import Hibari
    from hibari.g2p import G2P

WANTED = "heart"  # the wheel's own voice; every other name would be downloaded
SEED = 0  # the voice adds a little noise; the same clause shall sound the same each time
USUAL_PACE = 1.05  # at speed 1: slightly brisk, so that a read-back stays under 3 s


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
            sound = self._voice.from_phonemes(self.phonemes(clause), speed=speed * USUAL_PACE, seed=SEED)
        except Exception as failure:  # a neural runtime fails in its own many ways: the other voice takes over
            raise DeviceError(f"the natural voice failed: {failure}.", do="Use --voice espeak.") from failure
        return levelled(trimmed(sound))

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
