"""A toy ear: every phone is a tone of its own, and a network that hears exactly that.

It speaks and hears without errors, so that what a test finds is the doing of
the graph and the recogniser, not of an acoustic model.
"""

from pathlib import Path

import numpy as np

from voicelog.hearing.filterbank import BINS, CONF, HIGH_HZ, LOW_HZ, RATE_HZ, mel
from voicelog.hearing.network import AcousticModel, Affine, Layer, LogSoftmax, Node
from voicelog.hearing.nnet3 import write_model
from voicelog.hearing.phones import OUTPUTS, PHONE_ID, PHONES

FIRST_BIN = BINS - len(PHONES) - 1  # the upper bands are wide enough to hold one tone each
THRESHOLD = 19.0  # log energy of a band; a tone lies near 26, silence near 11
PRONUNCIATIONS = {
    "one": (("W", "AH", "N"),),
    "two": (("T", "UW"),),
    "nine": (("N", "AY", "N"),),
    "oh": (("OW",),),
    "point": (("P", "OY", "N", "T"),),
    "ohms": (("OW", "M", "Z"),),
    "megohms": (("M", "EH", "G", "OW", "M", "Z"),),
    "six": (("S", "IH", "K", "S"),),
    "zs": (("Z", "EH", "D", "EH", "S"),),
    "to": (("T", "UW"),),
}


def pronounce(word: str) -> tuple[tuple[str, ...], ...]:
    return PRONUNCIATIONS[word]


def write_folder(folder: Path) -> Path:
    """The toy network as an acoustic model folder: ``am`` and ``conf``."""
    weights = np.zeros((OUTPUTS, BINS), np.float32)
    bias = np.zeros(OUTPUTS, np.float32)
    for phone, number in PHONE_ID.items():
        weights[number, _band(phone)] = 1.0
        bias[number] = -THRESHOLD
    layers = (Layer("bands", Node("input"), Affine(weights, bias)), Layer("out", Node("bands"), LogSoftmax(OUTPUTS)))
    (folder / "am").mkdir(parents=True)
    (folder / "conf").mkdir()
    write_model(AcousticModel(layers, Node("out")), folder / "am" / "final.mdl")
    (folder / "conf" / "fbank.conf").write_text(CONF)
    return folder


def say(*words: str, pause_s: float = 0.0, phone_s: float = 0.09) -> np.ndarray:
    """The words as tones, 16-bit at 16 kHz; each phone ends in 30 ms of silence."""
    parts = []
    for word in words:
        for phone in PRONUNCIATIONS[word][0]:
            parts += [_tone(phone, phone_s), silence(0.03)]
        parts.append(silence(pause_s))
    return np.concatenate(parts)


def silence(seconds: float) -> np.ndarray:
    return np.zeros(round(seconds * RATE_HZ), np.int16)


def _band(phone: str) -> int:
    return FIRST_BIN + PHONES.index(phone)


def _tone(phone: str, seconds: float) -> np.ndarray:
    edges = np.linspace(mel(LOW_HZ), mel(HIGH_HZ), BINS + 2)
    hertz = 700.0 * np.expm1(edges[_band(phone) + 1] / 1127.0)
    time = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return (8000 * np.sin(2 * np.pi * hertz * time)).astype(np.int16)
