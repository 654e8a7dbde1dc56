"""Where sound comes from: a microphone or a recording, as 16-bit pieces at 16 kHz, one channel.

PortAudio is only needed for the microphone: without it everything else works.
"""

import contextlib
import itertools
import math
import queue
import time
from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import ModuleType
from typing import Self

import numpy as np
import soundfile
import soxr

from voicelog.errors import DeviceError, SoundError
from voicelog.hearing.filterbank import RATE_HZ

PIECE = RATE_HZ * 60 // 1000  # 960 samples, 60 ms: two outputs of the network; a word waits 30 ms for it on average
FULL_SCALE = 32768
RATES_HZ = (4_000, 400_000)  # of a recording: a telephone has 8,000, the finest studio 384,000
WAIT_S = 2.0  # a microphone that gives nothing for so long is gone
GAP_S = 1.0  # between two pieces: the computer slept, or the device was away
BACKLOG = 200  # pieces, 12 s: how far the recogniser may fall behind
NO_PORTAUDIO = DeviceError(
    "no sound device can be used: PortAudio is not installed.",
    do="Install it (Debian and Ubuntu: apt install libportaudio2). Recordings and typed words work without it.",
)


# ---------------------------------------------------------------- recordings


def sound_pieces(file: Path) -> Iterator[np.ndarray]:
    """A WAV, FLAC or OGG recording of any rate and number of channels, piece by piece.

    Raises SoundError for a file that is missing, empty, cut short or not sound.
    """
    total = 0
    for block in _blocks(file):
        total += len(block)
        for first in range(0, len(block), PIECE):
            yield block[first : first + PIECE]
    if not total:
        raise SoundError("the recording is empty.", where=str(file), do="Record again, or leave it out.")


def read_sound(file: Path) -> np.ndarray:
    """The whole recording as int16 samples at 16 kHz; raises SoundError like ``sound_pieces``."""
    return np.concatenate(list(sound_pieces(file)))


def _blocks(file: Path) -> Iterator[np.ndarray]:
    if not file.is_file():
        what = "this is a folder, not a recording." if file.is_dir() else "there is no such recording."
        raise SoundError(what, where=str(file), do="Check the path.")
    try:
        with soundfile.SoundFile(file) as sound:
            if not RATES_HZ[0] <= sound.samplerate <= RATES_HZ[1]:
                raise ValueError(f"it claims {sound.samplerate} samples a second")
            resampler = soxr.ResampleStream(sound.samplerate, RATE_HZ, 1, dtype="float32")
            left = sound.frames
            while left > 0 and len(block := sound.read(sound.samplerate, dtype="float32", always_2d=True)):
                left -= len(block)
                mono = np.nan_to_num(block, posinf=0.0, neginf=0.0).mean(
                    axis=1
                )  # each second of sound, all channels alike
                yield _to_int16(resampler.resample_chunk(mono, last=left <= 0))
    except (soundfile.SoundFileError, RuntimeError, ValueError) as error:
        raise SoundError(
            f"the recording cannot be read: {_reason(error)}.",
            where=str(file),
            do="WAV, FLAC and OGG files can be read.",
        ) from None
    if left > 0:
        raise SoundError("the recording is cut short.", where=str(file), do="Copy it again.")


def _reason(error: Exception) -> str:
    """Without the file's name, which is told already."""
    return (error.error_string if isinstance(error, soundfile.LibsndfileError) else str(error)).rstrip(".")


def _to_int16(sound: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(sound * FULL_SCALE), -FULL_SCALE, FULL_SCALE - 1).astype(np.int16)


# ---------------------------------------------------------------- microphones


@dataclass(frozen=True)
class InputDevice:
    """A microphone, or another input of this computer."""

    number: int
    name: str
    channels: int
    rate_Hz: int  # its own rate
    usual: bool  # the system's default

    def __str__(self) -> str:
        mark = " (default)" if self.usual else ""
        return f"{self.number}  {self.name}, {self.channels} channels, {self.rate_Hz} Hz{mark}"


def load_portaudio() -> ModuleType:
    """The ``sounddevice`` module; raises DeviceError where PortAudio is missing."""
    try:
        import sounddevice
    except (ImportError, OSError):
        raise NO_PORTAUDIO from None
    return sounddevice


def devices(portaudio: ModuleType | None = None) -> tuple[InputDevice, ...]:
    """Every input device; raises DeviceError where PortAudio is missing."""
    sounddevice = portaudio or load_portaudio()
    usual = sounddevice.default.device[0]
    return tuple(
        InputDevice(
            number, info["name"], info["max_input_channels"], round(info["default_samplerate"]), number == usual
        )
        for number, info in enumerate(sounddevice.query_devices())
        if info["max_input_channels"] > 0
    )


