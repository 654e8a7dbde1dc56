"""Observations, their codes and the overall result; wording suggested for what the checks found.

A suggestion is common practice put into words. Whether to make an observation, and with which code, is
for a qualified person to decide.
"""

from typing import Literal

from voicelog.checking.changes import shown
from voicelog.model import Noun, Number, Outcome, Place, Reading, Result, Verdict

Code = Literal["C1", "C2", "C3", "FI"]
MEANINGS: dict[Code, str] = {  # three public pages on condition reports, in our own words
    "C1": "danger is there now: make safe at once",
    "C2": "could become dangerous: act urgently",
    "C3": "safe, and improvement is advised",
    "FI": "not settled within the inspection: look further without delay",
}
UNSATISFACTORY: tuple[Code, ...] = ("C1", "C2", "FI")
DECIDES = "Suggested only: a qualified person decides on wording and code"

FAILED: dict[str, tuple[Code, str]] = {
    "zs": ("C2", "Earth fault loop impedance above the limit: disconnection in time is not assured"),
    "r1_r2": ("C2", "Line and protective conductor: continuity not satisfactory"),
    "r2_cpc": ("C2", "No effective protective conductor at this point"),
    "ring_r1": ("C2", "Line conductor of the ring final circuit not closed"),
    "ring_rn": ("C2", "Neutral conductor of the ring final circuit not closed"),
    "ring_r2": ("C2", "Protective conductor of the ring final circuit not closed"),
    "ring_step2": ("FI", "Ring final circuit: no reading at a point with line and neutral crossed"),
    "ring_step3": ("FI", "Ring final circuit: no satisfactory reading with line and protective conductor crossed"),
    "ir_ll": ("C2", "Insulation between live conductors below the least value"),
    "ir_le": ("C2", "Insulation to earth below the least value"),
    "ir_ne": ("C2", "Insulation of the neutral to earth below the least value"),
    "ir_lne": ("FI", "Insulation of several conductors together below the least value: find which"),
    "polarity": ("C1", "Polarity incorrect"),
    "rcd_time": ("C2", "RCD does not operate in the required time"),
    "rcd_ramp": ("C2", "RCD operates outside its range of residual current"),
    "test_button": ("C3", "Test button does not operate the device"),
    "earth_leakage": ("C3", "Standing earth leakage beyond 30 % of the rated residual current of the RCD"),
    "earth_leakage_dc": ("C2", "Smooth d.c. leakage beyond what the type of RCD bears"),
    "pfc": ("C2", "Prospective fault current beyond the breaking capacity of a device"),
    "bonding": ("C2", "Protective bonding not effective"),
    "electrode": ("C2", "Earth electrode resistance above the limit"),
    "voltage": ("FI", "Supply voltage outside its window"),
    "phase_rotation": ("FI", "Phase rotation reversed"),
    "rcd_type": ("C3", "Type of RCD not suited to the loads behind it"),
    "functional": ("C2", "Functional check failed"),
    "spd": ("C3", "Surge protection indicates that it has failed"),
}
TOO_HIGH: dict[str, tuple[Code, str]] = {  # a figure shows that there is a conductor: it is only not good enough
    "r2_cpc": ("C2", "Protective conductor: resistance above what the limit of Zs leaves for it"),
    "bonding": ("C2", "Protective bonding: resistance above the limit"),
}
MARGINAL: dict[str, tuple[Code, str]] = {
    "ze": ("FI", "External loop impedance above the traditional maximum: ask the distributor"),
    "electrode": ("C3", "Earth electrode resistance high enough to be unstable"),
}


class Observation(Noun):
    """One observation with its code."""

    code: Code
    place: Place | None = None
    words: str = ""


class Overall(Noun):
    """The overall result of a condition report."""

    satisfactory: bool
    sentence: str


class Suggestion(Noun):
    """Wording and code for what a check found, for a qualified person to take or leave."""

    code: Code
    place: Place
    words: str
    why: str  # the finding and the limit's own sentence


def overall(observations: tuple[Observation, ...]) -> Overall:
    """Any C1, C2 or FI makes it unsatisfactory; only C3, or none, leaves it satisfactory."""
    counts = {code: sum(o.code == code for o in observations) for code in MEANINGS}
    grave = [f"{counts[code]} {code}" for code in UNSATISFACTORY if counts[code]]
    if grave:
        return Overall(satisfactory=False, sentence=f"Unsatisfactory: {', '.join(grave)}. {DECIDES}.")
    rest = f"{counts['C3']} C3 and nothing graver" if counts["C3"] else "no observations"
    return Overall(satisfactory=True, sentence=f"Satisfactory: {rest}. {DECIDES}.")


def suggest(reading: Reading, verdict: Verdict) -> Suggestion | None:
    """A suggested observation for a reading that failed (or whose margin asks for one); None otherwise."""
    failed = {**FAILED, **TOO_HIGH} if isinstance(reading.value, Number) else FAILED
    table = {Outcome.FAIL: failed, Outcome.MARGINAL: MARGINAL}.get(verdict.outcome, {})
    entry = table.get(reading.quantity)
    if entry is None:
        return None
    code, words = entry
    found = f"{shown(reading.value)} {reading.unit}".strip()
    why = f"{found}." if isinstance(reading.value, Result) else f"{found}. {verdict.sentence}"
    return Suggestion(code=code, place=reading.place, words=words, why=why)
