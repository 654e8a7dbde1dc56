"""The cautions shown where work can hurt. Common practice of the trade; the crew's own rules come first."""

from voicelog.model import Outcome

ISOLATE = (
    "Isolate, lock off and prove dead between all conductors, with the indicator proved before and after, "
    "before opening anything."
)
NO_EARTH = "Exposed metal here could become live on a fault: keep people away from it until it is made safe."
SKILLED = "Live tests only by skilled persons, with rated leads and probes, and only those that are needed."
INSULATION = (
    "An insulation test is made dead, can damage electronics, can give a shock, and leaves the circuit charged: "
    "disconnect what is vulnerable, discharge afterwards."
)
ZE = "Ze is taken with the installation isolated and its earthing conductor off: reconnect it before energising."
AID = "A verdict is an aid: the edition in force, local codes and the judgement of a qualified person come first."

ON_FAILURE = {
    "r1_r2": NO_EARTH,
    "r2_cpc": NO_EARTH,
    "bonding": NO_EARTH,
    "ring_r2": NO_EARTH,
    "zs": ISOLATE,
    "electrode": NO_EARTH,
    "polarity": ISOLATE,
    "pfc": SKILLED,
    "voltage": SKILLED,
}


def caution_for(quantity: str, outcome: Outcome) -> str:
    """What to be careful of when a reading of this quantity fails; empty otherwise."""
    return ON_FAILURE.get(quantity, "") if outcome is Outcome.FAIL else ""
