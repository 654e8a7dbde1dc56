"""Clauses that a voice has ready: the last few hundred in memory, and the ones known beforehand on disk.

A job's circuit names, the quantities, the verdicts and the fixed sentences are learnt in the background when work
starts, once: they sound at the first prompt of every later visit. Figures are not stored; they are made in time.
"""

import hashlib
import os
import threading
from collections import OrderedDict
from collections.abc import Iterable
from pathlib import Path
from typing import Protocol

import numpy as np

from voicelog.talking.tones import Sound

IN_MEMORY = 400  # clauses; one of 1 s takes 0.1 MB, so about 40 MB
ON_DISK = 2000  # newest clauses kept in the folder
MAKING = "2"  # changes when levels, trimming or pronunciation change, so that old files are not used


class Voice(Protocol):
    """Turns a clause into sound."""

    name: str

    def load(self) -> None:
        """Load now rather than at the first clause."""

    def load_dictionary(self) -> None:
        """Load what unknown words need."""

    def render(self, clause: str, speed: float = 1.0) -> Sound:
        """Float32 sound at 24 kHz. Raises DeviceError when the voice cannot speak."""


class Repertoire:
    """What a voice has ready. ``folder`` is created when first written; None keeps memory only."""

    def __init__(self, voice: Voice, folder: Path | None = None) -> None:
        self._voice, self._folder = voice, folder
        self._ready: OrderedDict[str, Sound] = OrderedDict()
        self._lock = threading.Lock()

    def sound(self, clause: str, speed: float = 1.0) -> Sound:
        """The clause from memory, else from disk, else made now."""
        key = self._key(clause, speed)
        with self._lock:
            if key in self._ready:
                self._ready.move_to_end(key)
                return self._ready[key]
        stored = self._read(key)
        sound = self._voice.render(clause, speed) if stored is None else stored
        self._remember(key, sound)
        return sound

    def learn(self, known: Iterable[str], speed: float = 1.0) -> int:
        """Make what is not yet stored and store it; says how many clauses were made."""
        made = 0
        for clause in dict.fromkeys(known):
            if self._read(self._key(clause, speed)) is None:
                self._write(clause, speed, self.sound(clause, speed))
                made += 1
        self._prune()
        return made

    def _key(self, clause: str, speed: float) -> str:
        return hashlib.sha256(f"{MAKING}|{self._voice.name}|{speed:.2f}|{clause}".encode()).hexdigest()[:32]

    def _remember(self, key: str, sound: Sound) -> None:
        with self._lock:
            self._ready[key] = sound
            while len(self._ready) > IN_MEMORY:
                self._ready.popitem(last=False)

    def _read(self, key: str) -> Sound | None:
        if self._folder is None:
            return None
        try:
            return np.load(self._folder / f"{key}.npy", allow_pickle=False).astype(np.float32) / 32767
        except (OSError, ValueError, EOFError):  # absent, or cut short by a power failure: made again
            return None

    def _write(self, clause: str, speed: float, sound: Sound) -> None:
        if self._folder is None:
            return
        file = self._folder / f"{self._key(clause, speed)}.npy"
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
            with open(part := file.with_suffix(f".{os.getpid()}.part"), "wb") as out:
                np.save(out, np.round(sound * 32767).astype(np.int16))
            part.replace(file)
        except OSError:  # a full or read-only disk costs speed, never a prompt
            return

    def _prune(self) -> None:
        if self._folder is None or not self._folder.is_dir():
            return
        files = sorted(self._folder.glob("*.npy"), key=lambda file: file.stat().st_mtime, reverse=True)
        for old in files[ON_DISK:]:
            old.unlink(missing_ok=True)
