"""Standing earth leakage: each RCD's budget, sums against parts, who is to blame. Currents mA.

Leakages add as phasors. On one phase, resistive and capacitive parts lie within a quarter turn of each
other, so a sum lies between the root-sum-square and the arithmetic sum; the latter is the safe one.
"""

from collections.abc import Iterable
from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.edition import Edition
from voicelog.checking.record import Record, latest_figure
from voicelog.checking.weighing import Limit, Unknown, nearest, plain, trimmed
from voicelog.installation import Board, Rcd
from voicelog.model import Noun, Outcome, Place, Verdict


def budget_mA(rcd: Rcd, edition: Edition) -> Decimal:
    """Standing leakage that may lie downstream of an RCD: 30 % of its rating (9 mA for 30 mA)."""
    return rcd.rated_residual_current_mA * edition.leakage.share


def trip_floor_mA(rcd: Rcd, edition: Edition) -> Decimal:
    """Just above this the most sensitive device of its rating trips (15 mA for 30 mA)."""
    return rcd.rated_residual_current_mA * edition.leakage.trip_floor


def judge_leakage(case: Case) -> Verdict:
    """Leakage of an RCD, or of one circuit behind it, against the budget of that RCD."""
    rcd = case.protecting_rcd if case.circuit else case.rcd
    if rcd is None:
        return case.unknown(_no_budget(case))
    budget, rated = budget_mA(rcd, case.edition), trimmed(rcd.rated_residual_current_mA)
    share = nearest(case.edition.leakage.share * 100, 0)
    shared = "all circuits behind it together" if case.circuit else "standing, in normal use"
    limit = Limit(
        sentence=f"At most {trimmed(budget)} mA, {plain(share)} % of {rcd.reference} ({rated} mA), {shared}",
        source=case.edition.leakage.origin,
        unit="mA",
        at_most=budget,
        watch_above=budget * case.edition.bands.leakage,
        watch_says="little is left of the budget",
    )
    verdict = case.against(limit)
    verdict = verdict.model_copy(update={"sentence": sentences(verdict.sentence, _share(case, rcd))})
    return _among_others(verdict, case, rcd) if case.circuit and case.rcd else verdict


def _no_budget(case: Case) -> Unknown:
    if case.circuit is None:
        return Unknown(why="the tails have no limit of their own: compare them with the sum of the circuits")
    rule = case.edition.leakage
    return Unknown(
        why=f"no RCD protects this circuit on the job sheet; above {plain(rule.protective_mA)} mA look at how the "
        f"equipment is connected, above {plain(rule.high_integrity_mA)} mA at a high-integrity protective conductor"
    )


def _share(case: Case, rcd: Rcd) -> str:
    found = case.figure("mA")
    if found is None:
        return ""
    used = nearest(found / budget_mA(rcd, case.edition) * 100, 0)
    floor = trip_floor_mA(rcd, case.edition)
    beyond = f"; above {trimmed(floor)} mA, so it can trip the RCD by itself" if found > floor else ""
    return f"That is {plain(used)} % of the budget{beyond}"


def _among_others(verdict: Verdict, case: Case, rcd: Rcd) -> Verdict:
    """A circuit that passes alone is marginal once the sum behind its RCD has used up the budget."""
    found, others = case.figure("mA"), parts_mA(case.record, case.board, rcd)
    parts = others | {case.place.circuit: found}
    if found is None or len(parts) < 2:
        return verdict
    total, budget = sum(parts.values(), Decimal(0)), budget_mA(rcd, case.edition)
    used = nearest(total / budget * 100, 0)
    said = (
        f"The {len(parts)} circuits measured behind {rcd.reference}: {plain(total)} mA, {plain(used)} % of the budget"
    )
    passes = verdict.outcome is Outcome.PASS and total > budget
    outcome = Outcome.MARGINAL if passes else verdict.outcome
    return verdict.model_copy(update={"outcome": outcome, "sentence": sentences(verdict.sentence, said)})


