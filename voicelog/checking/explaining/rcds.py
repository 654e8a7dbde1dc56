"""RCD tests: what each device's tests say together."""

from collections.abc import Iterator
from decimal import Decimal

from voicelog.checking.explaining.findings import Findings, Section, Statement
from voicelog.checking.explaining.leakage import evidence, rcds_of
from voicelog.checking.rcd_sequence import Assessment, Trial, assess
from voicelog.checking.record import latest_figure
from voicelog.installation import Board, Rcd
from voicelog.model import Place


def sequences(findings: Findings) -> Iterator[tuple[Board, Rcd, Assessment, tuple[str, ...]]]:
    """Every RCD that was tested: what its tests say together."""
    for board, rcd in rcds_of(findings):
        places = {Place(board=board.reference, rcd=rcd.reference)}
        places |= {Place(board=board.reference, circuit=c.number) for c in board.behind(rcd.reference)}
        trials = tuple(
            Trial(reading=reading, verdict=verdict)
            for reading, verdict in findings.verdicts
            if reading.quantity in ("rcd_time", "rcd_ramp", "test_button") and reading.place in places
        )
        if trials:
            standing, dc = _standing(findings, board, rcd), _dc(findings, board, rcd)
            origins = findings.origins(*(trial.reading for trial in trials))
            yield board, rcd, assess(trials, rcd, findings.edition, standing, dc), origins


def _standing(findings: Findings, board: Board, rcd: Rcd) -> Decimal | None:
    found = evidence(findings, board, rcd)
    return found.total_mA if found.parts_mA or found.whole_mA is not None else None


def _dc(findings: Findings, board: Board, rcd: Rcd) -> Decimal | None:
    return latest_figure(findings.record, "earth_leakage_dc", Place(board=board.reference, rcd=rcd.reference), "mA")


def rcd_section(findings: Findings) -> Section:
    """What each device's tests say together, and whether a failure may be a false one."""
    said = []
    for board, rcd, found, origins in sequences(findings):
        suspicion = f", perhaps a {found.suspected}" if found.suspected == "false failure" else ""
        opening = f"{board.reference} {rcd.reference}: {found.outcome.value}{suspicion}."
        said += [Statement(text=text, origins=origins) for text in (opening, *(f"{f}." for f in found.findings))]
    return Section(title="RCD tests", statements=tuple(said))
