"""Earth fault loop impedance: what a device allows, what a circuit should show.

Impedances are ohm, currents A, lengths m, times s.
"""

from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.conductors import operating_factor, pair_ohm_per_m
from voicelog.checking.disconnection import Disconnection, disconnection, system
from voicelog.checking.edition import MARKS, BreakerRow, Edition, FuseRow
from voicelog.checking.record import Record, latest_figure
from voicelog.checking.weighing import Limit, Unknown, down, nearest, plain
from voicelog.installation import Board, Circuit, Device, Rcd, Sheet
from voicelog.model import Noun, Outcome, Place, Verdict


class LoopLimit(Noun):
    """The greatest Zs that a device allows for a disconnection time."""

    tabulated_ohm: Decimal  # at operating temperature, as a schedule's "maximum permitted Zs" shows it
    measured_ohm: Decimal  # for a reading at ambient with the load off: 0.8 x exact value, rounded DOWN
    sentence: str  # how both were found
    source: str


def loop_limit(device: Device, time_s: Decimal, edition: Edition) -> LoopLimit | Unknown:
    """The limit of an overcurrent device: by formula for breakers, by table for fuses."""
    breakers = [row for row in edition.loop.breaker if device.standard in row.standards and row.type == device.type]
    fuses = [row for row in edition.loop.fuse if device.standard in row.standards]
    row = _row_for(breakers or fuses, time_s)
    if row is None:
        return Unknown(why=f"the edition has no Zs for {device.name} ({device.standard}) at {plain(time_s)} s")
    if isinstance(row, BreakerRow):
        return _breaker_limit(device, time_s, row, edition)
    return _fuse_limit(device, time_s, row, edition)


def _row_for(rows: list[BreakerRow] | list[FuseRow], time_s: Decimal) -> BreakerRow | FuseRow | None:
    """The row with the longest time that is still no longer than the required one."""
    return max((row for row in rows if row.from_s <= time_s), key=lambda row: row.from_s, default=None)


def _breaker_limit(device: Device, time_s: Decimal, row: BreakerRow, edition: Edition) -> LoopLimit:
    loop = edition.loop
    exact = loop.nominal_voltage_V * loop.cmin / (row.multiple * device.rating_A)
    measured = down(exact * loop.measured_factor, loop.decimals)
    rule = (
        f"{plain(loop.measured_factor)} x {plain(loop.nominal_voltage_V)} V x {plain(loop.cmin)} / "
        f"({plain(row.multiple)} x {plain(device.rating_A)} A), exact and then rounded down"
    )
    return LoopLimit(
        tabulated_ohm=nearest(exact, loop.decimals),
        measured_ohm=measured,
        sentence=f"At most {plain(measured)} ohm measured: {rule}; {device.name}, {plain(time_s)} s",
        source=f"{loop.origin}; {row.origin}",
    )


def _fuse_limit(device: Device, time_s: Decimal, row: FuseRow, edition: Edition) -> LoopLimit | Unknown:
    loop, tabulated = edition.loop, row.limits_ohm.get(device.rating_A)
    if tabulated is None:
        return Unknown(why=f"the edition tabulates no Zs for {device.name} at {plain(time_s)} s")
    measured = down(tabulated * loop.measured_factor, loop.decimals)
    rule = f"{plain(loop.measured_factor)} x the tabulated {plain(tabulated)} ohm, rounded down"
    recalled = f" [{plain(device.rating_A)} A: {MARKS['memory']}]" if device.rating_A in row.memory_only else ""
    return LoopLimit(
        tabulated_ohm=tabulated,
        measured_ohm=measured,
        sentence=f"At most {plain(measured)} ohm measured: {rule}; {device.name}, {plain(time_s)} s",
        source=f"{loop.origin}; {row.origin}{recalled}",
    )


def rcd_loop_ohm(rcd: Rcd, edition: Edition) -> Decimal:
    """The greatest Zs or RA for which an RCD is the fault protection: tabulated, or touch voltage / rated current."""
    table = edition.loop.rcd
    rated = rcd.rated_residual_current_mA
    return table.limits_ohm.get(rated) or down(table.touch_voltage_V * 1000 / rated, 0)


