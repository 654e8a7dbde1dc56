"""Faults of sound, through the real ear, recogniser, dialogue and journal: a microphone that comes and goes.

A pretended sound system plays the recorded visit and breaks off in the middle of a call: the device vanishes and comes
back, or the computer sleeps. Then comes the rest of that call, and the call anew. The two halves must make no reading,
what was kept before must stand, the crew must be told in words, and the call said anew must be kept.
"""

import shutil
import tempfile
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from pydantic import computed_field

from voicelog.hearing.audio import PIECE, Microphone, Piece, read_sound
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.listening import SoundEar
from voicelog.keeping.verify import verify_job
from voicelog.model import Noun
from voicelog.proving.faults import Case
from voicelog.proving.script import shown
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import open_recogniser, run

# Seconds of the demonstration's recording: "main fuse one hundred amps", "affirm", "zed e nought point | two one ohms",
# and the last call once more with its "affirm".
BEFORE, REST, ANEW = (3.5, 12.0), (12.0, 14.0), (10.5, 17.0)
WANTED = ("called DB1 main_fuse 100 A", "affirmed #2", "called DB1 ze 0.21 ohm", "affirmed #4")
WAIT_S = 0.2  # this device is given up sooner than a real one
SLEPT_S = 3600.0
AHEAD = 100  # pieces that may wait to be heard


class Gaps(Noun):
    """``voicelog bench gaps``."""

    faults: tuple[Case, ...]

    @computed_field
    @property
    def passed(self) -> bool:
        return all(case.held for case in self.faults)


def bench_gaps() -> Gaps:
    """Both of them. Raises nothing for one that does not hold."""
    return Gaps(faults=(vanishing_microphone(), sleeping_computer()))


def vanishing_microphone() -> Case:
    """The device goes in the middle of a call, is refused twice, and comes back."""
    return _tried("the microphone vanishes in the middle of a call and comes back", refusals=2, away_s=9.0)


def sleeping_computer() -> Case:
    """Sound goes on after an hour's sleep as if nothing had been."""
    return _tried("the computer sleeps in the middle of a call")


def _tried(name: str, refusals: int = 0, away_s: float = SLEPT_S) -> Case:
    system = _System(refusals, away_s)
    told = _Told()
    with tempfile.TemporaryDirectory() as place:
        shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", place)
        visit = open_visit(Path(place))
        with Microphone(None, system, waits=True, wait_s=WAIT_S, clock=system.clock) as microphone:
            ear = SoundEar(open_recogniser(visit), system.heard(microphone))
            run(visit, ear, SilentMouth(), Policy.EVERY, told)
        entries = tuple(shown(entry) for entry in visit.job.entries()[1:-1])
        whole = verify_job(visit.job.folder).exit_code == 0
    held = whole and entries == WANTED and len(told.words) == (2 if refusals else 1)
    return Case(name=name, tried=1, held=held, seen="; ".join(told.words))


class _Told(Watcher):
    def __init__(self) -> None:
        self.words: list[str] = []

    def lost(self, why: str) -> None:
        self.words.append(why)


class _System:
    """One 16 kHz microphone, as fast as it is listened to; stands in for the ``sounddevice`` module."""

    class PortAudioError(Exception):
        pass

    def __init__(self, refusals: int, away_s: float) -> None:
        self._refusals, self._away_s = refusals, away_s
        sound = read_sound(data_folder("audio_samples") / "demo" / "visit.flac")
        parts = [sound[round(first * RATE_HZ) : round(last * RATE_HZ)] for first, last in (BEFORE, REST, ANEW)]
        self._before, self._after = parts[0], np.concatenate(parts[1:])
        self._given = self._taken = 0
        self._offset_s, self._over = 0.0, threading.Event()
        self._opened = 0

    def clock(self) -> float:
        """Goes with the sound: this machine may have other things to do meanwhile."""
        return self._given * PIECE / RATE_HZ + self._offset_s

    def check_input_settings(self, **_: object) -> None:
        """Any will do."""

    def InputStream(self, callback, **_: object) -> SimpleNamespace:  # noqa: ANN001, N802
        self._opened += 1
        if 1 < self._opened <= 1 + self._refusals:
            raise self.PortAudioError("Device unavailable")
        plays = threading.Thread(target=self._play, args=(callback, self._opened == 1), daemon=True)
        return SimpleNamespace(start=plays.start, close=lambda: None)

    def heard(self, microphone: Microphone) -> Iterator[Piece]:
        """What the microphone gives, until all is heard."""
        for piece in microphone:
            self._taken += bool(len(piece.samples))
            yield piece
            if self._over.is_set() and self._taken == self._given:
                return

    def _play(self, callback, first: bool) -> None:  # noqa: ANN001
        if first:
            self._give(self._before, callback)
            self._offset_s = self._away_s
            if self._refusals:
                return
        self._give(self._after, callback)
        self._over.set()

    def _give(self, sound: np.ndarray, callback) -> None:  # noqa: ANN001
        for start in range(0, len(sound) - PIECE + 1, PIECE):
            while self._given - self._taken > AHEAD:
                time.sleep(0.01)
            self._given += 1
            callback(sound[start : start + PIECE, None], PIECE, None, SimpleNamespace(input_overflow=False))
