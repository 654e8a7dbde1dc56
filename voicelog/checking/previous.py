"""A previous record against today's: what changed, what slipped, ranked by how much it matters.

A previous record is a CSV file, one row a place, one column a field, the names of this project's own
schedule (so last time's schedule reads back as it is). Needed: ``board``. Compared:

    board, kind (board, rcd or circuit), number, name, points,
    device_standard, device_type, device_A, breaking_kA, line_mm2, cpc_mm2, rcd, rcd_type, rcd_mA,
    main_fuse_A, ring_r1_ohm, ring_rn_ohm, ring_r2_ohm, ring_step2_ohm, ring_step3_ohm, r1_r2_ohm, r2_ohm,
    bonding_ohm, electrode_ohm, ir_test_V, ir_live_live_Mohm, ir_live_earth_Mohm, ir_neutral_earth_Mohm,
    ir_linked_earth_Mohm, polarity, phase_rotation, voltage_V, ze_ohm, zs_ohm, fault_current_kA,
    rcd_0_5x_0deg_ms ... rcd_5x_180deg_ms, rcd_ramp_mA, test_button, functional, spd, earthing, supply,
    leakage_mA, leakage_dc_mA

A schedule's other columns (PASSED_OVER) may stand in it and are not compared. A cell holds a figure (2.50),
``> 200``, ``< 0.01``, a word (pass, fail, LIM, N/A, open circuit, over range, no trip), or nothing. Text may begin
with an apostrophe, as spreadsheets write it.
"""

import csv
import io
import re
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path

from rapidfuzz import process

from voicelog.checking.insulation import QUANTITIES as INSULATION
from voicelog.errors import PreviousRecordError
from voicelog.model import (
    Choice,
    Comparison,
    Conditions,
    Noun,
    Number,
    OpenCircuit,
    OverRange,
    Place,
    Reading,
    Result,
    Value,
)

MOST_BYTES = 20_000_000  # a schedule of ten thousand circuits is smaller
FIGURE = re.compile(r"[0-9]{1,9}(\.[0-9]{1,9})?")  # nothing else is a figure: no signs, exponents, commas
FACTS = {  # column: unit of the fact
    "points": "",
    "device_standard": "",
    "device_type": "",
    "device_A": "A",
    "breaking_kA": "kA",
    "line_mm2": "mm2",
    "cpc_mm2": "mm2",
    "rcd": "",
    "rcd_type": "",
    "rcd_mA": "mA",
    "main_fuse_A": "A",
    "ir_test_V": "",  # "250/500" where the readings of a row were not all taken at one voltage
}
AT_VOLTAGE = "test_voltage_V"  # a condition that readings are compared across
READINGS: dict[str, tuple[str, str, Conditions]] = {  # column: quantity, unit, conditions
    "ring_r1_ohm": ("ring_r1", "ohm", {}),
    "ring_rn_ohm": ("ring_rn", "ohm", {}),
    "ring_r2_ohm": ("ring_r2", "ohm", {}),
    "ring_step2_ohm": ("ring_step2", "ohm", {}),
    "ring_step3_ohm": ("ring_step3", "ohm", {}),
    "r1_r2_ohm": ("r1_r2", "ohm", {}),
    "r2_ohm": ("r2_cpc", "ohm", {}),
    "bonding_ohm": ("bonding", "ohm", {}),
    "electrode_ohm": ("electrode", "ohm", {}),
    "ir_live_live_Mohm": ("ir_ll", "Mohm", {}),
    "ir_live_earth_Mohm": ("ir_le", "Mohm", {}),
    "ir_neutral_earth_Mohm": ("ir_ne", "Mohm", {}),
    "ir_linked_earth_Mohm": ("ir_lne", "Mohm", {}),
    "polarity": ("polarity", "", {}),
    "phase_rotation": ("phase_rotation", "", {}),
    "voltage_V": ("voltage", "V", {"between": "L-N"}),
    "ze_ohm": ("ze", "ohm", {}),
    "zs_ohm": ("zs", "ohm", {}),
    "fault_current_kA": ("pfc", "kA", {}),
    **{
        f"rcd_{multiple.replace('.', '_')}x_{half}deg_ms": (
            "rcd_time",
            "ms",
            {"multiple": multiple, "half_cycle": half},
        )
        for multiple in ("0.5", "1", "5")
        for half in ("0", "180")
    },
    "rcd_ramp_mA": ("rcd_ramp", "mA", {}),
    "test_button": ("test_button", "", {}),
    "functional": ("functional", "", {}),
    "leakage_mA": ("earth_leakage", "mA", {}),
    "leakage_dc_mA": ("earth_leakage_dc", "mA", {}),
    "earthing": ("earthing", "", {}),
    "supply": ("supply", "", {}),
    "spd": ("spd", "", {}),
}
PLACE = ("board", "kind", "number", "name")  # columns that say which place a row is of
PASSED_OVER = {
    "phase",
    "length_m",
    "ring",
    "rcd_A",
    "greatest_zs_ohm",
    "worst_verdict",
    "lines",
    "remarks",
}
WORDS: dict[str, Value | None] = {  # what a cell may say instead of a figure
    "pass": Result(word="pass"),
    "fail": Result(word="fail"),
    "no trip": Result(word="no_trip"),
    "no earth": Result(word="no_earth"),
    "n/a": Result(word="not_applicable"),
    "not applicable": Result(word="not_applicable"),
    "lim": Result(word="limitation"),
    "limitation": Result(word="limitation"),
    "open circuit": OpenCircuit(),
    "over range": OverRange(),
    "1-2-3": Choice(word="1-2-3"),
    "3-2-1": Choice(word="3-2-1"),
    "tn-c-s": Choice(word="TN-C-S"),
    "tn-s": Choice(word="TN-S"),
    "tt": Choice(word="TT"),
}


