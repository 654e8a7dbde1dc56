"""Continuity of protective conductors: R1+R2, R2 by wander lead, bonding. Resistances ohm, lengths m.

The standard sets no figure for R1+R2 itself: it is judged by the Zs that it leads to.
"""

from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.conductors import length_m, pair_ohm_per_m, r2_to_r1
from voicelog.checking.disconnection import system
from voicelog.checking.loop import origin_ohm, permitted_zs, rcd_loop_ohm
from voicelog.checking.weighing import Limit, Unknown, down, nearest, plain
from voicelog.installation import Cable, Circuit
from voicelog.model import OpenCircuit, Outcome, Result, Verdict

BOND_MM2 = Decimal(10)  # the size that the rule of thumb is told for


def predicted_r1_r2(cable: Cable, *, ring: bool = False) -> Decimal | Unknown:
    """R1+R2 in ohm from size and length at 20 degC; for a ring the mid-point value (r1 + r2)/4.

    >>> predicted_r1_r2(Cable(line_mm2="2.5", cpc_mm2="1.5", length_m="50"))
    Decimal('0.97550')
    """
    per_m = pair_ohm_per_m(cable)
    if isinstance(per_m, Unknown):
        return per_m
    if cable.length_m is None:
        return Unknown(why="the job sheet gives no cable length")
    return per_m * cable.length_m / (4 if ring else 1)


def run_length_m(r1_r2_ohm: Decimal, cable: Cable, *, ring: bool = False) -> Decimal | Unknown:
    """The length of cable at 20 degC that gives an R1+R2, in m to one decimal; of a ring, once round."""
    per_m = pair_ohm_per_m(cable)
    return per_m if isinstance(per_m, Unknown) else nearest(r1_r2_ohm * (4 if ring else 1) / per_m, 1)


def judge_r1_r2(case: Case) -> Verdict:
    """R1+R2 by the Zs it gives together with Ze or Zdb; an open circuit fails whatever the limit."""
    if isinstance(case.reading.value, OpenCircuit):
        return case.plainly(Outcome.FAIL, "Open circuit: the protective conductor or the line is not continuous")
    limit = _room_for(case, Decimal(1), "R1+R2")
    verdict = case.against(limit)
    return verdict.model_copy(update={"sentence": sentences(verdict.sentence, _expected(case))})


def judge_r2(case: Case) -> Verdict:
    """R2 by wander lead: no earth fails; a figure is judged with the line conductor that belongs to it."""
    if _no_earth(case):
        return case.plainly(Outcome.FAIL, "No earth at this point: the protective conductor does not reach it")
    circuit = case.circuit
    ratio = r2_to_r1(circuit.cable) if circuit and circuit.cable else Unknown(why="cable not known")
    share = Decimal(1) if isinstance(ratio, Unknown) else ratio / (1 + ratio)  # R2 as a part of R1+R2
    limit = _room_for(case, share, "R2")
    verdict = case.against(limit)
    if isinstance(limit, Unknown) or not isinstance(ratio, Unknown):
        return verdict
    return verdict.model_copy(
        update={
            "sentence": sentences(verdict.sentence, "The cable is not on the sheet, so nothing is left for the line")
        }
    )


def _no_earth(case: Case) -> bool:
    value = case.reading.value
    said = isinstance(value, Result) and value.word in ("no_earth", "fail")
    return said or isinstance(value, OpenCircuit) or case.reading.conditions.get("point") == "no earth"


def _room_for(case: Case, share: Decimal, symbol: str) -> Limit | Unknown:
    """What Zs leaves for a part of R1+R2 once Ze or Zdb is taken off, at ambient, rounded down."""
    if case.circuit is None:
        return Unknown(why=f"{symbol} at a board has no limit of its own: compare it with the length of the conductor")
    upstream = origin_ohm(case.board, case.sheet, case.record)
    zs = _zs_ohm(case.circuit, case)
    for part in (upstream, zs):
        if isinstance(part, Unknown):
            return part
    room = down(max(zs - upstream, Decimal(0)) * share)
    return Limit(
        sentence=f"At most {plain(room)} ohm, so that with {plain(upstream)} ohm before the board Zs stays within "
        f"{plain(zs)} ohm as measured",
        source=case.edition.loop.origin,
        unit="ohm",
        at_most=room,
        watch_above=down(room * case.edition.bands.loop),
    )


def _zs_ohm(circuit: Circuit, case: Case) -> Decimal | Unknown:
    rcd = case.protecting_rcd
    if system(case.sheet.supply) == "TT" and rcd is not None:
        return rcd_loop_ohm(rcd, case.edition)
    limit = permitted_zs(circuit, case.sheet, case.edition)
    return limit if isinstance(limit, Unknown) else limit.measured_ohm


def _expected(case: Case) -> str:
    """What cable and length should give, beside what was found; without a length, the length that was found."""
    circuit, found = case.circuit, case.figure("ohm")
    if circuit is None or circuit.cable is None or found is None:
        return ""
    cable = circuit.cable
    if cable.length_m is None:
        run = run_length_m(found, cable, ring=circuit.ring)
        what = f"m of {plain(cable.line_mm2)}/{plain(cable.cpc_mm2)} mm2{' once round' if circuit.ring else ''}"
        return "" if isinstance(run, Unknown) else f"It would be {plain(run)} {what} at 20 degC"
    expected = predicted_r1_r2(cable, ring=circuit.ring)
    if isinstance(expected, Unknown):
        return ""
    return f"Cable and length on the sheet give {plain(nearest(expected))} ohm at 20 degC"


# ---------------------------------------------------------------- bonding


def bond_length_m(ohm: Decimal, area_mm2: Decimal = BOND_MM2) -> Decimal | Unknown:
    """The length of bonding conductor that a resistance stands for: 0.05 ohm of 10 mm2 is 27.3 m."""
    found = length_m(ohm, area_mm2)
    return found if isinstance(found, Unknown) else nearest(found, 1)


def judge_bonding(case: Case) -> Verdict:
    """Bonding: accepted up to 0.1 ohm; above, plausible only by size and length; open circuit fails."""
    if _no_earth(case):
        return case.plainly(Outcome.FAIL, "No continuity between the part and the main earthing terminal")
    bonding, found = case.edition.bonding, case.figure("ohm")
    limit = Limit(
        sentence=f"Up to {plain(bonding.accept_ohm)} ohm is accepted where the expected value is smaller; "
        f"{plain(bonding.rule_of_thumb_ohm)} ohm is a rule of thumb and no limit",
        source=bonding.origin,
        unit="ohm",
        at_most=bonding.doubtful_ohm,
        watch_above=bonding.accept_ohm,
        watch_says="to be explained by the length and size of the conductor",
    )
    verdict = case.against(limit).model_copy(update={"limit": bonding.accept_ohm})
    if found is None or found <= bonding.accept_ohm:
        return verdict
    stands_for = f"It would be {plain(bond_length_m(found))} m of {plain(BOND_MM2)} mm2"
    return verdict.model_copy(update={"sentence": sentences(verdict.sentence, stands_for)})
