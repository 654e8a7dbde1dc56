"""Prospective fault current: what a fault would draw, and whether the devices can break it. A, kA, ohm, V."""

from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.edition import Edition
from voicelog.checking.weighing import Limit, Unknown, plain
from voicelog.installation import Circuit, Device
from voicelog.model import Outcome, Verdict


def fault_current_A(impedance_ohm: Decimal, voltage_V: Decimal) -> Decimal:
    """Prospective fault current U / Z in A."""
    return voltage_V / impedance_ohm


def three_phase_kA(line_neutral_kA: Decimal, edition: Edition) -> Decimal:
    """The three-phase value by the rule of doubling the highest line-to-neutral one."""
    return line_neutral_kA * edition.fault.three_phase_factor


# ---------------------------------------------------------------- verdicts


def judge_fault_current(case: Case) -> Verdict:
    """Prospective fault current against the breaking capacity of the weakest device at the place."""
    devices = [c.device for c in _circuits_at(case) if c.device and c.device.breaking_capacity_kA]
    if not devices:
        return case.unknown(Unknown(why="the job sheet gives no breaking capacity here"))
    weakest = min(devices, key=lambda device: device.breaking_capacity_kA)
    verdict = case.against(_breaking_limit(weakest, case.edition))
    if verdict.outcome is Outcome.FAIL:
        return _backed_up(verdict, case)
    return _doubled(verdict, weakest, case) if case.sheet.supply.phases == 3 else verdict


def _circuits_at(case: Case) -> tuple[Circuit, ...]:
    return (case.circuit,) if case.circuit else case.board.circuits


def _breaking_limit(device: Device, edition: Edition) -> Limit:
    capacity = device.breaking_capacity_kA
    return Limit(
        sentence=f"At most {plain(capacity)} kA: the rated breaking capacity of {device.name}, the weakest device here",
        source="434.5.1: breaking capacity not less than the prospective fault current [seen on a page]",
        unit="kA",
        at_most=capacity,
        watch_above=capacity * edition.bands.fault,
    )


def _backed_up(verdict: Verdict, case: Case) -> Verdict:
    """Beyond the device's own rating, a consumer unit behind a small enough fuse may still be adequate."""
    fault, fuse, found = case.edition.fault, case.sheet.supply.main_fuse_A, case.figure("kA")
    small_fuse = fuse is not None and fuse <= fault.conditional_to_A and not case.board.supplied_from
    if not small_fuse or found is None or found > fault.conditional_kA:
        return verdict
    thought = (
        f"Behind a {plain(fuse)} A fuse a consumer unit to BS EN 61439-3 may be rated {plain(fault.conditional_kA)} kA "
        "as a whole: read its label"
    )
    update = {"outcome": Outcome.MARGINAL, "sentence": sentences(verdict.sentence, thought)}
    return verdict.model_copy(update=update)


def _doubled(verdict: Verdict, weakest: Device, case: Case) -> Verdict:
    """On a three-phase supply a line-to-neutral value counts double."""
    found = case.figure("kA")
    if found is None or three_phase_kA(found, case.edition) <= weakest.breaking_capacity_kA:
        return verdict
    thought = (
        f"If it was measured line to neutral, the three-phase value is {plain(three_phase_kA(found, case.edition))} kA"
    )
    return verdict.model_copy(
        update={
            "outcome": Outcome.MARGINAL,
            "sentence": sentences(verdict.sentence, f"{thought}: more than the device"),
        }
    )
