"""The schedule of test results: what stands on the record, a row for each board, RCD and circuit.

The fields are those the trade keeps of a circuit; their order and names are this project's own. The
JSON form is lossless and has a published, versioned schema; decimals are strings, so 2.50 stays 2.50.
The flat form for CSV and workbooks is in ``columns``.
"""

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from pydantic import ValidationError

from voicelog.errors import InputError
from voicelog.installation import Board, Cable, Circuit, Device, Instrument, JobFacts, Rcd, Sheet, Supply
from voicelog.keeping.chain import GENESIS
from voicelog.keeping.record import Line, Record, fold
from voicelog.model import Conditions, Entry, EntryKind, Noun, Outcome, Place, Standing, Value
from voicelog.showing.wording import CAUTIONS

SCHEMA_VERSION = "1"
SIGNED_OFF = "signed off"  # action in the detail of a REVIEWED entry: a reviewer answers for its place
CHANGING = (
    EntryKind.CALLED,
    EntryKind.CORRECTED,
    EntryKind.AFFIRMED,
    EntryKind.STOOD,
    EntryKind.WITHDRAWN,
    EntryKind.RESTORED,
)  # these change what stands at a place
SCHEMA_ID = f"urn:voicelog:schedule:{SCHEMA_VERSION}"


class Kept(Noun):
    """One reading that stands: the last affirmed or unchallenged one of its kind."""

    line: int  # number of the journal entry that brought it
    quantity: str  # key of a quantity in grammars/
    value: Value  # decimals as strings, exactly as spoken
    unit: str
    conditions: Conditions
    standing: Standing
    outcome: Outcome | None  # None: never judged
    limit: Decimal | None  # in ``limit_unit``
    limit_unit: str
    sentence: str  # the limit's own sentence
    retests: int  # how many earlier readings of the same kind the journal holds
    reason: str  # why it was taken again or changed


class Unsettled(Noun):
    """A reading that was said back and never answered: it is not on the record."""

    line: int
    place: Place
    quantity: str
    value: Value
    unit: str
    conditions: Conditions


class Noted(Noun):
    """Something noted by voice; its words are as recognised, unverified."""

    line: int
    kind: str  # "observation", "note", "photo", "point" ...
    code: str  # observation code such as "C2"; empty when none was given
    place: Place | None
    words: str
    detail: dict[str, str]


class Row(Noun):
    """One board, RCD or circuit: what is installed there and what was measured."""

    kind: Literal["board", "rcd", "circuit"]
    place: Place
    name: str
    circuit: Circuit | None  # as on the job sheet; None for boards and RCDs, and for a circuit the sheet lacks
    rcd: Rcd | None  # the device itself, or the one the circuit lies behind
    greatest_zs_ohm: Decimal | None  # from the edition, uncorrected; None when it was not supplied
    readings: tuple[Kept, ...]

    @property
    def device(self) -> Device | None:
        return self.circuit.device if self.circuit else None

    @property
    def cable(self) -> Cable | None:
        return self.circuit.cable if self.circuit else None


class Schedule(Noun):
    """The whole schedule of a job, as it stood at one entry of the journal."""

    schema_version: Literal["1"] = SCHEMA_VERSION
    job: JobFacts
    supply: Supply
    edition: str  # label of the limit edition that verdicts rest on
    instruments: tuple[Instrument, ...]
    rows: tuple[Row, ...]
    unsettled: tuple[Unsettled, ...]
    noted: tuple[Noted, ...]
    signed_off: tuple[str, ...]  # keys of the places that a reviewer signed off
    journal_entries: int
    journal_head: str  # SHA-256 of the last entry: it fixes everything before it
    cautions: tuple[str, ...] = CAUTIONS


def schedule_of(
    sheet: Sheet, entries: Sequence[Entry], greatest_zs: Mapping[str, Decimal] | None = None, edition: str = ""
) -> Schedule:
    """The schedule after ``entries``. ``greatest_zs``: ohm by place key ("DB1/5"), from the edition."""
    record = fold(entries)
    return Schedule(
        job=sheet.job,
        supply=sheet.supply,
        edition=edition or sheet.limits,
        instruments=sheet.instruments,
        rows=tuple(_rows(sheet, record, greatest_zs or {})),
        unsettled=tuple(map(_unsettled, record.unconfirmed)),
        noted=tuple(map(_noted, record.notes)),
        signed_off=signed_off(entries),
        journal_entries=entries[-1].number if entries else 0,
        journal_head=entries[-1].digest if entries else GENESIS,
    )


