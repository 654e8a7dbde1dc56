"""Who is speaking: the two of a crew told apart, and a stranger noticed.

Both networks lay their words over the utterance; the one that fits better,
for each phone, counts, unless the voice is clearly nobody's: then the general
network is used.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from voicelog.hearing.filterbank import RATE_HZ
from voicelog.learning.profiles import Profile
from voicelog.learning.voice_print import Numbers, distance, voice_print
from voicelog.model import Heard

STRANGER = 120.0  # squared distance of voice prints beyond which one utterance is nobody's known
DISTANCE_WORTH = 0.02  # nats a word that a unit of squared distance is worth beside the networks' own costs
SHORTEST_S = 0.5  # of speech; shorter utterances ("yes") say too little about a voice


@dataclass(frozen=True)
class Version:
    """An utterance as one network heard it."""

    profile: Profile | None  # None: the general network
    heard: Heard


def choose(versions: Sequence[Version], sound: NDArray[np.int16]) -> Heard:
    """The version that counts, with the speaker's name in it; the general network's for a voice that fits nobody.

    ``versions`` hold the general network's and one for each person. Utterances
    without words lose; costs of different networks are compared as they are,
    since all networks share one graph.
    """
    general = next(version for version in versions if version.profile is None)
    known = [version for version in versions if version.profile is not None and version.heard.texts]
    if not known:
        return general.heard
    own = voice_print(sound) if len(sound) >= SHORTEST_S * RATE_HZ else None
    best = min(known, key=lambda version: _cost(version, own))
    if best.profile is None or (own is not None and _is_stranger(best.profile, own)):
        return general.heard
    return best.heard.model_copy(update={"speaker": best.profile.name})


def _cost(version: Version, own: Numbers | None) -> float:
    """Nats a word, and what the voice itself says."""
    best = version.heard.hypotheses[0]
    cost = best.cost / max(1, len(best.words))
    if own is None or version.profile is None or not version.profile.about.print:
        return cost
    return cost + DISTANCE_WORTH * distance(own, version.profile.print)


def _is_stranger(profile: Profile, own: Numbers) -> bool:
    return bool(profile.about.print) and distance(own, profile.print) > STRANGER
