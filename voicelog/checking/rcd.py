"""RCDs: break times, operating current, type against load. Times ms, currents mA."""

from decimal import Decimal

from voicelog.checking.case import Case, sentences
from voicelog.checking.edition import BreakTime, Edition, TypeRow, Window
from voicelog.checking.weighing import Limit, Unknown, Weighed, plain, trimmed
from voicelog.installation import Circuit, Rcd
from voicelog.model import Comparison, Number, Outcome, OverRange, Result, Verdict

RISING = ("AC", "A", "F", "B")  # each type bears at least what the one before bears


def judge_time(case: Case) -> Verdict:
    """One break time by multiple; at half the rated current the device has to hold."""
    rcd, multiple = case.protecting_rcd, case.reading.conditions.get("multiple", "")
    if rcd is None:
        return case.unknown(Unknown(why="no RCD protects this place on the job sheet"))
    if multiple == case.edition.rcd.hold.multiple:
        return _judge_hold(case)
    row = break_time(rcd, multiple, case.edition)
    if isinstance(row, Unknown):
        return case.unknown(row)
    limit = _time_limit(rcd, row, case.edition)
    if isinstance(case.reading.value, Result | OverRange):
        return _as_required(case.verdict(Weighed(outcome=Outcome.FAIL, remark="It did not trip"), limit), row)
    return _as_required(case.against(limit), row)


def break_time(rcd: Rcd, multiple: str, edition: Edition) -> BreakTime | Unknown:
    """The row of the edition for a device at a multiple of its rated residual current."""
    rated = rcd.rated_residual_current_mA
    for row in edition.rcd.time:
        if row.multiple == multiple and row.delayed == rcd.delayed and (row.to_mA is None or rated <= row.to_mA):
            return row
    kind = "delayed" if rcd.delayed else "general"
    return Unknown(
        why=f"the edition has no break time at {multiple or 'an unsaid multiple'} x for a {kind} {plain(rated)} mA RCD"
    )


def _time_limit(rcd: Rcd, row: BreakTime, edition: Edition) -> Limit:
    kind = "delayed (S)" if rcd.delayed else "general"
    span = f"{plain(row.at_least_ms)} to" if row.at_least_ms else "At most"
    return Limit(
        sentence=f"{span} {plain(row.at_most_ms)} ms at {row.multiple} x {trimmed(rcd.rated_residual_current_mA)} mA, "
        f"{kind} RCD",
        source=row.origin,
        unit="ms",
        at_least=row.at_least_ms,
        at_most=row.at_most_ms,
        watch_above=row.at_most_ms * edition.bands.rcd_time,
    )


def _as_required(verdict: Verdict, row: BreakTime) -> Verdict:
    """A time that the edition does not ask for is pointed out and never fails by itself."""
    if row.required or verdict.outcome is not Outcome.FAIL:
        return verdict
    note = "This edition does not ask for the test: the figure is the product standard's"
    return verdict.model_copy(update={"outcome": Outcome.MARGINAL, "sentence": sentences(verdict.sentence, note)})


def _judge_hold(case: Case) -> Verdict:
    hold, value = case.edition.rcd.hold, case.reading.value
    sentence = f"Has to hold at {hold.multiple} x for {plain(hold.hold_ms)} ms"
    if isinstance(value, OverRange | Result):  # no trip, in words or as the instrument shows it
        return case.plainly(Outcome.PASS, f"It held. {sentence}", hold.origin)
    held = isinstance(value, Number) and case.reading.unit == "ms" and value.figure >= hold.hold_ms
    if held and value.comparison is not Comparison.BELOW:
        return case.plainly(Outcome.PASS, f"It held. {sentence}", hold.origin)
    if isinstance(value, Number) and value.comparison is Comparison.ABOVE:
        return case.plainly(Outcome.MARGINAL, f"Cannot tell: the test was shorter. {sentence}", hold.origin)
    hint = "It tripped: take the loads off first, standing leakage adds to the test current"
    return case.plainly(Outcome.FAIL, f"{hint}. {sentence}", hold.origin)


def judge_ramp(case: Case) -> Verdict:
    """The operating current on a ramp against the window of type and waveform (sine when none is said)."""
    rcd = case.protecting_rcd
    if rcd is None:
        return case.unknown(Unknown(why="no RCD protects this place on the job sheet"))
    window = ramp_window(rcd, case.reading.conditions.get("waveform", "sine"), case.edition)
    if isinstance(window, Unknown):
        return case.unknown(window)
    limit = _window_limit(rcd, window, case.edition)
    if isinstance(case.reading.value, Result | OverRange):
        return case.verdict(Weighed(outcome=Outcome.FAIL, remark="It did not trip on the ramp"), limit)
    verdict = case.against(limit)
    return verdict.model_copy(update={"sentence": sentences(verdict.sentence, _low_hint(case, limit))})


