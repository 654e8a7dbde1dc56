"""Speaks beside the session: prompts wait in line, and the session goes on hearing hands and loud words.

A prompt in progress, and those behind it, end when ``stop`` is called from any
thread: a key, a tap, or somebody who raises their voice.
"""

import math
from collections.abc import Iterable
from queue import Empty, SimpleQueue
from threading import Lock, Thread

from voicelog.errors import DeviceError
from voicelog.talking.tones import Tone
from voicelog.talking.voice import Manner, Mouth, Spoken


class Speaking:
    """A mouth with a line of prompts before it. ``say`` returns at once; ``close`` waits until all is said."""

    def __init__(self, mouth: Mouth) -> None:
        self._mouth = mouth
        self.trouble = ""  # why the last prompt was not heard; empty when it was
        self._line: SimpleQueue[tuple[str, Tone | None] | None] = SimpleQueue()
        self._waiting = 0  # prompts not yet said to their end
        self._count = Lock()
        self._thread = Thread(target=self._speak, daemon=True, name="speaking")
        self._thread.start()

    @property
    def manner(self) -> Manner:
        return self._mouth.manner

    @manner.setter
    def manner(self, manner: Manner) -> None:
        self._mouth.manner = manner

    @property
    def busy(self) -> bool:
        return self._waiting > 0 or self._mouth.busy

    @property
    def busy_until(self) -> float:
        """time.monotonic() until which the ear stays closed; without end while a prompt waits or sounds."""
        return math.inf if self._waiting else self._mouth.busy_until

    def prepare(self, texts: Iterable[str]) -> None:
        self._mouth.prepare(texts)

    def say(self, text: str, tone: Tone | None = None) -> Spoken:
        self._add(1)
        self._line.put((text, tone))
        return Spoken(text, tone)

    def stop(self) -> None:
        while True:
            try:
                dropped = self._line.get_nowait()
            except Empty:
                break
            if dropped is None:  # the end was asked for already: it stays asked for
                self._line.put(None)
                break
            self._add(-1)
        self._mouth.stop()

    def close(self) -> None:
        self._line.put(None)
        self._thread.join()
        self._mouth.close()

    def _speak(self) -> None:
        while (prompt := self._line.get()) is not None:
            try:
                self._mouth.say(*prompt)
            except DeviceError as gone:  # the screen goes on showing what is said
                self.trouble = str(gone)
            finally:
                self._add(-1)

    def _add(self, change: int) -> None:
        with self._count:
            self._waiting += change
