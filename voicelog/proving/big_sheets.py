"""Large installations: how the time of each step grows with the circuits of a sheet, up to 2,000."""

import statistics
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from voicelog.handing_over import write_one
from voicelog.hearing.model_folder import open_folder, prepared
from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.job import open_job
from voicelog.keeping.journal import Journal
from voicelog.keeping.sheet import SHEET
from voicelog.meaning.parsing import Context
from voicelog.model import Called, Draft, EntryKind, Noun, Number, Place, Reading
from voicelog.visit import Visit, open_visit
from voicelog.visiting import word_graph

SIZES = (20, 200, 2_000)
PER_BOARD = 100
SAID = ("circuit", "one", "zed", "s", "nought", "point", "five", "two", "ohms")
CALLED_MOST = 200  # circuits of the report that have a reading


class SheetRow(Noun):
    """One size of sheet. Times of the processor, in the unit their names end with."""

    circuits: int
    open_s: float  # sheet read and checked, network of its words built
    arcs: int  # of that network
    graph_s: float  # compiled for the ear, once for each change of the sheet
    listen_s: float  # until the recogniser holds it
    read_ms: float  # words of one reading to their meaning, median
    schedule_s: float  # as CSV
    report_s: float  # as PDF


def measured_sheet(circuits: int, folder: Path | None = None) -> SheetRow:
    """Made in ``folder``, or in a temporary one."""
    with tempfile.TemporaryDirectory(dir=folder) as place:
        job = Path(place) / "job"
        job.mkdir()
        (job / SHEET).write_text(sheet_text(circuits), encoding="utf-8")
        open_s, visit = timed(lambda: open_visit(job))
        graph_s, ready = timed(lambda: prepared(open_folder(), word_graph(visit), cache=Path(place) / "cache"))
        listen_s, _ = timed(lambda: Recogniser(ready))
        read_ms = 1e3 * statistics.median(timed(lambda: _understood(visit))[0] for _ in range(6))
        _call(job, min(circuits, CALLED_MOST))
        schedule_s, report_s = (
            timed(lambda form=form: write_one(open_job(job), form, Path(place) / form))[0] for form in ("csv", "pdf")
        )
        return SheetRow(
            circuits=circuits,
            open_s=open_s,
            arcs=len(visit.reader.network.arcs),
            graph_s=graph_s,
            listen_s=listen_s,
            read_ms=round(read_ms, 2),
            schedule_s=schedule_s,
            report_s=report_s,
        )


def timed(act: Callable[[], object]):
    """Seconds of the processor, which other programs do not lengthen; and what came of it."""
    began = time.process_time()
    given = act()
    return round(time.process_time() - began, 3), given


def _understood(visit: Visit) -> None:
    meaning = visit.reader.read(SAID, Context(board="DB1"))
    assert isinstance(meaning, Called) and meaning.value, meaning


def _call(job: Path, circuits: int) -> None:
    with Journal.open(job) as journal:
        for n in range(circuits):
            place = Place(board=board(n), circuit=str(n % PER_BOARD + 1))
            reading = Reading(place=place, quantity="zs", value=Number(figure="0.52"), unit="ohm")
            entry = journal.append(Draft(kind=EntryKind.CALLED, place=place, reading=reading))
            journal.append(Draft(kind=EntryKind.AFFIRMED, refers=entry.number))


def board(n: int) -> str:
    """The board of the sheet's circuit ``n``, counted from 0."""
    return f"DB{n // PER_BOARD + 1}"


def sheet_text(circuits: int) -> str:
    """A job sheet with so many circuits, a hundred to a board."""
    text = ['limits = "a2-a3"\n[job]\nreference = "LOAD"\ndate = 2026-03-02\n[supply]\nearthing = "TN-S"\n']
    for n in range(circuits):
        if n % PER_BOARD == 0:
            text.append(f'[[board]]\nreference = "{board(n)}"\n')
            text.append('[[board.rcd]]\nreference = "RCD1"\nrated_residual_current_mA = 30\n')
        text.append(
            f'[[board.circuit]]\nnumber = "{n % PER_BOARD + 1}"\nname = "sockets {n}"\nrcd = "RCD1"\n'
            'device = { standard = "BS EN 60898", type = "B", rating_A = 32, breaking_capacity_kA = 6 }\n'
            "cable = { line_mm2 = 2.5, cpc_mm2 = 1.5, length_m = 40 }\n"
        )
    return "".join(text)
