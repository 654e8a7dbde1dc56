"""Where sound goes: a sound card, a WAV file, or a pretended card for tests and benchmarks.

All take float32 sound at RATE_HZ. The card's stream stays open, so a prompt need not wait for a device to start, and
what has not been played can be dropped at once.
"""

import threading
import time
from collections import deque
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

import numpy as np

from voicelog.errors import DeviceError
from voicelog.talking.tones import Sound

if TYPE_CHECKING:
    import sounddevice

RATE_HZ = 24_000
BLOCK = 240  # samples handed over at a time: 10 ms
GONE_S = 1.0  # a card that takes nothing for so long has been unplugged
FADE = 120  # 5 ms: a prompt cut short ends without a click


class Loudspeaker(Protocol):
    """Takes sound and plays it in order. ``play`` and ``drain`` raise DeviceError when it has gone."""

    latency_s: float  # from handing a sample over to hearing it

    def play(self, sound: Sound) -> None:
        """Queue sound behind what is playing; returns at once."""

    def drain(self) -> None:
        """Wait until all of it has been handed over, or dropped."""

    def drop(self) -> None:
        """Forget what has not been handed over."""

    def close(self) -> None:
        """Release the device or finish the file."""


class Queue:
    """Samples on their way to a card; filled by the talker, emptied by the card's own thread."""

    def __init__(self) -> None:
        self._change = threading.Condition()
        self._waiting: deque[Sound] = deque()
        self._blocks = 0  # taken so far

    def put(self, sound: Sound) -> None:
        """Add sound at the end."""
        with self._change:
            self._waiting.append(np.asarray(sound, np.float32))

    def take(self, count: int) -> Sound:
        """The next ``count`` samples, silence where there are none."""
        block = np.zeros(count, np.float32)
        filled = 0
        with self._change:
            self._blocks += 1
            while filled < count and self._waiting:
                piece = self._waiting.popleft()
                used = piece[: count - filled]
                block[filled : filled + len(used)] = used
                filled += len(used)
                if len(used) < len(piece):
                    self._waiting.appendleft(piece[len(used) :])
            if not self._waiting:
                self._change.notify_all()
        return block

    def drop(self) -> None:
        """Forget everything but a few milliseconds that fade out."""
        with self._change:
            tail = np.concatenate([piece[:FADE] for piece in self._waiting] or [np.zeros(0, np.float32)])[:FADE]
            self._waiting.clear()
            if len(tail):
                self._waiting.append(tail * np.linspace(1, 0, len(tail), dtype=np.float32))

    def wait_empty(self) -> bool:
        """Block until the last sample has been taken; False when nothing was taken for GONE_S."""
        with self._change:
            while True:
                before = self._blocks
                if self._change.wait_for(lambda: not self._waiting, GONE_S):
                    return True
                if self._blocks == before:
                    return False


class SoundCard:
    """The machine's loudspeaker or headset. Raises DeviceError when there is none."""

    def __init__(self, device: str | int | None = None) -> None:
        self._queue, self._device = Queue(), device
        self._stream = _open_stream(device, self._fill)
        self._stalled = False  # took nothing of the last prompt
        self.latency_s = float(self._stream.latency)

    def play(self, sound: Sound) -> None:
        if self._stalled or not self._stream.active:
            self._open_again()
        self._queue.put(sound)

    def drain(self) -> None:
        if not self._queue.wait_empty():
            self._queue.drop()
            self._stalled = True
            raise _gone()
        time.sleep(self.latency_s)

    def drop(self) -> None:
        self._queue.drop()

    def close(self) -> None:
        self._stream.close()

    def _open_again(self) -> None:
        """One that went and came back plays again."""
        try:
            self._stream.close()
            self._stream = _open_stream(self._device, self._fill)
        except DeviceError:
            raise _gone() from None
        self._stalled = False

    def _fill(self, block: np.ndarray, count: int, _when: object, _status: object) -> None:
        block[:, 0] = self._queue.take(count)


def _gone() -> DeviceError:
    return DeviceError("the loudspeaker has gone.", do="Plug it in again: it goes on by itself.")


def _open_stream(device: str | int | None, fill: Callable) -> "sounddevice.OutputStream":
    """A running stream that asks ``fill`` for samples; the sound library's errors become ours."""
    try:
        import sounddevice
    except OSError as absent:  # the PortAudio library itself is not installed
        raise DeviceError("PortAudio is not on this machine.", do="Install it, or use --silent.") from absent
    try:
        stream = sounddevice.OutputStream(
            samplerate=RATE_HZ, blocksize=BLOCK, device=device, channels=1, latency="low", callback=fill
        )
        stream.start()
    except (sounddevice.PortAudioError, ValueError) as refused:
        where = "" if device is None else str(device)
        raise DeviceError(f"no loudspeaker: {refused}.", where=where, do="Plug one in, or use --silent.") from refused
    return stream


class WavFile:
    """Sound written to a 16-bit WAV instead of being played."""

    latency_s = 0.0

    def __init__(self, path: Path) -> None:
        import soundfile

        try:
            self._file = soundfile.SoundFile(path, "w", RATE_HZ, channels=1, subtype="PCM_16")
        except soundfile.LibsndfileError as refused:
            raise DeviceError(f"no sound written: {refused}.", where=str(path), do="Choose another file.") from refused

    def play(self, sound: Sound) -> None:
        self._file.write(sound)

    def drain(self) -> None:
        self._file.flush()

    def drop(self) -> None:
        """Nothing waits: what was given is already in the file."""

    def close(self) -> None:
        self._file.close()


class PretendedCard:
    """Takes samples as a card does, block by block in real time, and remembers what it was handed and when."""

    latency_s = 0.0

    def __init__(self) -> None:
        self._queue = Queue()
        self._open = True
        self.handed: list[tuple[float, Sound]] = []  # (time.perf_counter, block of samples)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def play(self, sound: Sound) -> None:
        self._queue.put(sound)

    def drain(self) -> None:
        self._queue.wait_empty()

    def drop(self) -> None:
        self._queue.drop()

    def close(self) -> None:
        self._open = False
        self._thread.join()

    def first_sound_after(self, moment: float, threshold: float = 1e-3) -> float:
        """When the first sample over ``threshold`` was handed over at or after ``moment``; inf when none was."""
        loud = (when for when, block in self.handed if when >= moment and np.abs(block).max() > threshold)
        return next(loud, float("inf"))

    def last_sound(self, threshold: float = 1e-3) -> float:
        """When the last block with a sample over ``threshold`` was handed over."""
        return max((when for when, block in self.handed if np.abs(block).max() > threshold), default=0.0)

    def sound(self) -> Sound:
        """All that was handed over, silences included."""
        return np.concatenate([block for _, block in self.handed])

    def _run(self) -> None:
        due = time.perf_counter()
        while self._open:
            block = self._queue.take(BLOCK)
            self.handed.append((time.perf_counter(), block))
            due += BLOCK / RATE_HZ
            time.sleep(max(0.0, due - time.perf_counter()))
