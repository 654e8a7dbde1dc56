"""Where the dialogue may stand when somebody talks beside it: each stance is made to be fooled."""

from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.talking.conversation import Policy

STANCES = {
    "awaiting": (Policy.EVERY, ("circuit five",)),
    "sweep of zs": (Policy.SECOND_PERSON, ("circuit one", "start sweep zed s")),
    "confirming zs": (Policy.EVERY, ("circuit five zed s zero point five two ohms",)),
    "sweep of leakage": (Policy.SECOND_PERSON, ("circuit one", "start sweep earth leakage")),
    "confirming leakage": (Policy.EVERY, ("circuit five earth leakage one point two milliamps",)),
}
SWEEPS = ("sweep of zs", "sweep of leakage")  # a bare value would do


def placed(stage: Stage, stance: str) -> Rehearsal:
    """A visit that has come so far. ``stance``: a key of STANCES."""
    policy, opening = STANCES[stance]
    rehearsal = Rehearsal(stage, policy)
    for words in opening:
        rehearsal.say(tuple(words.split()))
    return rehearsal
