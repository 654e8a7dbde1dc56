"""A recogniser for a crew of two: the tester's network listens, and each utterance is laid before the mate's as well.

The tester's recogniser finds where utterances begin and end. Each is then
heard again, whole, by every network: costs over one and the same stretch of
sound can be compared. ``who.choose`` says which counts and so who spoke.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.audio import Recent
from voicelog.hearing.graph import GraphCosts, WordGraph
from voicelog.hearing.model_folder import ModelFolder, Prepared, open_folder, prepared
from voicelog.hearing.phones import Pronunciation
from voicelog.hearing.recogniser import Recogniser, hear_all
from voicelog.hearing.search import JUDGING
from voicelog.learning.own_words import lexicon_with
from voicelog.learning.profiles import Profile
from voicelog.learning.who import Version, choose
from voicelog.model import Heard, Hypothesis, Word

Sound = NDArray[np.int16]
HearAgain = Callable[[Sound], Heard]  # one whole utterance, times from its start

AROUND_S = 0.3  # of sound before and after an utterance


class Streaming(Protocol):
    """The part of a recogniser that an ear uses."""

    taken_s: float
    speaking: bool

    def hear(self, samples: np.ndarray) -> Iterator[Heard]: ...
    def finish(self) -> Iterator[Heard]: ...
    def forget(self) -> None: ...


def hear_again(prepared: Prepared) -> HearAgain:
    """Hears whole utterances with one network; prepare it with ``search=JUDGING``. Raises ModelError."""
    recogniser = Recogniser(prepared)

    def hear(sound: Sound) -> Heard:
        began = recogniser.taken_s
        parts = [part for part in hear_all(recogniser, [sound]) if part.hypotheses]
        return _earlier(parts[0], began) if parts else Heard(hypotheses=())

    return hear


@dataclass(frozen=True)
class Member:
    """A person's profile and the network that goes with it."""

    profile: Profile
    hear: HearAgain


def crew_recogniser(
    first: Streaming, graph: WordGraph, profiles: tuple[Profile, ...], costs: GraphCosts | None = None
) -> "CrewRecogniser":
    """``first`` listens (the tester's); ``profiles`` are the crew, tester included; all hear what ``graph`` says.

    Raises ModelError.
    """

    def network(folder: ModelFolder, own: dict[str, tuple[Pronunciation, ...]]) -> HearAgain:
        return hear_again(prepared(folder, graph, lexicon_with(own), costs, JUDGING))

    members = tuple(Member(item, network(open_folder(item.folder), item.own_words)) for item in profiles)
    return CrewRecogniser(first, network(open_folder(), {}), members)


class CrewRecogniser:
    """In place of a ``Recogniser``: the same utterances, each with its speaker's name."""

    def __init__(self, first: Streaming, general: HearAgain, crew: tuple[Member, ...]) -> None:
        self._first, self._general, self._crew = first, general, crew
        self._recent = Recent()

    @property
    def taken_s(self) -> float:
        return self._first.taken_s

    @property
    def speaking(self) -> bool:
        return self._first.speaking

    def forget(self) -> None:
        self._first.forget()

    def hear(self, samples: np.ndarray) -> Iterator[Heard]:
        self._recent.add(samples)
        for heard in self._first.hear(samples):
            yield self._settled(heard)

    def finish(self) -> Iterator[Heard]:
        for heard in self._first.finish():
            yield self._settled(heard)

    def _settled(self, heard: Heard) -> Heard:
        """The version that counts, at the place in the stream where it was said."""
        begins = max(0.0, heard.start_s - AROUND_S)
        sound = self._recent.between(begins, heard.end_s + AROUND_S)
        versions = [Version(None, self._general(sound))]
        versions += [Version(member.profile, member.hear(sound)) for member in self._crew]
        chosen = choose(versions, sound)
        if not chosen.texts:
            return heard
        placed = _earlier(chosen, -begins)
        spent = heard.decode_s + sum(version.heard.decode_s for version in versions)
        return placed.model_copy(update={"filler_margin": heard.filler_margin, "decode_s": spent})


def _earlier(heard: Heard, seconds: float) -> Heard:
    """The same utterance so many seconds earlier."""

    def moved(word: Word) -> Word:
        return word.model_copy(update={"start_s": word.start_s - seconds, "end_s": word.end_s - seconds})

    found = tuple(Hypothesis(words=tuple(map(moved, item.words)), cost=item.cost) for item in heard.hypotheses)
    times: Mapping[str, float] = {"start_s": heard.start_s - seconds, "end_s": heard.end_s - seconds}
    return heard.model_copy(update={"hypotheses": found, **times})