def parts_mA(record: Record, board: Board, rcd: Rcd) -> dict[str, Decimal]:
    """The last plain leakage figure of each circuit behind an RCD, by circuit number."""
    found = {
        circuit.number: latest_figure(
            record, "earth_leakage", Place(board=board.reference, circuit=circuit.number), "mA"
        )
        for circuit in board.behind(rcd.reference)
    }
    return {number: figure for number, figure in found.items() if figure is not None}


# ---------------------------------------------------------------- sums


class Bounds(Noun):
    """Between which values something lies, mA."""

    least_mA: Decimal
    most_mA: Decimal


def sum_bounds(parts_mA: Iterable[Decimal]) -> Bounds:
    """What parts on one phase can add up to: root-sum-square to arithmetic sum."""
    parts = tuple(parts_mA)
    return Bounds(
        least_mA=sum(part * part for part in parts).sqrt() if parts else Decimal(0), most_mA=sum(parts, Decimal(0))
    )


def remainder_bounds(whole_mA: Decimal, parts_mA: Iterable[Decimal]) -> Bounds:
    """What a whole holds beyond its measured parts: whole - sum, to root of whole^2 - sum of squares."""
    together = sum_bounds(parts_mA)
    squares = max(whole_mA**2 - together.least_mA**2, Decimal(0))
    return Bounds(least_mA=max(whole_mA - together.most_mA, Decimal(0)), most_mA=squares.sqrt())


def resolution_mA(figure: Decimal) -> Decimal:
    """Half of the last digit that was called: how coarsely a figure was read."""
    return Decimal(1).scaleb(figure.as_tuple().exponent) / 2


class Agreement(Noun):
    """A whole against the sum of its parts."""

    whole_mA: Decimal
    together: Bounds
    remainder: Bounds
    agrees: bool
    sentence: str


def whole_against_parts(whole_mA: Decimal, parts_mA: tuple[Decimal, ...]) -> Agreement:
    """Do the parts explain the whole, as far as the figures were read?"""
    together, remainder = sum_bounds(parts_mA), remainder_bounds(whole_mA, parts_mA)
    slack = sum((resolution_mA(part) for part in (whole_mA, *parts_mA)), Decimal(0))
    low, high = together.least_mA - slack, together.most_mA + slack
    agrees = low <= whole_mA <= high
    return Agreement(
        whole_mA=whole_mA,
        together=together,
        remainder=remainder,
        agrees=agrees,
        sentence=_agreement_sentence(whole_mA, together, remainder, agrees),
    )


def _agreement_sentence(whole: Decimal, together: Bounds, remainder: Bounds, agrees: bool) -> str:
    least, most = plain(nearest(together.least_mA)), plain(nearest(together.most_mA))
    opening = f"The parts give {least} to {most} mA (root-sum-square to arithmetic sum)"
    if agrees:
        return f"{opening}; the whole of {plain(whole)} mA lies within"
    if whole > together.most_mA:
        rest = plain(nearest(remainder.least_mA))
        return f"{opening}; the whole of {plain(whole)} mA leaves at least {rest} mA in something not measured"
    return (
        f"{opening}; the whole of {plain(whole)} mA is less: circuits on different phases that partly cancel, "
        "or readings taken at different times"
    )


class Headroom(Noun):
    """How much of an RCD's budget is left, and after one more load, in mA."""

    budget_mA: Decimal
    used_mA: Decimal
    left_mA: Decimal  # negative when the budget is overrun
    after_mA: Decimal
    to_trip_mA: Decimal  # from the load added to where the most sensitive device trips

    @property
    def fits(self) -> bool:
        return self.after_mA >= 0


def headroom(rcd: Rcd, parts_mA: Iterable[Decimal], edition: Edition, extra_mA: Decimal = Decimal(0)) -> Headroom:
    """What is left of an RCD's budget by the arithmetic sum, now and if one more load comes on."""
    used, budget = sum(parts_mA, Decimal(0)), budget_mA(rcd, edition)
    floor = trip_floor_mA(rcd, edition)
    return Headroom(
        budget_mA=budget,
        used_mA=used,
        left_mA=budget - used,
        after_mA=budget - used - extra_mA,
        to_trip_mA=floor - used - extra_mA,
    )
