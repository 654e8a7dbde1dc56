"""The log that can be heard again: the whole journal as one HTML file that needs nothing else.

Each reading is a row: time, words heard, what they were kept as, what was said back, the answer, the
verdict with the limit's own sentence, and the sound. Answers stand with the line they answer; whatever
else happened has a row of its own. Nothing that was replaced or withdrawn is left out.
"""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, tzinfo
from pathlib import Path

from voicelog.installation import Sheet
from voicelog.keeping.record import Line, Record, fold
from voicelog.keeping.storage import write_document
from voicelog.keeping.watches import WATCHED
from voicelog.model import Entry, EntryKind, Outcome, Place, Standing, Verdict
from voicelog.showing.clips import ClipShelf, Sound, shelf_for
from voicelog.showing.pages import inline, render, script_hash
from voicelog.showing.wording import (
    CAUTIONS,
    STANDING_WORDS,
    VERDICT_SIGNS,
    VERDICT_WORDS,
    Wording,
    load_wording,
)

VERDICT_CSS = {Outcome.PASS: "pass", Outcome.MARGINAL: "marginal", Outcome.FAIL: "fail", Outcome.NO_LIMIT: "none"}
ANSWERS = (EntryKind.AFFIRMED, EntryKind.STOOD)  # these stand with the line they answer
ROW_CSS = {Standing.AWAITING: "waiting", Standing.REPLACED: "gone", Standing.WITHDRAWN: "gone"}


@dataclass(frozen=True)
class ShownVerdict:
    """A verdict as a badge and its sentences."""

    css: str
    sign: str
    words: str
    sentence: str
    source: str
    caution: str


@dataclass(frozen=True)
class LogRow:
    """One row of the log."""

    number: int
    at_iso: str
    day: str = ""  # empty when it is that of the row before
    time: str = ""
    css: str = ""
    heard: str = ""
    place: str = ""
    quantity: str = ""
    value: str = ""
    event: str = ""  # what happened, when the row is not a reading
    notes: tuple[str, ...] = ()
    said_back: str = ""
    answer: str = ""
    links: tuple[int, ...] = ()  # lines that this row points at
    verdict: ShownVerdict | None = None
    sound: Sound = Sound()


def write_log(
    sheet: Sheet,
    entries: Sequence[Entry],
    clips: Path | None,
    out: Path,
    sounds: bool = True,
    zone: tzinfo | None = None,
) -> None:
    """Write the log page to ``out``, with its sounds or without. KeepingError when the disk refuses."""
    shelf = shelf_for(entries, clips, out.parent) if sounds else ClipShelf(left_out=True)
    write_document(out, log_page(sheet, entries, shelf, zone).encode())


def log_page(
    sheet: Sheet,
    entries: Sequence[Entry],
    shelf: ClipShelf | None = None,
    zone: tzinfo | None = None,
    wording: Wording | None = None,
) -> str:
    """The page as text. Times are in ``zone``, or in this computer's own when it is None."""
    record = fold(entries)
    script = inline("log.js")
    return render(
        "log.html",
        title=sheet.job.reference,
        policy=f"default-src 'none'; style-src 'unsafe-inline'; script-src '{script_hash(script)}'; "
        "media-src data: file: 'self'; base-uri 'none'; form-action 'none'",
        css=inline("base.css", "log.css"),
        js=script,
        head=job_facts(sheet, judged_by(entries)),
        caution_sentences=CAUTIONS,
        summary=summary(record),
        zone=_zone_name(entries, zone),
        rows=log_rows(entries, record, sheet, shelf or ClipShelf(), zone, wording or load_wording()),
        head_number=entries[-1].number if entries else 0,
        head_digest=entries[-1].digest if entries else "no entry yet",
    )


def log_rows(
    entries: Sequence[Entry], record: Record, sheet: Sheet, shelf: ClipShelf, zone: tzinfo | None, wording: Wording
) -> tuple[LogRow, ...]:
    """A row for every entry, answers excepted: those are told with the line they answer."""
    rows, yesterday = [], ""
    for entry in entries:
        line = record.line(entry.number)
        if line and entry.kind in ANSWERS:
            continue
        day, time = _day_and_time(entry.at, zone)
        row = _reading_row(line, sheet, wording) if _brought(line, entry) else _event_row(entry, sheet, wording)
        rows.append(replace(row, day="" if day == yesterday else day, time=time, sound=shelf.sound(entry)))
        yesterday = day
    return tuple(rows)


def shown_verdict(verdict: Verdict) -> ShownVerdict:
    """A verdict as pages show it: sign, words and the limit's own sentence."""
    outcome = verdict.outcome
    return ShownVerdict(
        css=VERDICT_CSS[outcome],
        sign=VERDICT_SIGNS[outcome],
        words=VERDICT_WORDS[outcome],
        sentence=verdict.sentence,
        source=verdict.source,
        caution=verdict.caution,
    )


