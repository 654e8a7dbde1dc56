"""The documents of a job, written beside it or where they are wanted."""

from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from voicelog.checking import diagnosis, plan
from voicelog.checking.diagnosis import Diagnosis, explain
from voicelog.checking.edition import Edition
from voicelog.checking.leakage import budget_mA, trip_floor_mA
from voicelog.checking.loop import tabulated_zs
from voicelog.checking.outcome import MEANINGS, Observation, overall
from voicelog.checking.regrouping import Split
from voicelog.checking.trend import MINUTE_S, Arrival, Slope, slope, time_to
from voicelog.checking.units import convert
from voicelog.checking.weighing import Unknown
from voicelog.errors import InputError
from voicelog.installation import Board, Rcd, Sheet
from voicelog.keeping.job import Job, open_job
from voicelog.keeping.kept import refuse_kept
from voicelog.keeping.record import Record, fold
from voicelog.keeping.storage import make_folder, refusal
from voicelog.keeping.watches import watches
from voicelog.model import Entry, Place, Verdict
from voicelog.reasons import having_unplugged
from voicelog.showing.charts import Forecast
from voicelog.showing.log_page import write_log
from voicelog.showing.pictures import Budget, Regrouped, is_course, pictures
from voicelog.showing.report import Part, Report, Sentence, parts_of, report_of, write_report
from voicelog.showing.schedule import Schedule, schedule_of
from voicelog.showing.wording import load_wording
from voicelog.visit import edition_of, previous_of, taken

FURTHEST = 4  # times as long as a value was watched: a forecast is drawn no further ahead


def write_all(folder: Path, out: Path | None = None, sounds: bool = True) -> Iterator[Path]:
    """Schedule as CSV and JSON, log as HTML (with its sounds or without), report as PDF; each path once it is written.

    Raises the errors of reading the job, and StorageFull or KeepingError when the disk refuses.
    """
    job = open_job(folder)
    out = out or job.folder
    _make(out)
    entries = job.entries()
    report = report_for(job, entries)
    for form in ("csv", "json"):
        write_report(report, form, out / f"schedule.{form}")
        yield out / f"schedule.{form}"
    write_log(job.sheet, entries, _clips(job), out / "log.html", sounds)
    yield out / "log.html"
    write_report(report, "pdf", out / "report.pdf")
    yield out / "report.pdf"


def write_one(job: Job, form: str, out: Path) -> Path:
    """The report in one form: pdf, html, xlsx, csv or json (the two last are the schedule alone)."""
    refuse_kept(out)
    write_report(report_for(job, job.entries()), form, out)
    return out


def report_for(job: Job, entries: tuple[Entry, ...]) -> Report:
    """Everything that a reader is handed: schedule, observations, diagnosis, pictures, cautions, head digest."""
    edition, wording, record = edition_of(job), load_wording(), fold(entries)
    schedule = schedule_of(job.sheet, entries, dict(greatest_zs(job.sheet, edition)), edition.label)
    found = diagnose(job, record, edition)
    regrouped = tuple(_regrouped(job.sheet, record, edition))
    forecasts = dict(forecasts_of(record))
    drawn = pictures(schedule, record, wording, _budgets(job.sheet, edition), regrouped, forecasts)
    parts = (*_overall(schedule), *parts_of(found.sections))
    return report_of(job.sheet, entries, schedule, wording, parts, drawn, edition.standing, found.cautions)


def _overall(schedule: Schedule) -> Iterator[Part]:
    """What the observations that were noted make of the whole. That none is grave says nothing of what was not seen."""
    coded = [note.code for note in schedule.noted if note.kind == "observation" and note.code in MEANINGS]
    found = overall(tuple(Observation(code=code) for code in coded))
    if not found.satisfactory:
        yield Part(title="Overall, by the observations noted", sentences=(Sentence(text=found.sentence),))


def _budgets(sheet: Sheet, edition: Edition) -> dict[str, Budget]:
    return {f"{board.reference}/{rcd.reference}": _budget(rcd, edition) for board in sheet.boards for rcd in board.rcds}