def permitted_zs(circuit: Circuit, sheet: Sheet, edition: Edition) -> LoopLimit | Unknown:
    """The limit of a circuit's overcurrent device at the disconnection time of its system.

    ``tabulated_ohm`` is the "maximum permitted Zs" of a schedule: the uncorrected value, never the 0.8 one.
    """
    if circuit.device is None:
        return Unknown(why=f"the job sheet names no protective device for circuit {circuit.number}")
    supplied, tabulated_for = sheet.supply.nominal_voltage_V, edition.loop.nominal_voltage_V
    if supplied != tabulated_for:
        return Unknown(why=f"the edition has Zs for {plain(tabulated_for)} V, and the supply is {plain(supplied)} V")
    needed = disconnection(circuit, sheet.supply, edition)
    return loop_limit(circuit.device, needed.time_s, edition) if isinstance(needed, Disconnection) else needed


def tabulated_zs(circuit: Circuit, rcd: Rcd | None, sheet: Sheet, edition: Edition) -> Decimal | Unknown:
    """The "maximum permitted Zs" of a schedule, by the device that the verdicts rest on: on TT the RCD."""
    if system(sheet.supply) == "TT" and rcd is not None:
        return rcd_loop_ohm(rcd, edition)
    limit = permitted_zs(circuit, sheet, edition)
    return limit if isinstance(limit, Unknown) else limit.tabulated_ohm


# ---------------------------------------------------------------- prediction


def origin_ohm(board: Board, sheet: Sheet, record: Record) -> Decimal | Unknown:
    """Ze at the origin, or Zdb at a board that another one feeds: measured if it was, else from the sheet."""
    place = Place(board=board.reference)
    zdb = latest_figure(record, "zs", place, "ohm")
    if board.supplied_from:
        return zdb if zdb is not None else Unknown(why=f"Zs at board {board.reference} has not been measured")
    ze = latest_figure(record, "ze", place, "ohm")
    found = next((z for z in (ze, sheet.supply.ze_ohm, zdb) if z is not None), None)
    return found if found is not None else Unknown(why="Ze is neither measured nor on the job sheet")


def predicted_zs(upstream_ohm: Decimal, r1_r2_ohm: Decimal, conductor_limit_C: Decimal | None = None) -> Decimal:
    """Zs = Ze (or Zdb) + (R1+R2); with a conductor limit, R1+R2 at 20 degC is brought to operating temperature.

    >>> predicted_zs(Decimal("0.6"), Decimal("0.302"), Decimal(70))
    Decimal('0.96240')
    """
    if conductor_limit_C is None:
        return upstream_ohm + r1_r2_ohm
    factor = operating_factor(conductor_limit_C)
    if isinstance(factor, Unknown):
        raise ValueError(factor.why)
    return upstream_ohm + r1_r2_ohm * factor


def longest_run_m(circuit: Circuit, upstream_ohm: Decimal, sheet: Sheet, edition: Edition) -> Decimal | Unknown:
    """The longest cable whose Zs at operating temperature still meets the tabulated limit, whole metres down."""
    limit = permitted_zs(circuit, sheet, edition)
    if isinstance(limit, Unknown):
        return limit
    if circuit.cable is None:
        return Unknown(why=f"the job sheet names no cable for circuit {circuit.number}")
    per_m, factor = pair_ohm_per_m(circuit.cable), operating_factor(circuit.cable.conductor_limit_C)
    for part in (per_m, factor):
        if isinstance(part, Unknown):
            return part
    quarter = 4 if circuit.ring else 1  # (r1 + r2)/4 at the mid-point of a ring
    return down(max(limit.tabulated_ohm - upstream_ohm, Decimal(0)) / (per_m * factor) * quarter, 0)


# ---------------------------------------------------------------- verdicts


