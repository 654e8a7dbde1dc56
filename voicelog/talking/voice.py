"""The program's mouth: says a text, after a tone when one is given, and can be stopped at once.

    mouth = open_mouth("natural")
    mouth.prepare(["Circuit 5, kitchen sockets.", ...])   # in the background; listening need not wait
    spoken = mouth.say("Zed s, zero point five two ohms. Pass.", Tone.PASS)
    ear.ignore_until(mouth.busy_until)

While it speaks the ear is closed: sound that arrives before ``busy_until`` may be the program's own. ``stop()``, from
any thread, ends a prompt within one block of samples and the card's own delay.

Marks: first sound under 50 ms from ``say()``; stopped within 50 ms.
"""

import threading
import time
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Protocol

import numpy as np

from voicelog.errors import DeviceError
from voicelog.talking.clauses import clauses
from voicelog.talking.espeak import EspeakVoice
from voicelog.talking.levels import held
from voicelog.talking.loudspeaker import RATE_HZ, Loudspeaker, SoundCard, WavFile
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.repertoire import Repertoire, Voice
from voicelog.talking.tones import Sound, Tone, tone_sound

AFTER_TONE_S = 0.05
ECHO_S = 0.12  # a room answers a little longer than the loudspeaker speaks


@dataclass(frozen=True)
class Spoken:
    """What became of one prompt."""

    text: str
    tone: Tone | None = None
    wait_s: float = 0.0  # from the call to the first sound handed over
    duration_s: float = 0.0  # of the sound, from its first sample to its last
    interrupted: bool = False
    started_s: float = 0.0  # time.monotonic() at the first sound


@dataclass(frozen=True)
class Manner:
    """How loud and how fast. Each order moves one step and stops at the end of its range."""

    gain_dB: int = 0
    speed: float = 1.0

    def louder(self) -> "Manner":
        return replace(self, gain_dB=min(self.gain_dB + 3, 12))

    def quieter(self) -> "Manner":
        return replace(self, gain_dB=max(self.gain_dB - 3, -18))

    def faster(self) -> "Manner":
        return replace(self, speed=min(round(self.speed + 0.1, 1), 1.6))

    def slower(self) -> "Manner":
        return replace(self, speed=max(round(self.speed - 0.1, 1), 0.7))


class Mouth(Protocol):
    """The one seam between what is said and how it sounds."""

    manner: Manner

    @property
    def busy(self) -> bool:
        """True while a prompt sounds."""

    @property
    def busy_until(self) -> float:
        """time.monotonic() until which the ear should stay closed."""

    def prepare(self, texts: Iterable[str]) -> None:
        """Get texts ready in the background; returns at once."""

    def say(self, text: str, tone: Tone | None = None) -> Spoken:
        """Say it, after the tone; returns when it has been heard or stopped."""

    def stop(self) -> None:
        """End the prompt in progress; from any thread."""

    def close(self) -> None:
        """Release the loudspeaker."""


class SpeakingMouth:
    """A voice, what it has ready, and a loudspeaker."""

    def __init__(self, voice: Voice, loudspeaker: Loudspeaker, folder: Path | None = None) -> None:
        self.manner = Manner()
        self._voice, self._loudspeaker = voice, loudspeaker
        self._repertoire = Repertoire(voice, folder)
        self._tones = {tone: tone_sound(tone, RATE_HZ) for tone in Tone}
        self._stopped = threading.Event()
        self._turn = threading.Lock()
        self._quiet_at = 0.0

    @property
    def busy(self) -> bool:
        return self._turn.locked()

    @property
    def busy_until(self) -> float:
        return max(self._quiet_at, time.monotonic() + ECHO_S if self.busy else 0.0)

    def prepare(self, texts: Iterable[str]) -> None:
        speed, known = self.manner.speed, tuple(texts)
        threading.Thread(target=self._learn, args=(known, speed), daemon=True, name="voice").start()

    def say(self, text: str, tone: Tone | None = None) -> Spoken:
        with self._turn:
            called = time.monotonic()
            self._stopped.clear()
            talk = _Talk(self._loudspeaker, self._stopped, self.manner.gain_dB)
            if tone is not None:
                talk.add(self._tones[tone], AFTER_TONE_S if text else 0.0)
            for clause in clauses(text):
                if not self._stopped.is_set():
                    talk.add(self._repertoire.sound(clause.text, self.manner.speed), clause.rest_s)
            self._loudspeaker.drain()
            return self._done(Spoken(text, tone), talk, called)

    def stop(self) -> None:
        self._stopped.set()
        self._loudspeaker.drop()

    def close(self) -> None:
        self.stop()
        self._loudspeaker.close()

    def _learn(self, texts: tuple[str, ...], speed: float) -> None:
        try:
            self._voice.load()
            self._repertoire.learn((clause.text for text in texts for clause in clauses(text)), speed)
            self._voice.load_dictionary()
        except DeviceError:  # said again, and acted on, when there is something to say
            return

    def _done(self, spoken: Spoken, talk: "_Talk", called: float) -> Spoken:
        self._quiet_at = time.monotonic() + self._loudspeaker.latency_s + ECHO_S
        started = talk.started_s or called
        cut = self._stopped.is_set()
        heard = time.monotonic() - started if cut else talk.length_s
        return replace(spoken, wait_s=started - called, duration_s=heard, interrupted=cut, started_s=started)