@dataclass(frozen=True)
class Loss:
    """Sound that went missing."""

    why: str  # for the screen
    say: str = "say again, sound was lost"
    gap_s: float = 0.0  # how long there was none, where that is known


FELL_BEHIND = Loss("the computer fell behind and sound was lost")


@dataclass(frozen=True)
class Piece:
    """Samples from a microphone, none while it is away; ``lost`` when sound went missing just before them."""

    samples: np.ndarray
    at: float  # time.monotonic() when the piece was complete
    lost: Loss | None = None


def wakeful_s() -> float:
    """Seconds on a clock that goes on while the computer sleeps, where the system has one."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.time()


class Microphone:
    """Pieces of sound as they are spoken; a context manager.

    ``device`` is a number, part of a name, or None for the system's default.
    Raises DeviceError when PortAudio or the device is missing, and while
    listening when the device goes away, unless it ``waits`` for it to come
    back: then it gives empty pieces meanwhile. A device that comes back under
    another name or number is not found: PortAudio lists them once.
    """

    def __init__(
        self,
        device: int | str | None = None,
        portaudio: ModuleType | None = None,
        waits: bool = False,
        wait_s: float = WAIT_S,
        clock: Callable[[], float] = wakeful_s,
    ) -> None:
        self._sounddevice = portaudio or load_portaudio()
        self._waits, self._wait_s, self._clock = waits, wait_s, clock
        self._heard_s = math.inf  # when sound last came
        named = isinstance(device, str)
        self._device = int(device) if named and device.isdigit() else None if device == "" else device
        self._waiting: queue.Queue[Piece] = queue.Queue(BACKLOG)
        self._lost: Loss | None = None
        self._stream = None

    def __enter__(self) -> Self:
        try:
            self._stream = self._opened()
            self._stream.start()
        except (self._sounddevice.PortAudioError, ValueError) as error:
            raise DeviceError(
                f"the microphone {self._name!r} cannot be opened: {error}.",
                do="Choose one from `voicelog devices`, and close other programs that use it.",
            ) from None
        return self

    def __exit__(self, *_) -> None:
        if self._stream:
            self._stream.close()

    def __iter__(self) -> Iterator[Piece]:
        while True:
            try:
                yield self._waiting.get(timeout=self._wait_s)
            except queue.Empty:
                if not self._waits:
                    raise DeviceError(
                        f"the microphone {self._name!r} gives no sound any more.",
                        do="Plug it in or switch it on again, then start listening again: what was recorded is kept.",
                    ) from None
                yield from self._away()

    def _away(self) -> Iterator[Piece]:
        """Say so, then nothing at all until it gives sound again."""
        why = f"the microphone {self._name!r} gives no sound any more: plug it in or switch it on again"
        lost: Loss | None = Loss(why, "the microphone has gone")
        while self._waiting.empty():
            yield Piece(np.zeros(0, np.int16), time.monotonic(), lost)
            lost = None
            self._open_again()

    def _open_again(self) -> None:
        """Try; and give it the time to give sound, or to be plugged in."""
        with contextlib.suppress(self._sounddevice.PortAudioError, ValueError, OSError):
            self._stream.close()
        with contextlib.suppress(self._sounddevice.PortAudioError, ValueError, OSError):
            self._stream = self._opened()
            self._stream.start()
        until = time.monotonic() + self._wait_s
        while self._waiting.empty() and time.monotonic() < until:
            time.sleep(self._wait_s / 20)

    @property
    def _name(self) -> str:
        return "default" if self._device is None else str(self._device)

    def _opened(self):
        """A stream at 16 kHz, or at the device's own rate where it has no other."""
        kinds = {"device": self._device, "channels": 1, "dtype": "int16"}
        try:
            self._sounddevice.check_input_settings(samplerate=RATE_HZ, **kinds)
            rate_Hz = RATE_HZ
        except self._sounddevice.PortAudioError:
            rate_Hz = round(self._sounddevice.query_devices(self._device, "input")["default_samplerate"])
        resampler = soxr.ResampleStream(rate_Hz, RATE_HZ, 1, dtype="int16") if rate_Hz != RATE_HZ else None
        blocksize = PIECE * rate_Hz // RATE_HZ
        return self._sounddevice.InputStream(
            samplerate=rate_Hz, blocksize=blocksize, callback=self._callback(resampler), **kinds
        )

    def _callback(self, resampler: soxr.ResampleStream | None):
        def take(data: np.ndarray, frames: int, moment, status) -> None:
            """Runs in PortAudio's thread: copy, note losses, never wait."""
            samples = data[:, 0].copy()
            if resampler:
                samples = resampler.resample_chunk(samples)
            lost = self._lost or self._gap() or (FELL_BEHIND if status.input_overflow else None)
            try:
                self._waiting.put_nowait(Piece(samples, time.monotonic(), lost))
                self._lost = None
            except queue.Full:
                self._lost = FELL_BEHIND

        return take

    def _gap(self) -> Loss | None:
        """No sound for a while: the two ends of it are not one sentence."""
        before, self._heard_s = self._heard_s, self._clock()
        gap_s = self._heard_s - before
        if gap_s < GAP_S:
            return None
        why = f"no sound came for {gap_s:.0f} s: the microphone was away, or the computer slept"
        return Loss(why, "listening again, say again", gap_s)