def summary(record: Record) -> str:
    """``12 readings stand: 9 within limit, 3 outside limit. 1 is not yet answered.``"""
    current = record.current
    counts = Counter(line.verdict.outcome if line.verdict else Outcome.NO_LIMIT for line in current)
    parts = [f"{counts[outcome]} {words}" for outcome, words in VERDICT_WORDS.items() if counts[outcome]]
    stand = "1 reading stands" if len(current) == 1 else f"{len(current)} readings stand"
    waiting = len(record.unconfirmed)
    asked = f" {waiting} {'is' if waiting == 1 else 'are'} not yet answered." if waiting else " None awaits an answer."
    return f"{stand}{': ' + ', '.join(parts) if parts else ''}.{asked}"


def judged_by(entries: Sequence[Entry]) -> str:
    """The labels of the editions that the verdicts name; empty when nothing was judged."""
    return ", ".join(dict.fromkeys(e.verdict.edition for e in entries if e.verdict and e.verdict.edition))


def job_facts(sheet: Sheet, edition: str = "") -> tuple[tuple[str, str], ...]:
    """What every page says of the job, label and text. ``edition``: a better name than the sheet's."""
    supply = sheet.supply
    volts = f"{supply.nominal_voltage_V:f} V"
    return (
        ("Job", sheet.job.reference),
        ("Site", sheet.job.site),
        ("Date", sheet.job.date.isoformat()),
        ("Kind", sheet.job.kind),
        ("Supply", f"{supply.earthing}, {supply.phases}-phase, {volts}"),
        ("Limits", edition or sheet.limits or "no edition chosen"),
        ("Instruments", ", ".join(i.reference + (f" ({i.serial})" if i.serial else "") for i in sheet.instruments)),
    )


def _reading_row(line: Line, sheet: Sheet, wording: Wording) -> LogRow:
    entry, reading = line.entry, line.reading
    return LogRow(
        number=entry.number,
        at_iso=entry.at.isoformat(),
        css=ROW_CSS.get(line.standing, ""),
        heard=" ".join(entry.words),
        place=wording.place(reading.place, sheet),
        quantity=wording.quantity(reading.quantity, reading.conditions),
        value=wording.reading(reading),
        notes=_notes(entry),
        said_back=entry.said_back,
        answer=_answer(line),
        links=(line.replaced_by,) if line.replaced_by else (),
        verdict=shown_verdict(line.verdict) if line.verdict else None,
    )


def _answer(line: Line) -> str:
    words = [" ".join(entry.words) for entry in line.history if entry.kind in ANSWERS and entry.words]
    said = f" (“{words[-1]}”)" if words else ""
    by = " by" if line.replaced_by else ""
    return f"{STANDING_WORDS[line.standing]}{said if line.stands else ''}{by}"


def _notes(entry: Entry) -> tuple[str, ...]:
    found = [f"in place of line {entry.refers}"] if entry.kind is EntryKind.CORRECTED and entry.refers else []
    found += [f"because: {entry.reason}"] if entry.reason else []
    found += [_detail(key, text) for key, text in entry.detail.items()]
    return tuple(found)


def _detail(key: str, text: str) -> str:
    return f"watched for {text} s" if key == WATCHED else f"{key.replace('_', ' ')}: {text}"


def _event_row(entry: Entry, sheet: Sheet, wording: Wording) -> LogRow:
    return LogRow(
        number=entry.number,
        at_iso=entry.at.isoformat(),
        css="event",
        heard=" ".join(entry.words),
        event=_event(entry, entry.place, sheet, wording),
        notes=_notes(entry),
        said_back=entry.said_back,
        links=(entry.refers,) if entry.refers else (),
    )


def _event(entry: Entry, place: Place | None, sheet: Sheet, wording: Wording) -> str:
    where = wording.place(place, sheet)
    match entry.kind:
        case EntryKind.STARTED:
            return "The session began"
        case EntryKind.STOPPED:
            return "The session ended in order"
        case EntryKind.MOVED:
            return f"Moved to {where}"
        case EntryKind.REFUSED:
            return "Not taken"
        case EntryKind.WITHDRAWN:
            return "Withdrawn: the line it points at does not count"
        case EntryKind.RESTORED:
            return "Restored: the line it points at counts again"
        case EntryKind.REVIEWED:
            return "Reviewed"
        case EntryKind.NOTED:
            return f"Noted at {where}" if where else "Noted"
    return f"{entry.kind.value}{' at ' + where if where else ''}"


def _brought(line: Line | None, entry: Entry) -> bool:
    return line is not None and line.number == entry.number


def _day_and_time(at: datetime, zone: tzinfo | None) -> tuple[str, str]:
    local = at.astimezone(zone)
    return f"{local:%Y-%m-%d}", f"{local:%H:%M:%S}"


def _zone_name(entries: Sequence[Entry], zone: tzinfo | None) -> str:
    if not entries:
        return "in local time"
    return f"in {entries[0].at.astimezone(zone):%Z (UTC%z)}"
