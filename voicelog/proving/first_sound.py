"""How soon a prompt sounds, and how soon it stops: measured at the samples handed to a pretended card.

    voicelog bench prompt [--json]

Mark: first sound within 50 ms of ``say()`` for 95 of 100 prompts; stopped within 50 ms. Prompts are read-backs with no
tone, which would sound at once. *Cold*: nothing of the prompt was ever said before. *Known*: places, quantities and
verdicts were prepared, as for a job, and the figure is new. A real card adds its own delay on top, the same for each.
"""

import random
import threading
import time
from collections.abc import Callable

from voicelog.model import Noun
from voicelog.talking.espeak import EspeakVoice
from voicelog.talking.loudspeaker import PretendedCard
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.repertoire import Voice
from voicelog.talking.voice import SpeakingMouth

DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
PLACES = tuple(f"circuit {ten} {digit}" for ten in TENS for digit in DIGITS[1:])
QUANTITIES = ("zed s", "earth leakage", "insulation live to earth", "r one plus r two", "r c d at one times")
UNITS = ("ohms", "milliamps", "megohms", "milliseconds")
CUT_S = 0.4  # prompts are stopped after so long: only their beginning and end are measured
VOICES: dict[str, Callable[[], Voice]] = {"natural": NaturalVoice, "espeak": EspeakVoice}


class Delays(Noun):
    """Milliseconds."""

    median_ms: float
    p95_ms: float
    worst_ms: float


class Prompts(Noun):
    """One voice."""

    voice: str
    load_ms: float  # until it can speak words of its table
    dictionary_ms: float  # until it can speak any word
    cold: Delays
    known: Delays
    stop: Delays  # from the call of stop() to the last sample handed over


class FirstSound(Noun):
    """``voicelog bench prompt``."""

    prompts: int
    voices: tuple[Prompts, ...]


def bench_first_sound(prompts: int = len(PLACES), seed: int = 1) -> FirstSound:
    """Every voice, up to ``prompts`` prompts with nothing ready, and as many with their known parts ready."""
    texts = _texts(prompts, random.Random(seed))
    return FirstSound(prompts=len(texts), voices=tuple(_measured(name, VOICES[name](), texts) for name in VOICES))


def _texts(count: int, draw: random.Random) -> tuple[str, ...]:
    """Every place only once, so that each first clause is a new one."""
    return tuple(f"{place}. {_measured_value(draw)}. pass" for place in draw.sample(PLACES, min(count, len(PLACES))))


def _measured_value(draw: random.Random) -> str:
    figure = " ".join(draw.choice(DIGITS) for _ in range(3))
    return f"{draw.choice(QUANTITIES)}, zero point {figure} {draw.choice(UNITS)}"


def _measured(name: str, voice: Voice, texts: tuple[str, ...]) -> Prompts:
    load_ms, dictionary_ms = _took_ms(voice.load), _took_ms(voice.load_dictionary)
    card = PretendedCard()
    mouth = SpeakingMouth(voice, card)
    cold, stop = zip(*(_said(mouth, card, text) for text in texts), strict=True)
    known, _ = zip(*(_said(mouth, card, _other_figure(text)) for text in texts), strict=True)
    card.close()
    return Prompts(
        voice=name,
        load_ms=load_ms,
        dictionary_ms=dictionary_ms,
        cold=_delays(cold),
        known=_delays(known),
        stop=_delays(stop),
    )


def _said(mouth: SpeakingMouth, card: PretendedCard, text: str) -> tuple[float, float]:
    """Milliseconds to the first sample, and from the stop to the last."""
    stopped = []
    threading.Timer(CUT_S, lambda: (stopped.append(time.perf_counter()), mouth.stop())).start()
    called = time.perf_counter()
    mouth.say(text)
    return 1000 * (card.first_sound_after(called) - called), max(0.0, 1000 * (card.last_sound() - stopped[0]))


def _other_figure(text: str) -> str:
    """The same place and quantity, whose sounds are ready now, with a figure never said."""
    return text.replace("zero point", "one point")


def _took_ms(what: Callable[[], None]) -> float:
    began = time.perf_counter()
    what()
    return round(1000 * (time.perf_counter() - began), 1)


def _delays(taken: tuple[float, ...]) -> Delays:
    ordered = sorted(round(ms, 1) for ms in taken)
    return Delays(median_ms=ordered[len(ordered) // 2], p95_ms=ordered[int(0.95 * len(ordered))], worst_ms=ordered[-1])
