"""Which utterances make a training step: drawn by corpus, joined into strings, grouped by length."""

import random
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from voicelog.training.corpus import RATE_HZ, Utterance
from voicelog.training.recipe import SHARES, Share

LONGEST_STRING = RATE_HZ * 9 // 2  # 4.5 s: no more is joined to what is this long
MOST_JOINED = 6
SAME_SPEAKER = 0.85  # how often the next word of a string is by the same person
ALLOWANCE_S = 0.8  # for silence around and speed when a batch is filled
UNIT = 4800  # samples: batch lengths are multiples of 0.3 s


String = tuple[Utterance, ...]  # utterances to be joined


def smooth_length(samples: int) -> int:
    """The least length not under ``samples`` whose Fourier transform is quick: 4,800 times a product of 2, 3, 5, 7."""
    return next(n for n in SMOOTH if n * UNIT >= samples) * UNIT


def _is_smooth(number: int) -> bool:
    for prime in (2, 3, 5, 7):
        while number % prime == 0:
            number //= prime
    return number == 1


SMOOTH = tuple(n for n in range(1, 400) if _is_smooth(n))


class Strings:
    """Draws an epoch's strings of utterances."""

    def __init__(self, utterances: tuple[Utterance, ...], shares: dict[str, Share] | None = None) -> None:
        self._shares = SHARES if shares is None else shares
        self._by_corpus: dict[str, list[Utterance]] = {}
        self._by_speaker: dict[tuple[str, str], list[Utterance]] = {}
        self._place: dict[int, int] = {}
        for utterance in utterances:
            same = self._by_corpus.setdefault(utterance.corpus, [])
            self._place[utterance.start] = len(same)
            same.append(utterance)
            self._by_speaker.setdefault((utterance.corpus, utterance.speaker), []).append(utterance)
        self._joinable = [name for name in self._by_corpus if self._share(name).single_words]

    def _share(self, corpus: str) -> Share:
        return self._shares.get(corpus, Share())

    def epoch(self, rng: random.Random) -> list[String]:
        """Every utterance as often as its corpus's weight says, each perhaps followed by others."""
        strings = []
        for corpus, utterances in self._by_corpus.items():
            whole, part = divmod(self._share(corpus).weight, 1)
            chosen = utterances * int(whole) + rng.sample(utterances, int(len(utterances) * part))
            strings += [self._joined(utterance, rng) for utterance in chosen]
        return strings

    def _joined(self, first: Utterance, rng: random.Random) -> String:
        string, length, chance = [first], first.samples, self._share(first.corpus).joined
        while length < LONGEST_STRING and len(string) < MOST_JOINED and rng.random() < chance:
            string.append(self._next(first, rng))
            length += string[-1].samples
        return tuple(string)

    def _next(self, first: Utterance, rng: random.Random) -> Utterance:
        """Mostly the same person; without a name, a neighbour in the index, which is most often the same person."""
        if rng.random() > SAME_SPEAKER and self._joinable:
            return rng.choice(self._by_corpus[rng.choice(self._joinable)])
        if first.speaker:
            return rng.choice(self._by_speaker[first.corpus, first.speaker])
        same, place = self._by_corpus[first.corpus], self._place[first.start]
        near = self._share(first.corpus).neighbours
        return same[max(0, min(len(same) - 1, place + rng.randint(-near, near)))]


def length_s(string: String) -> float:
    return sum(utterance.samples for utterance in string) / RATE_HZ + ALLOWANCE_S


def batches(strings: list[String], seconds: float, rng: random.Random) -> list[list[String]]:
    """Strings of like length together, at most ``seconds`` of padded sound each, in random order."""
    ordered = sorted(strings, key=lambda string: length_s(string) * rng.uniform(0.9, 1.1))
    groups: list[list[String]] = []
    group: list[String] = []
    longest = 0.0
    for string in ordered:
        longest = max(longest, length_s(string))
        if group and longest * (len(group) + 1) > seconds:
            groups.append(group)
            group, longest = [], length_s(string)
        group.append(string)
    groups.append(group)
    rng.shuffle(groups)
    return [group for group in groups if len(group) > 1] or groups


@dataclass(frozen=True)
class Layout:
    """Where each piece of each string lies in the batch; arrays are (strings, pieces), int64, in samples."""

    source: np.ndarray  # first sample in the joined signal
    samples: np.ndarray  # there
    stretched: np.ndarray  # samples here, after the change of speed
    place: np.ndarray  # first sample here
    ends: np.ndarray  # (strings,) where sound ends
    length: int  # of the batch
    labels: tuple[tuple[int, ...], ...]  # phone numbers of each string


def lay_out(
    group: list[String], phones: Callable[[Utterance], tuple[int, ...]], rng: random.Random, varied: bool = True
) -> Layout:
    """Lay strings out; ``varied`` draws speeds and pauses, and cuts some of the silence at the pieces' ends."""
    most = max(len(string) for string in group)
    shape = (len(group), most)
    source, samples, stretched = np.zeros(shape, np.int64), np.full(shape, 2), np.full(shape, 2)
    place, ends, labels = np.full(shape, 2**30), np.zeros(len(group), np.int64), []
    for row, string in enumerate(group):
        speed = rng.uniform(0.82, 1.22) if varied else 1.0
        at = int(RATE_HZ * (rng.uniform(0.03, 0.5) if varied else 0.25))
        spoken: tuple[int, ...] = ()
        for column, utterance in enumerate(string):
            start, count = _cut(utterance, rng) if varied else (utterance.start, utterance.samples)
            source[row, column], samples[row, column], place[row, column] = start, count, at
            stretched[row, column] = int(count / speed)
            pause = rng.uniform(0, 0.25) if varied and rng.random() < 0.7 else 0.0
            at += int(count / speed) + (int(RATE_HZ * pause) if column + 1 < len(string) else 0)
            spoken += phones(utterance)
        ends[row] = at + int(RATE_HZ * (rng.uniform(0.1, 0.6) if varied else 0.25))
        labels.append(spoken)
    return Layout(source, samples, stretched, place, ends, smooth_length(int(ends.max()) + 480), tuple(labels))


def _cut(utterance: Utterance, rng: random.Random) -> tuple[int, int]:
    """First sample and count, with some of the silence at both ends taken away (40 ms always stays)."""
    keep = RATE_HZ // 25
    before = int(rng.random() * max(0, utterance.lead - keep))
    after = int(rng.random() * max(0, utterance.trail - keep))
    return utterance.start + before, utterance.samples - before - after