def ramp_window(rcd: Rcd, waveform: str, edition: Edition) -> Window | Unknown:
    """The row of the edition; a type that is not known is taken as AC, whose sine window holds for all."""
    kind, rated = rcd.type or "AC", rcd.rated_residual_current_mA
    for row in edition.rcd.window:
        if row.waveform == waveform and kind in row.types and (row.to_mA is None or rated <= row.to_mA):
            return row
    return Unknown(why=f"the edition has no ramp window for type {kind} on {waveform} current")


def _window_limit(rcd: Rcd, window: Window, edition: Edition) -> Limit:
    rated, band = rcd.rated_residual_current_mA, edition.bands.rcd_window
    low, high = window.low * rated, window.high * rated
    return Limit(
        sentence=f"Trips between {trimmed(low)} and {trimmed(high)} mA: {plain(window.low)} to {plain(window.high)} of "
        f"{trimmed(rated)} mA, {window.waveform}",
        source=window.origin,
        unit="mA",
        at_least=low,
        at_most=high,
        watch_below=low * (1 + band),
    )


def _low_hint(case: Case, limit: Limit) -> str:
    found = case.figure("mA")
    if found is None or limit.watch_below is None or found >= limit.watch_below:
        return ""
    return "A low value is often standing leakage added to the test current: repeat with the loads off"


# ---------------------------------------------------------------- type against load and d.c.


def type_row(kind: str, edition: Edition) -> TypeRow | Unknown:
    """What a type bears, by the edition."""
    for row in edition.rcd.type:
        if row.type == kind:
            return row
    return Unknown(why=f"the edition has no RCD type {kind!r}")


def smooth_dc_mA(rcd: Rcd, edition: Edition) -> Decimal | Unknown:
    """The smooth d.c. that a device bears and still works."""
    if rcd.type is None:
        return Unknown(why=f"the type of RCD {rcd.reference} is not on the job sheet")
    row = type_row(rcd.type, edition)
    if isinstance(row, Unknown):
        return row
    share = (row.smooth_dc_share or Decimal(0)) * rcd.rated_residual_current_mA
    return max(row.smooth_dc_mA, share)


def least_type(circuits: tuple[Circuit, ...], edition: Edition) -> str:
    """The least type whose loads include all those on the circuits; "B" when only that will do."""
    loads = {load for circuit in circuits for load in circuit.loads}
    rows = sorted(edition.rcd.type, key=lambda row: RISING.index(row.type))
    return next((row.type for row in rows if loads <= set(row.loads)), "B")


def judge_dc(case: Case) -> Verdict:
    """Smooth d.c. leakage against what the RCD's type bears."""
    rcd = case.protecting_rcd
    if rcd is None:
        return case.unknown(Unknown(why="no RCD protects this place on the job sheet"))
    most = smooth_dc_mA(rcd, case.edition)
    if isinstance(most, Unknown):
        return case.unknown(most)
    note = "; type AC is not meant for loads with any d.c." if rcd.type == "AC" else ""
    limit = Limit(
        sentence=f"At most {plain(most)} mA smooth d.c.: beyond it an RCD of type {rcd.type} may no longer trip{note}",
        source=type_row(rcd.type, case.edition).origin,
        unit="mA",
        at_most=most,
        watch_above=most * case.edition.bands.leakage,
    )
    return case.against(limit)


def judge_type(case: Case, found: str) -> Verdict:
    """The type found against the loads on the sheet."""
    rcd = case.rcd
    circuits = case.board.behind(rcd.reference) if rcd else ()
    loads = {load for circuit in circuits for load in circuit.loads}
    if not loads:
        return case.unknown(Unknown(why="the job sheet names no loads to choose the type by"))
    row = type_row(found, case.edition)
    if isinstance(row, Unknown):
        return case.unknown(row)
    beyond = sorted(loads - set(row.loads))
    if not beyond:
        return case.plainly(Outcome.PASS, f"Type {found} suits the loads named on the sheet", row.origin)
    wanted = least_type(circuits, case.edition)
    return case.plainly(
        Outcome.FAIL, f"Type {found} is not meant for: {', '.join(beyond)}. Type {wanted} would be", row.origin
    )
