"""Who is to blame for an RCD that trips: one circuit, the sum of many, a fault, or no leakage at all. mA, Mohm."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Literal

from voicelog.checking.edition import Edition
from voicelog.checking.insulation import resistive_mA, short
from voicelog.checking.leakage import budget_mA, resolution_mA, trip_floor_mA, whole_against_parts
from voicelog.checking.weighing import nearest, plain, trimmed
from voicelog.installation import Rcd
from voicelog.model import Noun

Kind = Literal[
    "one culprit", "the sum of many", "insulation fault", "something not measured", "not leakage", "cannot tell"
]


class Blame(Noun):
    """Why an RCD trips, as far as the readings say."""

    kind: Kind
    circuits: tuple[str, ...]  # who is meant; empty when nobody in particular
    sentences: tuple[str, ...]  # the reasoning, step by step


class Evidence(Noun):
    """What was read behind one RCD."""

    rcd: Rcd
    parts_mA: dict[str, Decimal]  # leakage by circuit
    whole_mA: Decimal | None = None  # measured at the RCD itself
    insulation_Mohm: dict[str, Decimal] = {}  # least value to earth by circuit, or by the RCD's own reference
    ramp_mA: Decimal | None = None  # operating current; what leaked meanwhile is not in it
    voltage_V: Decimal = Decimal(230)  # nominal, line to earth

    @property
    def total_mA(self) -> Decimal:
        """The whole as measured, else the arithmetic sum of the parts."""
        return self.whole_mA if self.whole_mA is not None else sum(self.parts_mA.values(), Decimal(0))


def blame(evidence: Evidence, edition: Edition) -> Blame:
    """The verdict on one RCD: a low insulation comes first unless it explains too little of the leakage."""
    faulty = _faulty(evidence, edition)
    if not evidence.parts_mA and evidence.whole_mA is None:
        nothing = Blame(kind="cannot tell", circuits=(), sentences=("No leakage was measured here",))
        return _insulation_fault(faulty, evidence, ()) if faulty else nothing
    budget, opening = budget_mA(evidence.rcd, edition), _opening(evidence, edition)
    if evidence.total_mA <= budget:
        return _insulation_fault(faulty, evidence, opening) if faulty else _within_budget(evidence, edition, opening)
    found = _over_budget(evidence, budget, opening)
    return _with_insulation(found, faulty, evidence) if faulty else found


def _faulty(evidence: Evidence, edition: Edition) -> dict[str, Decimal]:
    """What reads below the least insulation of a low-voltage circuit, Mohm."""
    least = min(row.at_least_Mohm for row in edition.insulation if row.test_voltage_V == 500)
    return {name: value for name, value in evidence.insulation_Mohm.items() if value < least}


def _insulation_fault(faulty: Mapping[str, Decimal], evidence: Evidence, opening: tuple[str, ...]) -> Blame:
    advice = "Unplug items one by one and test again before the fixed wiring is blamed"
    return Blame(
        kind="insulation fault", circuits=tuple(faulty), sentences=(*opening, *_resistive(faulty, evidence), advice)
    )


def _resistive(faulty: Mapping[str, Decimal], evidence: Evidence) -> tuple[str, ...]:
    return tuple(
        f"{name} reads {plain(value)} Mohm to earth: {_flow(value, evidence.voltage_V)}"
        for name, value in faulty.items()
    )


def _flow(value: Decimal, voltage_V: Decimal) -> str:
    if not value:
        return "a dead short"
    return f"at {plain(voltage_V)} V that lets {short(resistive_mA(value, voltage_V))} mA flow"


def _with_insulation(found: Blame, faulty: Mapping[str, Decimal], evidence: Evidence) -> Blame:
    """Over the budget with low insulation besides: a culprit stays one if that explains too little."""
    if found.kind != "one culprit" or _explain_half(faulty, evidence.parts_mA[found.circuits[0]], evidence.voltage_V):
        return _insulation_fault(faulty, evidence, found.sentences)
    culprit = found.circuits[0]
    whose = "its" if tuple(faulty) == (culprit,) else f"what {culprit} leaks,"
    hidden = (
        f"That is little of {whose} {plain(evidence.parts_mA[culprit])} mA: filters leak through capacitors that a "
        "d.c. test does not see, and a heating element leaks more when hot"
    )
    return found.model_copy(update={"sentences": (*found.sentences, *_resistive(faulty, evidence), hidden)})


def _explain_half(faulty: Mapping[str, Decimal], leakage_mA: Decimal, voltage_V: Decimal) -> bool:
    """Whether low insulation lets at least half of a leakage flow, wherever behind the RCD it reads low."""
    if not all(faulty.values()):
        return True
    return 2 * sum(resistive_mA(value, voltage_V) for value in faulty.values()) >= leakage_mA


def _opening(evidence: Evidence, edition: Edition) -> tuple[str, ...]:
    budget, floor = budget_mA(evidence.rcd, edition), trip_floor_mA(evidence.rcd, edition)
    total = evidence.total_mA
    how = "measured at the device" if evidence.whole_mA is not None else "the sum of its circuits, the safe upper bound"
    against = f"against a budget of {trimmed(budget)} mA and a possible trip from {trimmed(floor)} mA"
    said = [f"{plain(total)} mA ({how}) {against}"]
    if evidence.whole_mA is not None and evidence.parts_mA:
        said.append(whole_against_parts(evidence.whole_mA, tuple(evidence.parts_mA.values())).sentence)
    return tuple(said)


def _within_budget(evidence: Evidence, edition: Edition, opening: tuple[str, ...]) -> Blame:
    early = evidence.ramp_mA is not None and evidence.ramp_mA < trip_floor_mA(evidence.rcd, edition)
    cause = (
        _early(evidence.ramp_mA, evidence, edition)
        if early
        else "Standing leakage does not explain a trip. Look for a neutral to earth contact, a neutral borrowed from "
        "another circuit, loads that switch on for short times, damp that comes and goes, surges, or the device itself"
    )
    return Blame(kind="not leakage", circuits=(), sentences=(*opening, cause))


def _early(ramp_mA: Decimal, evidence: Evidence, edition: Edition) -> str:
    """Too sensitive is only a device that trips low with what leaks besides; nobody says whether the loads were off."""
    low, seen = trip_floor_mA(evidence.rcd, edition), ramp_mA + evidence.total_mA
    trips = f"trips at {plain(ramp_mA)} mA on the ramp, below {trimmed(low)} mA"
    if seen < low:
        return (
            f"The device itself {trips}, and with what leaks it saw no more than {plain(seen)} mA: it is too sensitive"
        )
    return (
        f"The device {trips}, but with what leaks it may have seen up to {plain(seen)} mA: repeat with the loads off "
        "before it is blamed"
    )


def _over_budget(evidence: Evidence, budget: Decimal, opening: tuple[str, ...]) -> Blame:
    parts = evidence.parts_mA
    unmeasured = _unmeasured_mA(evidence)
    if not parts or unmeasured > max(parts.values()):
        missing = f"At least {plain(unmeasured)} mA is in something that was not measured by itself"
        return Blame(kind="something not measured", circuits=(), sentences=(*opening, missing))
    largest = max(parts, key=lambda name: parts[name])
    rest = evidence.total_mA - parts[largest]
    if parts[largest] * 2 >= evidence.total_mA and rest <= budget:
        said = f"{largest} alone gives {plain(parts[largest])} mA"
        said += f"; the rest, {plain(rest)} mA, is within the budget" if rest else ""
        return Blame(kind="one culprit", circuits=(largest,), sentences=(*opening, said))
    return _sum_of_many(parts, budget, opening)


def _unmeasured_mA(evidence: Evidence) -> Decimal:
    """What the whole holds beyond the arithmetic sum of the parts, allowing for how coarsely they were read."""
    if evidence.whole_mA is None:
        return Decimal(0)
    figures = (evidence.whole_mA, *evidence.parts_mA.values())
    slack = sum((resolution_mA(figure) for figure in figures), Decimal(0))
    return max(evidence.whole_mA - sum(evidence.parts_mA.values(), Decimal(0)) - slack, Decimal(0))


def _sum_of_many(parts: Mapping[str, Decimal], budget: Decimal, opening: tuple[str, ...]) -> Blame:
    ordered = sorted(parts, key=lambda name: -parts[name])
    largest, share = ordered[0], nearest(parts[ordered[0]] / budget * 100, 0)
    many = (
        f"No circuit stands out: the largest, {largest}, has {plain(parts[largest])} mA, {plain(share)} % of the "
        "budget. It is the sum: divide the circuits over more RCDs"
    )
    return Blame(kind="the sum of many", circuits=tuple(ordered), sentences=(*opening, many))
