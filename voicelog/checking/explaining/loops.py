"""Loop impedance: what runs close, and what does not agree with Ze + (R1+R2)."""

from decimal import Decimal

from voicelog.checking.changes import shown
from voicelog.checking.disconnection import system
from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.loop import longest_run_m, origin_ohm, predicted_zs
from voicelog.checking.record import latest_figure
from voicelog.checking.weighing import Unknown, plain
from voicelog.installation import Board, Circuit
from voicelog.model import Outcome, Place, Reading, Verdict

APART_OHM, APART = Decimal("0.10"), Decimal("0.20")  # Zs against its prediction: what goes unmentioned


def loop_section(findings: Findings) -> Section:
    """Zs that failed or runs close, and Zs that does not agree with Ze + (R1+R2)."""
    judged = [(reading, verdict) for reading, verdict in findings.verdicts if reading.quantity == "zs"]
    tight = [
        Statement(text=_tight(r, v, findings), origins=findings.origins(r))
        for r, v in judged
        if v.outcome in (Outcome.FAIL, Outcome.MARGINAL)
    ]
    limits_ohm = {reading.place: verdict.limit for reading, verdict in judged}
    places = [(board, circuit) for board in findings.sheet.boards for circuit in board.circuits]
    apart = [found for board, circuit in places for found in _zs_against_sum(findings, board, circuit, limits_ohm)]
    return Section(title="Loop impedance", statements=(*tight, *apart))


def _tight(reading: Reading, verdict: Verdict, findings: Findings) -> str:
    said = f"{reading.place.key}: Zs {shown(reading.value)} {reading.unit}. {verdict.sentence}"
    length = _length(reading.place, findings) if verdict.outcome is Outcome.FAIL else ""
    return f"{said} {length}".strip()


def _length(place: Place, findings: Findings) -> str:
    """Whether the length of cable on the sheet explains a Zs beyond its limit; nothing where that is not known."""
    sheet, circuit = findings.sheet, findings.sheet.circuit(place)
    by_rcd = system(sheet.supply) == "TT" and sheet.protecting_rcd(place) is not None
    upstream = origin_ohm(sheet.board(place.board), sheet, findings.record)
    if circuit is None or by_rcd or isinstance(upstream, Unknown):
        return ""
    longest = longest_run_m(circuit, upstream, sheet, findings.edition)
    if isinstance(longest, Unknown) or circuit.cable.length_m is None:
        return ""
    if not longest:
        return f"No cable is short enough: before the board it is already {plain(upstream)} ohm."
    cable = circuit.cable
    what = f"{plain(cable.length_m)} m of {plain(cable.line_mm2)}/{plain(cable.cpc_mm2)} mm2 on the sheet"
    most = f"at most {plain(longest)} m may follow {plain(upstream)} ohm"
    if cable.length_m > longest:
        return f"The length alone would explain it: {what}, and {most}."
    return f"The length does not explain it: {what}, and {most}. Look for a joint, or another size of conductor."


def _zs_against_sum(
    findings: Findings, board: Board, circuit: Circuit, limits_ohm: dict[Place, Decimal | None]
) -> list[Statement]:
    place, record = Place(board=board.reference, circuit=circuit.number), findings.record
    upstream = origin_ohm(board, findings.sheet, record)
    zs, r1_r2 = latest_figure(record, "zs", place, "ohm"), latest_figure(record, "r1_r2", place, "ohm")
    if isinstance(upstream, Unknown) or zs is None or r1_r2 is None:
        return []
    computed = predicted_zs(upstream, r1_r2)
    if abs(zs - computed) <= max(APART_OHM, computed * APART):
        return []
    cause = "parallel paths to earth" if zs < computed else "a joint that warms, or a poor grip of the probes"
    reckoned = f"{plain(computed)} ohm from {plain(upstream)} + {plain(r1_r2)}"
    text = f"{place.key}: Zs {plain(zs)} ohm measured, {reckoned}: {cause}."
    return [
        Statement(text=f"{text} {_headroom(zs, limits_ohm[place])}".strip(), origins=findings.of(place, "zs", "r1_r2"))
    ]


def _headroom(zs: Decimal, limit: Decimal | None) -> str:
    """What is left of the limit that the verdict rests on; nothing where none is known or it is used up."""
    return f"{plain(limit - zs)} ohm remain to the limit of {plain(limit)}." if limit and limit >= zs else ""
