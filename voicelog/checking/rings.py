"""Ring final circuits: do the ends agree, which leg is open, what every point should read. Ohm and m.

r1, rn, r2 are the end-to-end resistances of line, neutral and protective conductor (step 1). In step 2
line and neutral are crossed, in step 3 line and protective conductor.
"""

from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.conductors import length_m, r2_to_r1
from voicelog.checking.continuity import judge_r1_r2
from voicelog.checking.edition import Edition
from voicelog.checking.record import Record, latest, latest_figure
from voicelog.checking.weighing import Limit, Unknown, nearest, plain
from voicelog.installation import Cable, Circuit
from voicelog.model import Noun, OpenCircuit, Outcome, Place, Verdict

LEGS = {"ring_r1": "line (r1)", "ring_rn": "neutral (rn)", "ring_r2": "protective conductor (r2)"}


class Ends(Noun):
    """The end-to-end resistances of a ring, ohm."""

    r1: Decimal
    rn: Decimal
    r2: Decimal | None = None


def step2_ohm(r1: Decimal, rn: Decimal) -> Decimal:
    """Line and neutral crossed: (r1 + rn)/4 at every point."""
    return (r1 + rn) / 4


def step3_range_ohm(r1: Decimal, r2: Decimal) -> tuple[Decimal, Decimal]:
    """Least reading r1 r2/(r1 + r2), at the crossed ends, and greatest (r1 + r2)/4, at the mid-point."""
    return r1 * r2 / (r1 + r2), (r1 + r2) / 4


def ring_length_m(r1: Decimal, line_mm2: Decimal) -> Decimal | Unknown:
    """Once round, at 20 degC, to one decimal."""
    found = length_m(r1, line_mm2)
    return found if isinstance(found, Unknown) else nearest(found, 1)


def spur_length_m(reading_ohm: Decimal, expected_ohm: Decimal, line_mm2: Decimal) -> Decimal | Unknown:
    """The unfused spur (line and return of one size) that a step 2 reading above the ring's would stand for."""
    found = length_m(max(reading_ohm - expected_ohm, Decimal(0)) / 2, line_mm2)
    return found if isinstance(found, Unknown) else nearest(found, 1)


def open_legs(record: Record, place: Place) -> tuple[str, ...]:
    """The legs that read open circuit, by name."""
    found = {quantity: latest(record, quantity, place) for quantity in LEGS}
    return tuple(LEGS[q] for q, reading in found.items() if reading and isinstance(reading.value, OpenCircuit))


def ends_of(record: Record, place: Place) -> Ends | Unknown:
    """The ends as measured; Unknown names what is missing."""
    figures = {quantity: latest_figure(record, quantity, place, "ohm") for quantity in LEGS}
    missing = [LEGS[q] for q in ("ring_r1", "ring_rn") if figures[q] is None]
    if missing:
        return Unknown(why=f"the ends of {' and '.join(missing)} are not measured yet")
    return Ends(r1=figures["ring_r1"], rn=figures["ring_rn"], r2=figures["ring_r2"])


# ---------------------------------------------------------------- what the ends say together


def assess_ends(ends: Ends, cable: Cable | None, edition: Edition) -> tuple[Outcome, tuple[str, ...]]:
    """Whether the three ends belong to one ring, in sentences."""
    findings = [_agreement(ends, edition), _ratio(ends, cable, edition)]
    said = tuple(sentence for _, sentence in findings if sentence)
    outcome = Outcome.MARGINAL if any(bad for bad, _ in findings) else Outcome.PASS
    return outcome, said + _length(ends, cable)


def _agreement(ends: Ends, edition: Edition) -> tuple[bool, str]:
    apart, allowed = abs(ends.r1 - ends.rn), edition.ring.agreement_ohm
    if apart <= allowed:
        return False, f"r1 and rn agree within {plain(allowed)} ohm"
    return True, (
        f"r1 and rn differ by {plain(apart)} ohm, more than {plain(allowed)}: a loose joint, mixed sizes, "
        "or ends of two circuits"
    )


def _ratio(ends: Ends, cable: Cable | None, edition: Edition) -> tuple[bool, str]:
    """r2 against r1 times the ratio of the cable, with the same agreement once scaled."""
    if cable is None or ends.r2 is None:
        return False, ""
    ratio = r2_to_r1(cable)
    if isinstance(ratio, Unknown):
        return False, ""
    expected, name = ends.r1 * ratio, f"{plain(cable.line_mm2)}/{plain(cable.cpc_mm2)} mm2"
    allowed = edition.ring.agreement_ohm * max(ratio, Decimal(1))
    if abs(ends.r2 - expected) <= allowed:
        return False, f"r2/r1 is {plain(nearest(ends.r2 / ends.r1))}, as {name} should be ({plain(nearest(ratio))})"
    meaning = _meaning_of_ratio(ends, ratio)
    return True, f"r2 is {plain(ends.r2)} ohm where {name} gives {plain(nearest(expected))}: {meaning}"


