"""A crew of known voices: every network hears everything, and the one that fits counts.

The general network leads: it says where an utterance ends. The others give
what they made of the same sound, and ``who.choose`` takes one of the versions,
so that the log also says who spoke. What each person says also tells whether
the microphone is the one their voice was learnt with.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np

from voicelog.hearing.audio import Recent
from voicelog.hearing.recogniser import PIECE, Recogniser
from voicelog.learning.microphone import MicrophoneWatch
from voicelog.learning.profiles import Profile
from voicelog.learning.who import Version, choose
from voicelog.model import Heard

MARGIN_S = 0.1  # of sound around the words, for the voice itself


@dataclass
class Member:
    """One person's network, and what it made of the utterance so far."""

    profile: Profile
    recogniser: Recogniser
    ready: list[Heard] = field(default_factory=list)

    def hear(self, piece: np.ndarray) -> None:
        self.ready += self.recogniser.hear(piece)

    def version(self) -> Heard | None:
        """The utterance as this network heard it: whole already, or as far as it has come."""
        found = self.ready or list(self.recogniser.finish())
        return found[-1] if found else None

    def forget(self) -> None:
        self.recogniser.forget()
        self.ready = []


class CrewRecogniser:
    """Hears like a recogniser; each utterance says who spoke, or nobody known.

    ``noticed`` is told, at most once a visit for each person, of a microphone unlike the profile's.
    """

    def __init__(
        self, general: Recogniser, members: tuple[Member, ...], noticed: Callable[[str], None] = lambda remark: None
    ) -> None:
        self._general, self._members, self._noticed = general, members, noticed
        self._microphone = MicrophoneWatch()
        self._recent = Recent(30.0)

    @property
    def taken_s(self) -> float:
        return self._general.taken_s

    @property
    def speaking(self) -> bool:
        return self._general.speaking

    def forget(self) -> None:
        self._general.forget()
        self._start_anew()

    def hear(self, samples: np.ndarray) -> Iterator[Heard]:
        for first in range(0, len(samples), PIECE):
            piece = samples[first : first + PIECE]
            self._recent.add(piece)
            for member in self._members:
                member.hear(piece)
            for heard in self._general.hear(piece):
                yield self._chosen(heard)

    def finish(self) -> Iterator[Heard]:
        for heard in self._general.finish():
            yield self._chosen(heard)

    def _chosen(self, general: Heard) -> Heard:
        versions = [Version(None, general)]
        for member in self._members:
            if (heard := member.version()) is not None:
                versions.append(Version(member.profile, heard))
        self._start_anew()
        sound = self._recent.between(general.start_s - MARGIN_S, general.end_s + MARGIN_S)
        chosen = choose(versions, sound)
        self._watch_microphone(chosen.speaker, sound)
        return chosen.model_copy(update={"filler_margin": general.filler_margin})  # only the general network is judged

    def _watch_microphone(self, speaker: str, sound: np.ndarray) -> None:
        for member in self._members:
            if member.profile.name == speaker and (remark := self._microphone.remark(member.profile, sound)):
                self._noticed(remark)

    def _start_anew(self) -> None:
        for member in self._members:
            member.forget()
