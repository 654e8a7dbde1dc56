"""Ring final circuits whose ends were measured."""

from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.rings import LEGS, Ends, assess_ends, ends_of, open_legs, step2_ohm, step3_range_ohm
from voicelog.checking.weighing import Unknown, nearest, plain
from voicelog.installation import Circuit
from voicelog.model import Place


def ring_section(findings: Findings) -> Section:
    """Each ring whose ends were measured."""
    said: list[Statement] = []
    for board in findings.sheet.boards:
        for circuit in board.circuits:
            place = Place(board=board.reference, circuit=circuit.number)
            said += _ring(findings, circuit, place)
    return Section(title="Ring final circuits", statements=tuple(said))


def _ring(findings: Findings, circuit: Circuit, place: Place) -> list[Statement]:
    origins = findings.of(place, *LEGS)
    broken = open_legs(findings.current, place)
    if broken:
        return [Statement(text=f"{place.key}: open circuit in the {' and the '.join(broken)}.", origins=origins)]
    ends = ends_of(findings.record, place)
    if isinstance(ends, Unknown):
        return []
    outcome, said = assess_ends(ends, circuit.cable, findings.edition)
    texts = [f"{place.key}: {outcome.value}. {'. '.join(said)}.", _steps(ends)]
    return [Statement(text=text, origins=origins) for text in texts]


def _steps(ends: Ends) -> str:
    step2 = f"Every point should read {plain(nearest(step2_ohm(ends.r1, ends.rn)))} ohm with line and neutral crossed"
    if ends.r2 is None:
        return f"{step2}."
    low, high = step3_range_ohm(ends.r1, ends.r2)
    return f"{step2}, {plain(nearest(low))} to {plain(nearest(high))} ohm with line and protective conductor crossed."