class PreviousRow(Noun):
    """One place of a previous record."""

    place: Place
    name: str
    facts: dict[str, str]  # by column, empty ones left out
    readings: tuple[Reading, ...]


class PreviousRecord(Noun):
    """Last time's record; ``source`` is its file name."""

    source: str
    rows: tuple[PreviousRow, ...]

    def at(self, place: Place) -> PreviousRow | None:
        """The row of a place, or None."""
        return next((row for row in self.rows if row.place == place), None)

    def reading(self, place: Place, quantity: str, conditions: Conditions) -> Reading | None:
        """Last time's reading of the same quantity there, at whatever test voltage.

        Conditions that last time left out do not count.
        """
        row = self.at(place)
        matches = (
            (r for r in row.readings if r.quantity == quantity and _agree(r.conditions, conditions)) if row else ()
        )
        return next(iter(matches), None)

    def fact(self, place: Place, column: str) -> str:
        """A fact of a place as written; empty when it is not there."""
        row = self.at(place)
        return row.facts.get(column, "") if row else ""


def read_previous(path: Path) -> PreviousRecord:
    """Read a previous record. PreviousRecordError names row and column of what cannot be read."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise PreviousRecordError(f"cannot be opened: {error.strerror}.", where=str(path)) from error
    if len(data) > MOST_BYTES:
        raise PreviousRecordError(f"is larger than {MOST_BYTES} bytes.", where=str(path), do="Is it a schedule?")
    try:
        return parse_previous(data.decode("utf-8-sig"), path.name)
    except UnicodeDecodeError as error:
        raise PreviousRecordError("is not text in UTF-8.", where=str(path), do="Save it as CSV in UTF-8.") from error


def parse_previous(text: str, source: str) -> PreviousRecord:
    """The same, from text already at hand."""
    table = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        lines = [(number, cells) for number, cells in enumerate(table, start=1) if any(cell.strip() for cell in cells)]
    except csv.Error as error:
        raise PreviousRecordError(f"is not CSV: {error}.", where=f"{source}, row {table.line_num}") from error
    if not lines:
        raise PreviousRecordError("is empty.", where=source, do="The first row names the columns.")
    columns = _columns(lines[0][1], source)
    rows = tuple(_row(cells, columns, f"{source}, row {number}") for number, cells in lines[1:])
    _no_twins(rows, source)
    return PreviousRecord(source=source, rows=rows)


def _columns(header: list[str], source: str) -> list[str]:
    columns = [name.strip() for name in header]
    known = [*PLACE, *PASSED_OVER, *FACTS, *READINGS]
    for place, name in enumerate(columns, start=1):
        if name not in known:
            near = process.extractOne(name, known)
            do = f"Did you mean {near[0]!r}?" if near and near[1] > 60 else "Take the column out or rename it."
            raise PreviousRecordError(f"the column {name!r} is not known.", where=f"{source}, column {place}", do=do)
    twins = {name for name in columns if columns.count(name) > 1}
    if twins or "board" not in columns:
        what = f"the column {min(twins)!r} appears twice." if twins else "the column 'board' is missing."
        raise PreviousRecordError(what, where=f"{source}, row 1")
    return columns


def _row(cells: list[str], columns: list[str], where: str) -> PreviousRow:
    if len(cells) > len(columns):
        raise PreviousRecordError(f"has {len(cells)} cells for {len(columns)} columns.", where=where)
    written = {
        column: cell.strip().removeprefix("'") for column, cell in zip(columns, cells, strict=False) if cell.strip()
    }
    place = _place(written, where)
    return PreviousRow(
        place=place,
        name=written.get("name", ""),
        facts={column: _fact(column, written[column], where) for column in FACTS if column in written},
        readings=tuple(_readings(written, place, where)),
    )


def _place(written: dict[str, str], where: str) -> Place:
    if "board" not in written:
        raise PreviousRecordError("the board is missing.", where=f"{where}, column board")
    number = written.get("number", "")
    kind = written.get("kind", "circuit" if number else "board")
    if kind not in ("board", "rcd", "circuit"):
        raise PreviousRecordError(f"{kind!r} is not board, rcd or circuit.", where=f"{where}, column kind")
    names = {"circuit": {"circuit": number}, "rcd": {"rcd": number}}.get(kind, {})
    return Place(board=written["board"], **names)


def _fact(column: str, cell: str, where: str) -> str:
    """A fact as written; one with a unit has to be a figure."""
    if FACTS[column] or column == "points":
        _figure(cell, f"{where}, column {column}")
    return cell


def _readings(written: dict[str, str], place: Place, where: str) -> Iterator[Reading]:
    for column, (quantity, unit, conditions) in READINGS.items():
        if column in written:
            value = _value(written[column], f"{where}, column {column}")
            under = {**conditions, **_at_voltage(quantity, written)}
            yield Reading(place=place, quantity=quantity, value=value, unit=unit, conditions=under)


def _at_voltage(quantity: str, written: dict[str, str]) -> Conditions:
    """The test voltage of an insulation reading, where the row names one and no more."""
    volts = written.get("ir_test_V", "")
    return {AT_VOLTAGE: volts} if quantity in INSULATION and FIGURE.fullmatch(volts) else {}


def _value(cell: str, where: str) -> Value:
    word = WORDS.get(cell.lower())
    if word is not None:
        return word
    comparison = Comparison(cell[0]) if cell.startswith(("<", ">")) else Comparison.EQUAL
    return Number(figure=_figure(cell.lstrip("<> "), where), comparison=comparison)


def _figure(cell: str, where: str) -> Decimal:
    if not FIGURE.fullmatch(cell):
        words = ", ".join(sorted(WORDS))
        raise PreviousRecordError(f"{cell!r} is neither a figure nor one of: {words}.", where=where)
    return Decimal(cell)


def _no_twins(rows: tuple[PreviousRow, ...], source: str) -> None:
    seen: set[tuple[str, str, str]] = set()
    for row in rows:
        key = (row.place.board, row.place.circuit, row.place.rcd)
        if key in seen:
            raise PreviousRecordError(f"{row.place.key} stands in two rows.", where=source, do="Keep one of them.")
        seen.add(key)


def _agree(then: Conditions, now: Conditions) -> bool:
    return all(now.get(key, value) == value for key, value in then.items() if key != AT_VOLTAGE)
