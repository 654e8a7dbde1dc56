"""The second voice: eSpeak NG's British one, from the library inside the espeakng-loader wheel, through ctypes.

Plain, but ready in milliseconds and hard to break: it can be chosen, and it takes over when the natural voice cannot
speak. The library keeps one state for the whole process, so there is one of it here, behind a lock.
"""

import ctypes
import threading
from functools import cache
from pathlib import Path

import numpy as np
import soxr

from voicelog.errors import DeviceError
from voicelog.talking.levels import levelled, trimmed
from voicelog.talking.loudspeaker import RATE_HZ
from voicelog.talking.pronouncing import say_words, spoken_words
from voicelog.talking.tones import Sound

# Numbers from eSpeak NG's speak_lib.h, version 1.52.
SYNCHRONOUS = 2  # espeak_AUDIO_OUTPUT: hand the samples to a callback, return when done
DONT_EXIT = 0x8000  # espeak_Initialize: report a missing folder instead of ending the process
RATE = 1  # espeak_PARAMETER, words a minute
UTF8, PHONEMES = 1, 0x100  # espeak_Synth flags; the second lets [[...]] through
BY_CHARACTER = 1
USUAL_WPM = 165

BRITISH = "gmw/en"
_STARTING = threading.Lock()  # two threads may ask first; the library must be started once
Callback = ctypes.CFUNCTYPE(ctypes.c_int, ctypes.POINTER(ctypes.c_short), ctypes.c_int, ctypes.c_void_p)


class EspeakVoice:
    """Text to sound at 24 kHz. Raises DeviceError when the library is missing."""

    name = "espeak"

    def __init__(self, accent: str = BRITISH) -> None:
        self._accent = accent
        self._words = spoken_words(self.name)

    def load(self) -> None:
        """Load the library now rather than at the first clause."""
        _library()

    def load_dictionary(self) -> None:
        """Nothing to do: the library carries its dictionary."""

    def render(self, clause: str, speed: float = 1.0) -> Sound:
        """The clause as float32 sound at 24 kHz, without silence around it."""
        text = say_words(clause.replace("[[", "").replace("]]", ""), self._words, str)
        samples, rate_Hz = _library().synthesise(text, round(USUAL_WPM * speed), self._accent)
        return levelled(trimmed(soxr.resample(samples, rate_Hz, RATE_HZ, quality="MQ")))


class _Library:
    def __init__(self, library: ctypes.CDLL, rate_Hz: int) -> None:
        self._library, self._rate_Hz = library, rate_Hz
        self._lock = threading.Lock()
        self._pieces: list[np.ndarray] = []
        self._collect = Callback(self._take)  # kept: the library holds only its address
        library.espeak_SetSynthCallback(self._collect)

    def synthesise(self, text: str, words_per_minute: int, accent: str) -> tuple[Sound, int]:
        """Float32 samples and their rate in Hz."""
        coded = text.encode() + b"\0"
        with self._lock:
            self._pieces = []
            self._choose(accent, words_per_minute)
            status = self._library.espeak_Synth(coded, len(coded), 0, BY_CHARACTER, 0, UTF8 | PHONEMES, None, None)
            if status or not self._pieces:
                raise DeviceError(f"eSpeak NG made no sound of {text!r} (status {status}).", do="Use --voice natural.")
            return np.concatenate(self._pieces).astype(np.float32) / 32768, self._rate_Hz

    def _choose(self, accent: str, words_per_minute: int) -> None:
        if self._library.espeak_SetVoiceByName(accent.encode()):
            raise DeviceError("eSpeak NG has no such voice.", where=accent, do=f"Use {BRITISH}.")
        self._library.espeak_SetParameter(RATE, words_per_minute, 0)

    def _take(self, samples: object, count: int, _events: object) -> int:
        if samples and count > 0:
            self._pieces.append(np.ctypeslib.as_array(samples, (count,)).copy())
        return 0


def _library() -> _Library:
    with _STARTING:
        return _start()


@cache
def _start() -> _Library:
    try:
        import espeakng_loader

        library = ctypes.CDLL(espeakng_loader.get_library_path())
        folder = Path(espeakng_loader.get_data_path())
    except (ImportError, OSError, RuntimeError) as absent:
        raise DeviceError(f"eSpeak NG is not here: {absent}.", do="Install voicelog again.") from absent
    rate_Hz = library.espeak_Initialize(SYNCHRONOUS, 0, str(folder).encode(), DONT_EXIT)
    if rate_Hz <= 0:
        raise DeviceError("eSpeak NG did not start.", where=str(folder), do="Install voicelog again.")
    return _Library(library, rate_Hz)