@dataclass
class _Talk:
    """One prompt on its way to the loudspeaker."""

    loudspeaker: Loudspeaker
    stopped: threading.Event
    gain_dB: int
    started_s: float = 0.0
    length_s: float = 0.0
    _owed_s: float = field(default=0.0)  # the rest after the last sound, played only when another follows

    def add(self, sound: Sound, rest_s: float) -> None:
        if self._owed_s:
            self.loudspeaker.play(np.zeros(round(self._owed_s * RATE_HZ), np.float32))
        self.loudspeaker.play(held(sound * np.float32(10 ** (self.gain_dB / 20))))
        if self.stopped.is_set():  # stopped while this was on its way
            self.loudspeaker.drop()
        self.started_s = self.started_s or time.monotonic()
        self.length_s += self._owed_s + len(sound) / RATE_HZ
        self._owed_s = rest_s


class SilentMouth:
    """Says nothing aloud: keeps what it was given, and shows it when told where. For desks and tests."""

    def __init__(self, show: Callable[[str], None] | None = None) -> None:
        self.manner = Manner()
        self.said: list[Spoken] = []
        self.prepared: list[str] = []
        self._show = show

    busy = False
    busy_until = 0.0

    def prepare(self, texts: Iterable[str]) -> None:
        self.prepared.extend(texts)

    def say(self, text: str, tone: Tone | None = None) -> Spoken:
        spoken = Spoken(text, tone, started_s=time.monotonic())
        self.said.append(spoken)
        if self._show:
            self._show(f"[{tone}] {text}".rstrip() if tone else text)
        return spoken

    def stop(self) -> None:
        """Nothing sounds."""

    def close(self) -> None:
        """Nothing is held."""


class TakeOver:
    """The first voice until it fails, then the second for good; ``trouble`` says why, once there is a reason."""

    def __init__(self, first: Voice, second: Voice) -> None:
        self._first, self._second = first, second
        self.trouble = ""

    @property
    def name(self) -> str:
        return self._voice.name

    def load(self) -> None:
        self._try("load")

    def load_dictionary(self) -> None:
        self._try("load_dictionary")

    def render(self, clause: str, speed: float = 1.0) -> Sound:
        return self._try("render", clause, speed)

    @property
    def _voice(self) -> Voice:
        return self._second if self.trouble else self._first

    def _try(self, what: str, *given: object) -> Sound | None:
        if not self.trouble:
            try:
                return getattr(self._first, what)(*given)
            except DeviceError as failure:
                self.trouble = str(failure)
        return getattr(self._second, what)(*given)


def open_mouth(
    voice: str = "natural", *, speaker: str | int | None = None, wav: Path | None = None, folder: Path | None = None
) -> Mouth:
    """A mouth that speaks with ``natural`` or ``espeak`` through the sound card, or into ``wav``; or ``silent``.

    ``folder`` keeps what is known beforehand between visits. Raises DeviceError when there is no loudspeaker or no
    voice of that name. Loading goes on in the background.
    """
    if voice == "silent":
        return SilentMouth(print)
    voices = {"natural": lambda: TakeOver(NaturalVoice(), EspeakVoice()), "espeak": EspeakVoice}
    if voice not in voices:
        raise DeviceError(f"there is no voice {voice!r}.", do="Choose natural, espeak or silent.")
    mouth = SpeakingMouth(voices[voice](), WavFile(wav) if wav else SoundCard(speaker), folder)
    mouth.prepare(())
    return mouth