def _meaning_of_ratio(ends: Ends, ratio: Decimal) -> str:
    if ends.r2 > ends.r1 * ratio:
        return "a poor joint in the protective conductor, or another size than on the sheet"
    return "a parallel path such as metal boxes or conduit, a bridge, or another size than on the sheet"


def _length(ends: Ends, cable: Cable | None) -> tuple[str, ...]:
    if cable is None:
        return ()
    found = ring_length_m(ends.r1, cable.line_mm2)
    return () if isinstance(found, Unknown) else (f"r1 stands for about {plain(nearest(found, 0))} m once round",)


# ---------------------------------------------------------------- verdicts


def judge_ring_end(case: Case) -> Verdict:
    """One end-to-end reading; with r1 and rn on record, what the ends say together."""
    leg = LEGS[case.reading.quantity]
    if isinstance(case.reading.value, OpenCircuit) or (case.figure("ohm") is None):
        return _unclosed(case, leg)
    ends = ends_of((*case.record, case.reading), case.place)
    if isinstance(ends, Unknown):
        return case.unknown(ends)
    circuit = case.circuit
    outcome, said = assess_ends(ends, circuit.cable if circuit else None, case.edition)
    verdict = case.plainly(outcome, sentences(*said), case.edition.ring.origin)
    return verdict.model_copy(update={"limit": case.edition.ring.agreement_ohm, "unit": "ohm"})


def _unclosed(case: Case, leg: str) -> Verdict:
    if isinstance(case.reading.value, OpenCircuit):
        advice = f"Open circuit: the {leg} is not closed to a ring. Fed from both ends it can be overloaded unseen"
        return case.plainly(Outcome.FAIL, advice, case.edition.ring.origin)
    return case.plainly(Outcome.MARGINAL, f"Cannot tell: the {leg} needs a plain figure", case.edition.ring.origin)


def judge_step2(case: Case) -> Verdict:
    """Line and neutral crossed: every point within the agreement of (r1 + rn)/4."""
    ends = ends_of(case.record, case.place)
    if isinstance(ends, Unknown):
        return _step_without_ends(case, ends)
    expected = step2_ohm(ends.r1, ends.rn)
    return _step(case, expected, expected, "(r1 + rn)/4 at every point")


def judge_step3(case: Case) -> Verdict:
    """Line and protective conductor crossed: between the crossed ends and the mid-point value."""
    ends = ends_of(case.record, case.place)
    if isinstance(ends, Unknown) or ends.r2 is None:
        missing = ends if isinstance(ends, Unknown) else Unknown(why=f"the {LEGS['ring_r2']} is not measured yet")
        return _step_without_ends(case, missing)
    low, high = step3_range_ohm(ends.r1, ends.r2)
    verdict = _step(case, low, high, "from r1 r2/(r1 + r2) at the ends to (r1 + r2)/4 at the mid-point")
    by_loop = judge_r1_r2(case)
    return by_loop if by_loop.outcome is Outcome.FAIL else verdict


def _step_without_ends(case: Case, missing: Unknown) -> Verdict:
    if isinstance(case.reading.value, OpenCircuit):
        return case.plainly(Outcome.FAIL, "Open circuit at this point of the ring")
    return case.unknown(missing)


def _step(case: Case, low: Decimal, high: Decimal, rule: str) -> Verdict:
    if isinstance(case.reading.value, OpenCircuit):
        return case.plainly(Outcome.FAIL, "Open circuit at this point of the ring")
    slack = case.edition.ring.agreement_ohm
    span = plain(nearest(low)) if low == high else f"{plain(nearest(low))} to {plain(nearest(high))}"
    limit = Limit(
        sentence=f"Expected {span} ohm, {rule}, within {plain(slack)} ohm",
        source=f"{case.edition.ring.origin}; step readings computed from the ends",
        unit="ohm",
        at_least=max(low - slack, Decimal(0)),
        at_most=high + slack,
    )
    verdict = case.against(limit)
    return _explained(verdict, case, low, high) if verdict.outcome is Outcome.FAIL else verdict


def _explained(verdict: Verdict, case: Case, low: Decimal, high: Decimal) -> Verdict:
    """Beyond the expected span is a sign to follow, not a limit of the standard: marginal, with its meaning."""
    found = case.figure("ohm")
    if found is None:
        return verdict
    meaning = (
        _above(found, high, case.circuit)
        if found > high
        else "Lower than the ring: bridged, or the ends were not crossed"
    )
    return verdict.model_copy(
        update={"outcome": Outcome.MARGINAL, "limit": nearest(high), "sentence": sentences(verdict.sentence, meaning)}
    )


def _above(found: Decimal, high: Decimal, circuit: Circuit | None) -> str:
    meaning = "Higher than the ring: a spur, a loose joint, or a poor grip of the probe"
    if circuit is None or circuit.cable is None:
        return meaning
    spur = spur_length_m(found, high, circuit.cable.line_mm2)
    return meaning if isinstance(spur, Unknown) else f"{meaning}; a spur would be about {plain(spur)} m"
