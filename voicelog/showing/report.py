"""What is handed over: one report, as PDF, HTML, workbook, CSV or JSON.

The diagnosis and the comparison come in as sentences: nothing is worked out here.
"""

from collections.abc import Iterable, Sequence
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Literal, Protocol

from voicelog.installation import Instrument, Sheet
from voicelog.keeping.record import fold
from voicelog.keeping.storage import write_document
from voicelog.model import Entry, Noun
from voicelog.showing.charts import Picture
from voicelog.showing.columns import to_csv
from voicelog.showing.log_page import job_facts, summary
from voicelog.showing.schedule import Noted, Schedule, Unsettled, to_json
from voicelog.showing.tables import Table, legend, tables
from voicelog.showing.wording import CAUTIONS, CODE_WORDS, Wording

Format = Literal["pdf", "html", "xlsx", "csv", "json"]
FORMATS: tuple[Format, ...] = ("pdf", "html", "xlsx", "csv", "json")


class Sentence(Noun):
    """One statement, and what it rests on."""

    text: str
    origins: tuple[str, ...] = ()


class Part(Noun):
    """Statements under one heading."""

    title: str
    sentences: tuple[Sentence, ...]


class ShownObservation(Noun):
    """Something noted by voice, ready to be read."""

    line: int
    code: str
    meaning: str  # of the code; empty without one
    place: str
    kind: str
    words: str
    added: tuple[str, ...]  # what a reviewer wrote beside it


class ShownUnsettled(Noun):
    """A reading that was never answered, ready to be read."""

    line: int
    place: str
    quantity: str
    value: str


class Report(Noun):
    """Everything a reader is handed, ready to be set."""

    title: str
    facts: tuple[tuple[str, str], ...]
    summary: str
    schedule: Schedule
    tables: tuple[Table, ...]
    legend: str
    observations: tuple[ShownObservation, ...]
    parts: tuple[Part, ...]  # diagnosis, comparison with the last record
    unsettled: tuple[ShownUnsettled, ...]
    pictures: tuple[Picture, ...]
    instruments: tuple[tuple[str, str, str, str], ...]  # reference, kind, serial, calibration due
    edition: str
    edition_standing: str
    signed_off: tuple[str, ...]
    cautions: tuple[str, ...]
    written_at: datetime
    head_number: int
    head_digest: str


class _Statement(Protocol):
    text: str
    origins: tuple[str, ...]


class _Section(Protocol):
    title: str
    statements: Sequence[_Statement]


def parts_of(sections: Iterable[_Section]) -> tuple[Part, ...]:
    """Sections of statements, such as a diagnosis has, as parts of a report."""
    return tuple(
        Part(
            title=section.title,
            sentences=tuple(Sentence(text=s.text, origins=tuple(s.origins)) for s in section.statements),
        )
        for section in sections
    )


def report_of(
    sheet: Sheet,
    entries: Sequence[Entry],
    schedule: Schedule,
    wording: Wording,
    parts: tuple[Part, ...] = (),
    pictures: tuple[Picture, ...] = (),
    edition_standing: str = "",
    cautions: tuple[str, ...] = (),
    written_at: datetime | None = None,
) -> Report:
    """Gather a report. ``cautions``: more fitting ones than the general word that a verdict is an aid."""
    return Report(
        title=f"Inspection and test record of {sheet.job.reference}",
        facts=job_facts(sheet, schedule.edition),
        summary=summary(fold(entries)),
        schedule=schedule,
        tables=tables(schedule, wording),
        legend=legend(schedule),
        observations=tuple(_observations(schedule, entries, sheet, wording)),
        parts=tuple(_once(part) for part in parts if part.sentences),
        unsettled=tuple(_unsettled(one, sheet, wording) for one in schedule.unsettled),
        pictures=pictures,
        instruments=tuple((i.reference, i.kind, i.serial, _calibration(i, sheet.job.date)) for i in sheet.instruments),
        edition=schedule.edition or "no edition chosen",
        edition_standing=edition_standing,
        signed_off=schedule.signed_off,
        cautions=(*cautions, *CAUTIONS[1:]) if cautions else CAUTIONS,
        written_at=written_at or datetime.now(UTC),
        head_number=schedule.journal_entries,
        head_digest=schedule.journal_head,
    )


def write_report(report: Report, format: Format, out: Path) -> None:
    """Write the report to ``out``. StorageFull or KeepingError when the disk refuses."""
    write_document(out, document(report, format))


def document(report: Report, format: Format) -> bytes:
    """The report in one of its formats. CSV and JSON hold the schedule alone."""
    match format:
        case "json":
            return to_json(report.schedule).encode()
        case "csv":
            return b"\xef\xbb\xbf" + to_csv(report.schedule).encode()
        case "html":
            from voicelog.showing.report_html import to_html

            return to_html(report).encode()
        case "xlsx":
            from voicelog.showing.workbook import to_xlsx

            return to_xlsx(report)
        case "pdf":
            from voicelog.showing.report_pdf import to_pdf

            return to_pdf(report)
    raise ValueError(f"no such format: {format!r}")


def _calibration(instrument: Instrument, used: date) -> str:
    due = instrument.calibration_due
    if due is None:
        return "not stated"
    return f"{due}, over before the date of the job" if due < used else f"{due}"


def _once(part: Part) -> Part:
    """Sentences in a row that rest on the same readings name them once, after the last."""
    following = (*part.sentences[1:], Sentence(text=""))
    told = (
        one.model_copy(update={"origins": ()}) if one.origins == after.origins else one
        for one, after in zip(part.sentences, following, strict=True)
    )
    return part.model_copy(update={"sentences": tuple(told)})


def _observations(
    schedule: Schedule, entries: Sequence[Entry], sheet: Sheet, wording: Wording
) -> Iterable[ShownObservation]:
    """Observations first, by the weight of their code, then notes; counted points and unplugged items are left out."""
    weight = {code: i for i, code in enumerate(CODE_WORDS)}
    told = [note for note in schedule.noted if note.kind in ("observation", "note", "photo", "rename")]
    for note in sorted(told, key=lambda n: (n.kind != "observation", weight.get(n.code, len(weight)), n.line)):
        yield ShownObservation(
            line=note.line,
            code=note.code,
            meaning=CODE_WORDS.get(note.code, ""),
            place=wording.place(note.place, sheet),
            kind=note.kind,
            words=note.words,
            added=_added(note, entries),
        )


def _added(note: Noted, entries: Sequence[Entry]) -> tuple[str, ...]:
    return tuple(e.detail["text"] for e in entries if e.refers == note.line and "text" in e.detail)


def _unsettled(one: Unsettled, sheet: Sheet, wording: Wording) -> ShownUnsettled:
    return ShownUnsettled(
        line=one.line,
        place=wording.place(one.place, sheet),
        quantity=wording.quantity(one.quantity, one.conditions),
        value=wording.value(one.value, one.unit),
    )