def signed_off(entries: Iterable[Entry]) -> tuple[str, ...]:
    """Keys of the places whose last sign-off was not followed by a change of the record there."""
    signed: dict[str, None] = {}
    place_of: dict[int, str] = {}  # entry number -> key of the place it is about
    for entry in entries:
        place = entry.place or (entry.reading.place if entry.reading else None)
        key = place.key if place else place_of.get(entry.refers or 0, "")
        place_of[entry.number] = key
        if entry.detail.get("action") == SIGNED_OFF:
            signed[key] = None
        elif entry.kind in CHANGING:
            signed.pop(key, None)
    return tuple(signed)


def to_json(schedule: Schedule) -> str:
    """The lossless form; ``read_schedule`` gives back an equal schedule."""
    return schedule.model_dump_json(indent=2) + "\n"


def read_schedule(path: Path) -> Schedule:
    """A schedule written by ``to_json``. InputError names the field that breaks the schema."""
    try:
        return Schedule.model_validate_json(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}.", where=str(path)) from error
    except (UnicodeDecodeError, ValidationError) as error:
        raise InputError(f"is not a schedule: {_first(error)}", where=str(path), do="See `voicelog schema`.") from error


def schema() -> dict[str, Any]:
    """The published JSON Schema (draft 2020-12) of the schedule."""
    described = Schedule.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": SCHEMA_ID, **described}


def _rows(sheet: Sheet, record: Record, greatest_zs: Mapping[str, Decimal]) -> Iterable[Row]:
    """Each board, then its RCDs, then its circuits in board order, then places the sheet does not have."""
    current: dict[str, list[Line]] = {}
    for line in record.current:
        current.setdefault(line.reading.place.key, []).append(line)
    for board in sheet.boards:
        for kind, place in _places(board):
            yield _row(kind, place, board, current.pop(place.key, []), record, greatest_zs)
    for lines in current.values():
        place = lines[0].reading.place
        kind = "circuit" if place.circuit else "rcd" if place.rcd else "board"
        yield _row(kind, place, None, lines, record, greatest_zs)


def _places(board: Board) -> Iterable[tuple[str, Place]]:
    yield "board", Place(board=board.reference)
    yield from (("rcd", Place(board=board.reference, rcd=rcd.reference)) for rcd in board.rcds)
    yield from (("circuit", Place(board=board.reference, circuit=c.number)) for c in board.circuits)


def _row(
    kind: str,
    place: Place,
    board: Board | None,
    lines: list[Line],
    record: Record,
    greatest_zs: Mapping[str, Decimal],
) -> Row:
    circuit = board.circuit(place.circuit) if board and place.circuit else None
    rcd = place.rcd or (circuit.rcd if circuit else "")
    return Row(
        kind=kind,
        place=place,
        name=circuit.name if circuit else board.name if board and kind == "board" else "",
        circuit=circuit,
        rcd=board.rcd(rcd) if board and rcd else None,
        greatest_zs_ohm=greatest_zs.get(place.key),
        readings=tuple(_kept(line, record) for line in lines),
    )


def _kept(line: Line, record: Record) -> Kept:
    reading, verdict = line.reading, line.verdict
    before = [other for other in record.chain(reading.place, reading.quantity, reading.conditions) if other.stands]
    return Kept(
        line=line.number,
        quantity=reading.quantity,
        value=reading.value,
        unit=reading.unit,
        conditions=reading.conditions,
        standing=line.standing,
        outcome=verdict.outcome if verdict else None,
        limit=verdict.limit if verdict else None,
        limit_unit=verdict.unit if verdict else "",
        sentence=verdict.sentence if verdict else "",
        retests=len(before) - 1,
        reason="; ".join(dict.fromkeys(filter(None, (line.reason, line.entry.reason)))),
    )


def _unsettled(line: Line) -> Unsettled:
    reading = line.reading
    return Unsettled(
        line=line.number,
        place=reading.place,
        quantity=reading.quantity,
        value=reading.value,
        unit=reading.unit,
        conditions=reading.conditions,
    )


def _noted(entry: Entry) -> Noted:
    return Noted(
        line=entry.number,
        kind=entry.detail.get("kind", "note"),
        code=entry.detail.get("code", ""),
        place=entry.place,
        words=" ".join(entry.words),
        detail=entry.detail,
    )


def _first(error: Exception) -> str:
    if not isinstance(error, ValidationError):
        return "it is not UTF-8 text."
    problem = error.errors()[0]
    return f"{'.'.join(map(str, problem['loc'])) or 'the file'}: {problem['msg']}."