def judge_zs(case: Case) -> Verdict:
    """Zs of a circuit against its overcurrent device (TN) or its RCD (TT); of a board against its feeder."""
    circuit = case.circuit or _feeder(case)
    if circuit is None:
        return judge_ze(case)
    if system(case.sheet.supply) == "TT" and case.protecting_rcd is not None:
        return case.against(_rcd_limit(case.protecting_rcd, case.edition))
    limit = permitted_zs(circuit, case.sheet, case.edition)
    if isinstance(limit, Unknown):
        return case.unknown(limit)
    verdict = case.against(_as_limit(limit, case.edition))
    return _with_second_thoughts(verdict, limit, case) if verdict.outcome is Outcome.FAIL else verdict


def _feeder(case: Case) -> Circuit | None:
    """The circuit that feeds the board of the place, or None at the origin."""
    place = case.sheet.feeder(case.board)
    return case.sheet.circuit(place) if place else None


def _as_limit(limit: LoopLimit, edition: Edition) -> Limit:
    return Limit(
        sentence=limit.sentence,
        source=limit.source,
        unit="ohm",
        at_most=limit.measured_ohm,
        watch_above=down(limit.measured_ohm * edition.bands.loop),
    )


def _rcd_limit(rcd: Rcd, edition: Edition) -> Limit:
    table, most = edition.loop.rcd, rcd_loop_ohm(rcd, edition)
    rated = plain(rcd.rated_residual_current_mA)
    return Limit(
        sentence=f"At most {plain(most)} ohm with a {rated} mA RCD as fault protection "
        f"({plain(table.touch_voltage_V)} V touch voltage)",
        source=table.origin,
        unit="ohm",
        at_most=most,
        watch_above=min(table.stable_ohm, most),
        watch_says="an electrode may not stay stable",
    )


def _with_second_thoughts(verdict: Verdict, limit: LoopLimit, case: Case) -> Verdict:
    """A failure keeps its outcome; what a qualified person would weigh next is said."""
    found, thoughts = case.figure("ohm"), [verdict.sentence]
    if found is not None and found <= limit.tabulated_ohm:
        thoughts.append(
            f"Within the uncorrected {plain(limit.tabulated_ohm)} ohm, which fits only a circuit already warm"
        )
    rcd = case.protecting_rcd
    if rcd is not None and found is not None and found <= rcd_loop_ohm(rcd, case.edition):
        thoughts.append(
            f"Within {plain(rcd_loop_ohm(rcd, case.edition))} ohm of {_rcd_name(case)}, on which fault protection "
            "would then depend: for a qualified person to decide"
        )
    return verdict.model_copy(update={"sentence": sentences(*thoughts)})


def _rcd_name(case: Case) -> str:
    """With its board where that is another one."""
    place = case.sheet.place_of_protecting_rcd(case.place)
    return place.rcd if place.board == case.place.board else place.key


def judge_ze(case: Case) -> Verdict:
    """Ze against the traditional maximum of the earthing arrangement: guidance, so beyond it is marginal."""
    supply, fed = case.sheet.supply, case.board.supplied_from
    if fed:
        return case.unknown(Unknown(why=f"Ze is of the origin; {case.board.reference} is fed from {fed}: call Zs here"))
    if supply.earthing == "TT":
        return judge_electrode(case)
    row = next((row for row in case.edition.supply if row.earthing == supply.earthing), None)
    if row is None:
        return case.unknown(Unknown(why=f"the edition has no Ze for {supply.earthing}"))
    limit = Limit(
        sentence=f"Traditionally at most {plain(row.ze_ohm)} ohm for {supply.earthing}, never guaranteed",
        source=row.origin,
        unit="ohm",
        at_most=row.ze_ohm,
    )
    verdict = case.against(limit)
    if verdict.outcome is not Outcome.FAIL:
        return verdict
    advice = sentences(limit.sentence, "Beyond it: ask the distributor, and look at the earthing conductor")
    return verdict.model_copy(update={"outcome": Outcome.MARGINAL, "sentence": advice})


def judge_electrode(case: Case) -> Verdict:
    """Electrode (or TT loop) resistance against the largest RCD of the board."""
    rcds = case.board.rcds
    if not rcds:
        return case.unknown(Unknown(why=f"board {case.board.reference} has no RCD on the job sheet to judge RA by"))
    return case.against(_rcd_limit(max(rcds, key=lambda rcd: rcd.rated_residual_current_mA), case.edition))
