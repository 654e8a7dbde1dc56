"""How long the crew waits: from the last word to the end of the utterance, to the first sound of the answer.

A recording is fed as a microphone would feed it, in pieces of 60 ms, without
waiting in between: a word's wait is the sound that had to go by after it, plus
the time spent on the piece in which the utterance ended. Where the last word
ends is read off the sound itself, not off the recogniser.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from rich.table import Table

from voicelog.errors import DeviceError, ModelError, SoundError
from voicelog.hearing.audio import FRAME, PIECE, level_of, read_sound
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.model_folder import ACOUSTIC, BUNDLED
from voicelog.hearing.nnet3 import read_model
from voicelog.hearing.recogniser import Recogniser
from voicelog.hearing.search import Search
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import Noun
from voicelog.resources import data_folder
from voicelog.talking.voice import Mouth, open_mouth
from voicelog.visiting import open_recogniser, open_visit_or_demo

SPEECH_dB = 25.0  # a frame belongs to speech when it is no more than this below the loudest tenth
FRAME_S = 0.01
TAIL_S = 1.5  # of silence after a recording, so that the last utterance ends by itself
STARTS = 3  # fresh processes; the median counts
PROMPTS = (
    "Circuit five, kitchen sockets, zed s, nought point six one ohms. Pass.",
    "Three hundred and ten megohms. Pass.",
    "R C D one, trip time, two four milliseconds. Pass.",
)
READY = """
import resource, sys, time
from pathlib import Path
from voicelog.visiting import open_recogniser, open_visit_or_demo
recogniser = open_recogniser(open_visit_or_demo(None), Path(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, flush=True)
sys.stdin.read()
"""


class Spread(Noun):
    """Seconds: the middle one and the one that 95 of 100 stay under."""

    count: int
    median_s: float
    p95_s: float


class Latency(Noun):
    """``voicelog bench latency``."""

    endpoint: Spread  # last word to the end of the utterance
    silence_s: float  # of which the silence that a whole sentence waits for
    look_ahead_s: float  # of which the network's look-ahead
    first_sound: Spread | None  # from the answer being known to its first sound; None without a voice
    to_read_back_s: float | None  # both medians together
    real_time_factor: float  # processor seconds for a second of sound, one core
    ready_s: float  # from the start of a fresh process until it listens
    resident_MB: float  # the most memory that process had taken by then

    def as_json(self) -> dict:
        """What ``--json`` prints."""
        return self.model_dump(mode="json")


def bench_latency(
    recording: Path | None = None, job: Path | None = None, model: Path = BUNDLED, progress: Progress = quiet
) -> Latency:
    """Measure all of it; without a recording and a job on the demonstration's.

    Raises SoundError when the recording has no utterance in it, and ModelError like ``open_recogniser``.
    """
    visit = open_visit_or_demo(job)
    file = recording or data_folder("audio_samples") / "demo" / "visit.flac"
    recogniser = open_recogniser(visit, model)
    sound = np.concatenate([read_sound(file), _hush()])
    began = time.process_time()
    waits = [wait.total_s for wait in waits_in(recogniser, sound, progress)]
    spent_s = time.process_time() - began
    if not waits:
        raise SoundError("nothing in this recording was understood.", where=str(file))
    starts = [_fresh_start(model) for _ in range(STARTS)]
    endpoint, first_sound = spread(waits), _first_sounds()
    return Latency(
        endpoint=endpoint,
        silence_s=Search().whole_s,
        look_ahead_s=read_model(model / ACOUSTIC).right_context * FRAME_S,
        first_sound=first_sound,
        to_read_back_s=endpoint.median_s + first_sound.median_s if first_sound else None,
        real_time_factor=spent_s / (len(sound) / RATE_HZ),
        ready_s=statistics.median(seconds for seconds, _ in starts),
        resident_MB=max(megabytes for _, megabytes in starts),
    )


def spread(seconds: list[float]) -> Spread:
    return Spread(count=len(seconds), median_s=statistics.median(seconds), p95_s=float(np.percentile(seconds, 95)))


# ---------------------------------------------------------------- last word to end of utterance


@dataclass(frozen=True)
class Wait:
    """One utterance: the sound that went by after its last word, and the time spent on the piece that ended it."""

    text: str
    sound_s: float
    spent_s: float

    @property
    def total_s(self) -> float:
        return self.sound_s + self.spent_s


def waits_in(recogniser: Recogniser, sound: np.ndarray, progress: Progress = quiet) -> Iterator[Wait]:
    """The wait of each utterance that ended by itself."""
    for first in range(0, len(sound), PIECE):
        began = time.monotonic()
        for heard in recogniser.hear(sound[first : first + PIECE]):
            spent_s = time.monotonic() - began
            fed = first + PIECE
            said = sound[round(heard.start_s * RATE_HZ) : fed]
            yield Wait(" ".join(heard.texts), (len(said) - speech_end(said)) / RATE_HZ, spent_s)
        progress(min(first + PIECE, len(sound)), len(sound))


def speech_end(sound: np.ndarray) -> int:
    """The number of the sample at which the last loud frame of 20 ms ends."""
    whole = level_of(sound)
    if whole.silent:
        return 0
    least_dB = whole.speech_dB - SPEECH_dB
    starts = range(0, len(sound) - FRAME + 1, FRAME // 2)
    loud = [start for start in starts if level_of(sound[start : start + FRAME]).speech_dB >= least_dB]
    return loud[-1] + FRAME if loud else 0


def _hush() -> np.ndarray:
    """A quiet room: noise at -72 dBFS."""
    return np.random.default_rng(0).normal(0, 8, round(TAIL_S * RATE_HZ)).astype(np.int16)


# ---------------------------------------------------------------- start, and first sound


def _fresh_start(model: Path) -> tuple[float, float]:
    """Seconds until a new process listens, and the most megabytes it had by then."""
    began = time.monotonic()
    process = subprocess.Popen(
        [sys.executable, "-c", READY, str(model)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    with process:
        line = process.stdout.readline()
        seconds = time.monotonic() - began
    if not line.strip():
        raise ModelError("a fresh process could not start listening.", where=str(model))
    return seconds, int(line) * (1 if sys.platform == "darwin" else 1024) / 1e6


def _first_sounds(open_voice: Callable[..., Mouth] = open_mouth) -> Spread | None:
    """Waits for the first sound of prompts that were never said before, with the voice warm."""
    with tempfile.TemporaryDirectory() as place:
        try:
            mouth = open_voice("natural", wav=Path(place) / "said.wav")
        except DeviceError:
            return None
        mouth.say("Ready.")
        waits = [mouth.say(prompt).wait_s for prompt in PROMPTS]
        mouth.close()
    return spread(waits)


def table(found: Latency) -> Table:
    """For people."""
    lines = Table(box=None, show_header=False)
    end = found.endpoint
    lines.add_row("last word to end of utterance", f"{end.median_s:.2f} s median, {end.p95_s:.2f} s 95th of 100")
    lines.add_row("  of which silence waited for", f"{found.silence_s:.2f} s")
    lines.add_row("  of which look-ahead of the network", f"{found.look_ahead_s:.2f} s")
    if found.first_sound:
        lines.add_row("then to the first sound of the answer", f"{found.first_sound.median_s:.3f} s median")
        lines.add_row("last word to first sound", f"{found.to_read_back_s:.2f} s")
    lines.add_row("processor time for a second of sound", f"{found.real_time_factor:.3f} s on one core")
    lines.add_row("start to ready", f"{found.ready_s:.2f} s, {found.resident_MB:.0f} MB resident")
    return lines