# ---------------------------------------------------------------- what was heard lately


class Recent:
    """The last ``seconds`` of a stream, so that an utterance's sound can be kept."""

    def __init__(self, seconds: float = 60.0) -> None:
        self._most = round(seconds * RATE_HZ)
        self._pieces: deque[np.ndarray] = deque()
        self._first = 0  # number of the first sample that is still here
        self._end = 0

    def add(self, samples: np.ndarray) -> None:
        self._pieces.append(samples)
        self._end += len(samples)
        while self._end - self._first - len(self._pieces[0]) >= self._most:
            self._first += len(self._pieces.popleft())

    def between(self, start_s: float, end_s: float) -> np.ndarray:
        """Samples between two times of the stream, as far as they are still here."""
        held = np.concatenate([np.zeros(0, np.int16), *self._pieces])
        first, last = (max(0, round(moment * RATE_HZ) - self._first) for moment in (start_s, end_s))
        return held[first:last]


# ---------------------------------------------------------------- loudness


@dataclass(frozen=True)
class Level:
    """How loud a stretch of sound is; decibels against full scale (dBFS)."""

    peak_dB: float
    speech_dB: float  # root mean square of the loudest tenth of 20 ms frames
    floor_dB: float  # root mean square of the quietest tenth
    clipped: float  # share of samples at full scale
    silent: bool  # nothing but zeros

    def __str__(self) -> str:
        return self.advice

    @property
    def advice(self) -> str:
        """What to do about it, in one sentence; begins with "good" when there is nothing to do."""
        if self.silent:
            return "Nothing but digital silence: the microphone is muted, or another input is chosen."
        if self.clipped > CLIPPED:
            return f"Too loud: {self.clipped:.1%} of it is cut off. Lower the input level or move the microphone away."
        if self.speech_dB < QUIET_dB:
            return f"Too quiet ({self.speech_dB:.0f} dBFS): raise the input level or bring the microphone closer."
        if self.speech_dB - self.floor_dB < NOISY_dB:
            return (
                f"Speech stands only {self.speech_dB - self.floor_dB:.0f} dB above the noise: bring the microphone to "
                "the corner of the mouth, or use one on a boom."
            )
        return f"good: speech at {self.speech_dB:.0f} dBFS, noise at {self.floor_dB:.0f} dBFS."


# Common practice, not from a standard: speech is lost in 16-bit noise below about -50 dBFS, and words begin to suffer
# from noise below about 15 dB; one sample in a thousand at full scale is heard as crackle.
CLIPPED, QUIET_dB, NOISY_dB = 0.001, -50.0, 15.0
FRAME = RATE_HZ * 20 // 1000  # 320 samples


def level_of(samples: np.ndarray) -> Level:
    """The level of int16 samples (at least one frame of 20 ms; less is silence)."""
    frames = samples[: len(samples) // FRAME * FRAME].reshape(-1, FRAME).astype(np.float64) / FULL_SCALE
    if not frames.size or not frames.any():
        return Level(-math.inf, -math.inf, -math.inf, 0.0, silent=True)
    power = np.sort((frames**2).mean(axis=1))
    tenth = max(1, len(power) // 10)
    return Level(
        peak_dB=_decibels(np.abs(frames).max() ** 2),
        speech_dB=_decibels(power[-tenth:].mean()),
        floor_dB=_decibels(power[:tenth].mean()),
        clipped=float((np.abs(samples.astype(np.int32)) >= FULL_SCALE - 1).mean()),
        silent=False,
    )


def level_check(device: int | str | None = None, seconds: float = 4.0, portaudio: ModuleType | None = None) -> Level:
    """Listen to a microphone for a while: say something meanwhile. Raises DeviceError like ``Microphone``."""
    with Microphone(device, portaudio) as microphone:
        pieces = (piece.samples for piece in microphone)
        return level_of(np.concatenate(list(itertools.islice(pieces, round(seconds * RATE_HZ / PIECE)))))


def _decibels(power: float) -> float:
    return 10 * math.log10(power) if power > 0 else -math.inf
