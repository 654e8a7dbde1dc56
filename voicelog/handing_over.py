"""The documents of a job, written beside it or where they are wanted."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from voicelog.checking import diagnosis, plan
from voicelog.checking.diagnosis import Diagnosis, explain
from voicelog.checking.edition import Edition
from voicelog.checking.loop import permitted_zs
from voicelog.checking.weighing import Unknown
from voicelog.installation import Sheet
from voicelog.keeping.job import Job, open_job
from voicelog.keeping.storage import refusal
from voicelog.model import Place
from voicelog.showing.columns import to_csv
from voicelog.showing.log_page import write_log
from voicelog.showing.schedule import schedule_of, to_json
from voicelog.visit import edition_of, previous_of, standing, taken


def write_all(folder: Path, out: Path | None = None) -> Iterator[Path]:
    """Schedule as CSV and JSON, log as HTML; each path once it is written.

    Raises the errors of reading the job, and StorageFull or KeepingError when the disk refuses.
    """
    job = open_job(folder)
    out = out or job.folder
    entries = job.entries()
    edition = edition_of(job)
    schedule = schedule_of(job.sheet, entries, dict(greatest_zs(job.sheet, edition)), edition.label)
    _make(out)
    yield _write(out / "schedule.csv", "\ufeff" + to_csv(schedule))
    yield _write(out / "schedule.json", to_json(schedule))
    write_log(job.sheet, entries, _clips(job), out / "log.html")
    yield out / "log.html"


def diagnosis_text(folder: Path) -> str:
    """The diagnosis of a job as text."""
    job = open_job(folder)
    return diagnosis.as_text(diagnose(job))


def diagnose(job: Job) -> Diagnosis:
    """What the readings on record say together."""
    return explain(job.sheet, taken(job.record()), previous_of(job), edition_of(job))


def plan_text(folder: Path, rcds: int) -> str:
    """The regrouping of a job's circuits as text."""
    job = open_job(folder)
    return plan.as_text(plan.plan(job.sheet, standing(job.record()), edition_of(job), rcds))


def greatest_zs(sheet: Sheet, edition: Edition) -> Iterator[tuple[str, Decimal]]:
    """Place key and greatest permitted Zs in ohm, of every circuit whose device is known."""
    for board in sheet.boards:
        for circuit in board.circuits:
            limit = permitted_zs(circuit, sheet, edition)
            if not isinstance(limit, Unknown):
                yield Place(board=board.reference, circuit=circuit.number).key, limit.tabulated_ohm


def _clips(job: Job) -> Path | None:
    return job.clips if job.clips.is_dir() else None


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise refusal(error, folder) from None


def _write(path: Path, text: str) -> Path:
    try:
        path.write_text(text, encoding="utf-8", newline="")
    except OSError as error:
        raise refusal(error, path) from None
    return path