def _budget(rcd: Rcd, edition: Edition) -> Budget:
    return Budget(budget_mA=budget_mA(rcd, edition), floor_mA=trip_floor_mA(rcd, edition))


def forecasts_of(record: Record) -> Iterator[tuple[int, Forecast]]:
    """How each watched value may go on, by the number of its last line and in its unit."""
    for watched in watches(record):
        if is_course(watched.lines):
            last = watched.lines[-1]
            unit = last.reading.unit
            values = [float(convert(one.reading.value.figure, one.reading.unit, unit)) for one in watched.lines]
            found = slope(watched.seconds, values)
            if isinstance(found, Slope):
                watched_min = (watched.seconds[-1] - watched.seconds[0]) / MINUTE_S
                yield last.number, _forecast(found, watched_min, last.verdict, unit)


def _forecast(found: Slope, watched_min: float, verdict: Verdict | None, unit: str) -> Forecast:
    """Drawn for as long again as it was watched, or up to the limit where that is not much further off."""
    limit = verdict.limit if verdict else None
    arrival = time_to(float(convert(limit, verdict.unit, unit)), found) if limit is not None else None
    reached = isinstance(arrival, Arrival)
    near = reached and watched_min < arrival.minutes < FURTHEST * watched_min
    return Forecast(
        at_end=found.at_end,
        per_minute=found.per_minute,
        low=found.low,
        high=found.high,
        minutes=arrival.minutes if near else watched_min,
        reaches=f"at this rate the limit in {arrival.words}" if reached else "",
    )


def _regrouped(sheet: Sheet, record: Record, edition: Edition) -> Iterator[Regrouped]:
    """Each board's circuits divided anew over the RCDs it has; nothing where no leakage was measured."""
    readings = taken(record)
    for board in sheet.boards:
        alone = sheet.model_copy(update={"boards": (board,)})
        try:
            found = plan.plan(alone, readings, edition, len(plan.shared_rcds(board))).boards[0]
        except InputError:
            continue
        if isinstance(found.even, Split):
            yield _shown_split(board, found.leaks, found.even, edition)


def _shown_split(board: Board, leaks: dict[str, plan.Leak], split: Split, edition: Edition) -> Regrouped:
    return Regrouped(
        board=board.reference,
        leaks={key: (leak.leakage_mA, having_unplugged(filter(None, [leak.unplugged]))) for key, leak in leaks.items()},
        groups={group.rcd: group.circuits for group in split.groups},
        budgets={group.rcd: _budget(board.rcd(group.rcd), edition) for group in split.groups},
    )


def diagnosis_text(folder: Path) -> str:
    """The diagnosis of a job as text."""
    job = open_job(folder)
    return diagnosis.as_text(diagnose(job, job.record(), edition_of(job)))


def diagnose(job: Job, record: Record, edition: Edition) -> Diagnosis:
    """What the readings on record say together."""
    return explain(job.sheet, taken(record), previous_of(job), edition)


def plan_text(folder: Path, rcds: int) -> str:
    """The regrouping of a job's circuits as text."""
    job = open_job(folder)
    return plan.as_text(plan.plan(job.sheet, taken(job.record()), edition_of(job), rcds))


def greatest_zs(sheet: Sheet, edition: Edition) -> Iterator[tuple[str, Decimal]]:
    """Place key and greatest permitted Zs in ohm, of every circuit whose protective device is known."""
    for board in sheet.boards:
        for circuit in board.circuits:
            place = Place(board=board.reference, circuit=circuit.number)
            greatest = tabulated_zs(circuit, sheet.protecting_rcd(place), sheet, edition)
            if not isinstance(greatest, Unknown):
                yield place.key, greatest


def _clips(job: Job) -> Path | None:
    return job.clips if job.clips.is_dir() else None


def _make(folder: Path) -> None:
    try:
        make_folder(folder)
    except OSError as error:
        raise refusal(error, folder) from None
