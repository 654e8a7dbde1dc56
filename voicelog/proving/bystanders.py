"""Who talks beside the log: sources of minutes in which nobody calls a reading. Each minute can be made again."""

import random
from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import Protocol

import numpy as np
import soundfile

from voicelog.errors import InputError
from voicelog.hearing.audio import read_sound
from voicelog.meaning.parsing import Reader
from voicelog.proving.din import (
    TALK,
    Minute,
    Setting,
    Sound,
    Talkers,
    Utterance,
    babble,
    minute,
    noise_alone,
    recorded_minute,
    recordings,
)
from voicelog.proving.strings import Recording, read_index
from voicelog.proving.talk import means_something, sentence

FULL_S = 45.0  # of speech: with the pauses between, about a minute
MANY = (3, 6)  # people in a babble


class Source(Protocol):
    """Minutes of one kind of sound, numbered from 0."""

    name: str
    meant: bool  # whether it is values and answers in themselves, rightly taken for such where they are awaited

    def __len__(self) -> int: ...

    def minute(self, number: int, draw: random.Random) -> Minute:
        """Minute ``number``, the same for the same ``draw``."""


class OwnVoices:
    """Sentences of ``talk`` in the program's own voices and eSpeak NG's others."""

    name, meant = "own voices", False

    def __init__(self, reader: Reader, minutes: int, noises: tuple[Sound, ...] = ()) -> None:
        self._reader, self._minutes, self._noises = reader, minutes, noises
        self._talkers = Talkers() if minutes else None

    def __len__(self) -> int:
        return self._minutes

    def minute(self, number: int, draw: random.Random) -> Minute:
        return minute(draw, self._talkers, lambda: sentence(draw, self._reader), self._noises)


class Recorded:
    """Every recording of a folder (``strings.read_index``) once, in its order."""

    def __init__(
        self,
        name: str,
        recordings: tuple[Recording, ...],
        meant: bool,
        noises: tuple[Sound, ...] = (),
        setting: Setting = TALK,
    ) -> None:
        self.name, self.meant = name, meant
        self._recordings, self._noises, self._setting = recordings, noises, setting

    @cached_property
    def _plan(self) -> list[list[Recording]]:
        return list(_by_length(self._recordings))

    def __len__(self) -> int:
        return len(self._plan)

    def minute(self, number: int, draw: random.Random) -> Minute:
        near = [_utterance(one) for one in self._plan[number]]
        people = range(draw.randint(1, 3)) if draw.random() < self._setting.others else ()
        return recorded_minute(draw, near, [self.some(draw) for _ in people], self._noises, self._setting)

    def some(self, draw: random.Random) -> list[Utterance]:
        """About a minute of it."""
        return [_utterance(one) for one in draw.choice(self._plan)]


class Babble:
    """Several people of a folder at once."""

    meant = False

    def __init__(self, talk: Recorded, minutes: int, noises: tuple[Sound, ...] = ()) -> None:
        self.name, self._talk, self._minutes, self._noises = f"babble of {talk.name}", talk, minutes, noises

    def __len__(self) -> int:
        return self._minutes

    def minute(self, number: int, draw: random.Random) -> Minute:
        people = (self._talk.some(draw) for _ in range(draw.randint(*MANY)))
        return babble(draw, people, self._noises)


class NoiseAlone:
    """Recordings of noise in which nobody speaks, a minute from a random place of a random one."""

    name, meant = "noise", False

    def __init__(self, noises: tuple[Sound, ...], minutes: int) -> None:
        self._noises, self._minutes = noises, minutes

    def __len__(self) -> int:
        return self._minutes

    def minute(self, number: int, draw: random.Random) -> Minute:
        return Minute(noise_alone(draw, self._noises), (), float("-inf"))


def sources(
    reader: Reader,
    hours: float,
    folders: Sequence[Path] = (),
    babble_hours: float = 0.0,
    noise: Path | None = None,
    noise_hours: float = 0.0,
) -> list[Source]:
    """Talk in the program's own voices, recorded talk, babble of the first folder's, noise alone.

    Raises InputError for a folder without an index or where there is nothing to hear, SoundError for a sound that
    cannot be read.
    """
    noises = recordings(noise) if noise else ()
    talk = [source for folder in folders for source in recorded(folder, reader, noises)]
    found: list[Source] = [OwnVoices(reader, round(60 * hours), noises), *talk]
    if babble_hours and talk:
        found.append(Babble(talk[0], round(60 * babble_hours), noises))
    if noise_hours:
        found.append(NoiseAlone(noises, round(60 * noise_hours)))
    if not any(map(len, found)):
        raise InputError("there is nothing to hear.", where="--hours", do="Give a minute or more: 0.02.")
    return found


def recorded(folder: Path, reader: Reader, noises: tuple[Sound, ...] = ()) -> Iterator[Recorded]:
    """The recordings of a folder, those apart that are values or answers in themselves ("eight", "yes").

    Raises InputError for a folder without an index.
    """
    plain, meant = [], []
    for recording in read_index(folder):
        (meant if means_something(" ".join(recording.text), reader) else plain).append(recording)
    if plain:
        yield Recorded(folder.name, tuple(plain), False, noises)
    if meant:
        yield Recorded(f"{folder.name}, meant", tuple(meant), True, noises)


def _by_length(recordings: Iterable[Recording]) -> Iterator[list[Recording]]:
    together, length_s = [], 0.0
    for recording in recordings:
        together.append(recording)
        length_s += soundfile.info(recording.file).duration
        if length_s >= FULL_S:
            yield together
            together, length_s = [], 0.0
    if together:
        yield together


def _utterance(recording: Recording) -> Utterance:
    sound = read_sound(recording.file).astype(np.float64) / 32768
    return Utterance(" ".join(recording.text), sound, recording.file.name)
