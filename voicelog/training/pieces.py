"""Recorded strings cut where the speaker paused: real people's letters and digits, for training to join anew.

A network learns the order of a few hundred recorded names and numbers by
heart. Cut apart and joined again by chance, the same recordings teach it the
letters and digits themselves.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from voicelog.hearing.filterbank import filter_banks
from voicelog.hearing.network import AcousticModel, log_posteriors
from voicelog.learning.alignment import AlignedWord, Pronounce, align
from voicelog.training.corpus import RATE_HZ, Corpus, Sound, Utterance, levels
from voicelog.training.synthesis import join_indexes, write_chunk

ENDING = "-pieces"  # after the name of the corpus
WINDOW = RATE_HZ // 50  # 320 samples: 20 ms, over which the level is looked at
PAUSE = 0.06  # of the loudest 20 ms: what is quieter is a pause
LATE_S = 0.15  # a word's first phone is heard 0.15 to 0.27 s after it begins: the network waits for what follows
LINGERING_S = 0.06  # and its last phone about as long as it sounds
FIT = 1.5  # nats a phone; a piece that fits its words worse when heard alone is left out
SHORTEST = RATE_HZ // 8  # samples
EDGE = RATE_HZ // 10  # samples of silence around a piece when it is heard alone
PIECES_PER_CHUNK = 1000


@dataclass(frozen=True, eq=False)
class Piece:
    """A stretch of one utterance between two pauses."""

    sound: Sound
    text: str
    of: Utterance


def pieces_of(sound: Sound, of: Utterance, model: AcousticModel, pronounce: Pronounce) -> list[Piece]:
    """``sound`` cut at its pauses; where there is none, or its words are not found in it, nothing."""
    words = tuple(of.text.split())
    if len(words) < 2:
        return []
    found = align(_heard(sound, model), words, pronounce)
    if not np.isfinite(found.cost):
        return []
    level = levels(sound, WINDOW)
    level /= level.max()
    cuts = [(place, at) for place in range(1, len(words)) if (at := _pause(level, *found.words[place - 1 : place + 1]))]
    bounds = [(0, 0), *cuts, (len(words), len(sound))] if cuts else []
    pieces = [
        Piece(sound[start:end], " ".join(words[first:last]), of)
        for (first, start), (last, end) in zip(bounds, bounds[1:], strict=False)
    ]
    return [piece for piece in pieces if _fits(piece, model, pronounce)]


def _heard(sound: Sound, model: AcousticModel) -> np.ndarray:
    return log_posteriors(model, filter_banks(np.pad(sound, EDGE)))


def _pause(level: np.ndarray, before: AlignedWord, after: AlignedWord) -> int | None:
    """The sample in the middle of the quietest 20 ms between two words; None where it is not quiet."""
    edges = before.end_s - LINGERING_S, after.start_s - LATE_S
    first, last = (int((seconds - EDGE / RATE_HZ) * RATE_HZ) // WINDOW for seconds in edges)
    first = max(0, first)
    between = level[first : max(first, last + 1)]
    if not len(between) or between.min() > PAUSE:
        return None
    return (first + int(between.argmin())) * WINDOW + WINDOW // 2


def _fits(piece: Piece, model: AcousticModel, pronounce: Pronounce) -> bool:
    """Whether the piece alone is heard as its words: a pause within a word ("si-ks") is no place to cut."""
    if len(piece.sound) < SHORTEST:
        return False
    return align(_heard(piece.sound, model), tuple(piece.text.split()), pronounce).gap <= FIT


def write_pieces(folder: Path, corpus: Corpus, name: str, model: AcousticModel, pronounce: Pronounce) -> int:
    """The pieces of what may be trained on of corpus ``name``, with an index; gives back how many."""
    folder.mkdir(parents=True, exist_ok=True)
    pieces = list(_all_pieces((u for u in corpus.kept if u.corpus == name), corpus.sound, model, pronounce))
    for number, first in enumerate(range(0, len(pieces), PIECES_PER_CHUNK)):
        chunk = [(piece.sound, _row(piece, name)) for piece in pieces[first : first + PIECES_PER_CHUNK]]
        write_chunk(folder / f"{number:04d}.jsonl", chunk)
    join_indexes(folder)
    return len(pieces)


def _all_pieces(
    utterances: Iterable[Utterance], signal: Sound, model: AcousticModel, pronounce: Pronounce
) -> Iterator[Piece]:
    for utterance in utterances:
        sound = signal[utterance.start : utterance.start + utterance.samples]
        yield from pieces_of(sound, utterance, model, pronounce)


def _row(piece: Piece, corpus: str) -> dict:
    accent = "gb" if piece.of.british else "us"
    return {"corpus": corpus + ENDING, "text": piece.text, "accent": accent, "speaker": piece.of.speaker}
