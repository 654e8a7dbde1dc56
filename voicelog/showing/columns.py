"""The schedule as a flat table, for CSV and workbooks: one row a place, one column a field.

Every column carries its unit in its name. A cell holds the figure exactly as spoken, moved to the
column's unit where another was spoken; ``> 500`` for more than 500; words for what is no figure
(over range, open circuit, pass, fail, LIM, N/A); and nothing where nothing stands on the record.
Where several readings share a column (several points of one circuit), the least favourable is shown
and the others stand under ``remarks``.
"""

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from voicelog.model import Conditions, Number, OpenCircuit, Outcome, OverRange, Standing
from voicelog.showing.schedule import Kept, Row, Schedule, Unsettled
from voicelog.showing.wording import VERDICT_WORDS, Wording, load_wording, plain_value

HIGH_IS_GOOD = ("ir_ll", "ir_le", "ir_ne", "ir_lne")  # insulation: the least value is the least favourable
RISKY_STARTS = ("=", "+", "-", "@", "\t", "\r")  # a spreadsheet takes text that begins so for a formula
WORST_FIRST = (Outcome.FAIL, Outcome.MARGINAL, Outcome.NO_LIMIT, Outcome.PASS)


@dataclass(frozen=True)
class Column:
    """A field: its name with the unit, what it holds, and how a row gives it."""

    name: str
    holds: str
    fact: Callable[[Row], object] = lambda row: None  # what the job sheet says
    quantity: str = ""  # the quantity whose reading stands here, before the job sheet
    unit: str = ""
    where: tuple[tuple[str, str], ...] = ()  # conditions a reading must have to stand here


def _reading(name: str, holds: str, quantity: str, unit: str = "", **where: str) -> Column:
    return Column(name, holds, quantity=quantity, unit=unit, where=tuple(where.items()))


def _trip(times: str, degrees: str) -> Column:
    name = f"rcd_{times.replace('.', '_')}x_{degrees}deg_ms"
    holds = f"RCD operating time at {times} × rated residual current, from {degrees} degrees"
    return _reading(name, holds, "rcd_time", "ms", multiple=times, half_cycle=degrees)


FACTS = (
    Column("board", "reference of the board", lambda row: row.place.board),
    Column("kind", "board, rcd or circuit", lambda row: row.kind),
    Column("number", "designation of the circuit or RCD", lambda row: row.place.circuit or row.place.rcd),
    Column("name", "what it feeds", lambda row: row.name),
    Column("phase", "L1, L2, L3, or 3 for all three", lambda row: row.circuit.phase if row.circuit else None),
    Column("points", "number of points", lambda row: row.circuit.points if row.circuit else None, "points"),
    Column("device_standard", "overcurrent device: its standard", lambda row: row.device and row.device.standard),
    Column("device_type", "overcurrent device: type", lambda row: row.device and row.device.type, "device_type"),
    Column(
        "device_A", "overcurrent device: rating", lambda row: row.device and row.device.rating_A, "device_rating", "A"
    ),
    Column(
        "breaking_kA",
        "overcurrent device: breaking capacity",
        lambda row: row.device and row.device.breaking_capacity_kA,
    ),
    Column("line_mm2", "cross-section of the live conductors", lambda row: row.cable and row.cable.line_mm2),
    Column("cpc_mm2", "cross-section of the protective conductor", lambda row: row.cable and row.cable.cpc_mm2),
    Column("length_m", "length of the cable", lambda row: row.cable and row.cable.length_m),
    Column("ring", "yes for a ring final circuit", lambda row: "yes" if row.circuit and row.circuit.ring else None),
    Column("rcd", "reference of the RCD", lambda row: row.rcd and row.rcd.reference),
    Column("rcd_type", "type of the RCD", lambda row: row.rcd and row.rcd.type, "rcd_type"),
    Column(
        "rcd_mA",
        "rated residual current",
        lambda row: row.rcd and row.rcd.rated_residual_current_mA,
        "rcd_rating",
        "mA",
    ),
    Column("rcd_A", "rated current of the RCD", lambda row: row.rcd and row.rcd.rating_A),
    Column("greatest_zs_ohm", "greatest Zs that the edition permits, uncorrected", lambda row: row.greatest_zs_ohm),
)
READINGS = (
    _reading("ring_r1_ohm", "ring, line conductor end to end", "ring_r1", "ohm"),
    _reading("ring_rn_ohm", "ring, neutral conductor end to end", "ring_rn", "ohm"),
    _reading("ring_r2_ohm", "ring, protective conductor end to end", "ring_r2", "ohm"),
    _reading("ring_step2_ohm", "ring, line and neutral crossed", "ring_step2", "ohm"),
    _reading("ring_step3_ohm", "ring, line and protective conductor crossed", "ring_step3", "ohm"),
    _reading("r1_r2_ohm", "R1+R2", "r1_r2", "ohm"),
    _reading("r2_ohm", "R2", "r2_cpc", "ohm"),
    _reading("bonding_ohm", "protective bonding", "bonding", "ohm"),
    _reading("electrode_ohm", "earth electrode", "electrode", "ohm"),
    Column("ir_test_V", "test voltage of the insulation readings shown", lambda row: _test_voltage(row)),
    _reading("ir_live_live_Mohm", "insulation, live to live", "ir_ll", "Mohm"),
    _reading("ir_live_earth_Mohm", "insulation, live to earth", "ir_le", "Mohm"),
    _reading("ir_neutral_earth_Mohm", "insulation, neutral to earth", "ir_ne", "Mohm"),
    _reading("ir_linked_earth_Mohm", "insulation, live conductors linked to earth", "ir_lne", "Mohm"),
    _reading("polarity", "polarity", "polarity"),
    _reading("phase_rotation", "phase rotation", "phase_rotation"),
    _reading("voltage_V", "voltage line to neutral", "voltage", "V", between="L-N"),
    _reading("ze_ohm", "Ze", "ze", "ohm"),
    _reading("zs_ohm", "Zs as measured", "zs", "ohm"),
    _reading("fault_current_kA", "prospective fault current", "pfc", "kA"),
    *(_trip(times, degrees) for times in ("0.5", "1", "5") for degrees in ("0", "180")),
    _reading("rcd_ramp_mA", "RCD operating current on a ramp", "rcd_ramp", "mA"),
    _reading("test_button", "test button of the protective device", "test_button"),
    _reading("functional", "functional check", "functional"),
    _reading("leakage_mA", "earth leakage, a.c.", "earth_leakage", "mA"),
    _reading("leakage_dc_mA", "earth leakage, smooth d.c.", "earth_leakage_dc", "mA"),
    _reading("main_fuse_A", "rating of the main fuse", "main_fuse", "A"),
    _reading("earthing", "earthing arrangement as found", "earthing"),
    _reading("supply", "phases of the supply as found", "supply"),
    _reading("spd", "surge protection indicator", "spd"),
)
CLOSING = (
    Column("worst_verdict", "the least favourable verdict in this row; an aid", lambda row: worst_verdict(row)),
    Column(
        "lines", "journal entries of the readings in this row", lambda row: " ".join(str(k.line) for k in row.readings)
    ),
)
REMARKS = Column("remarks", "other readings that stand, retests, what was not challenged or not yet answered")
COLUMNS = (*FACTS, *READINGS, *CLOSING, REMARKS)


@dataclass(frozen=True)
class Cell:
    """What a column shows of a row: text as printed, and the plain figure when it is one."""

    text: str = ""
    figure: Decimal | None = None  # in the column's unit; None for words and for > and <
    kept: Kept | None = None  # the reading behind it; None when it comes from the job sheet


def cells(row: Row, wording: Wording, unsettled: Sequence[Unsettled] = ()) -> dict[str, Cell]:
    """Every column of a row, by name; of ``unsettled``, those of its place are told among the remarks."""
    found = {column.name: _cell(column, row, wording) for column in COLUMNS[:-1]}
    waiting = [f"not yet answered: {_told(one, wording)}" for one in unsettled if one.place == row.place]
    return {**found, REMARKS.name: Cell("; ".join((*_remarks(row, found, wording), *waiting)))}


def to_csv(schedule: Schedule, wording: Wording | None = None) -> str:
    """RFC 4180 text; the first row names the columns. Write it as UTF-8 with a byte order mark.

    Text that a spreadsheet would take for a formula begins with an apostrophe.
    """
    wording = wording or load_wording()
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow([column.name for column in COLUMNS])
    for row in schedule.rows:
        writer.writerow([harmless(cell.text) for cell in cells(row, wording, schedule.unsettled).values()])
    return out.getvalue()


def harmless(text: str) -> str:
    return f"'{text}" if text.startswith(RISKY_STARTS) else text


def column_guide() -> str:
    """The columns as a Markdown table, for the documentation."""
    rows = [f"| `{column.name}` | {column.holds} |" for column in COLUMNS]
    return "\n".join(["| column | what it holds |", "| --- | --- |", *rows, ""])


def worst_verdict(row: Row) -> str:
    """``outside limit`` when any reading is; empty when none was judged."""
    outcomes = {kept.outcome for kept in row.readings}
    return next((VERDICT_WORDS[outcome] for outcome in WORST_FIRST if outcome in outcomes), "")


def least_favourable(found: Sequence[Kept], wording: Wording, unit: str) -> Kept:
    """The reading to show when several share a column."""
    return max(found, key=lambda kept: _concern(kept, wording, unit))


def _concern(kept: Kept, wording: Wording, unit: str) -> tuple[int, Decimal]:
    """Greater is less favourable; a word such as fail outweighs any figure, limitation and N/A none."""
    match kept.value:
        case Number(figure=figure):
            in_unit = wording.in_unit(figure, kept.unit, unit)
            return 1, -in_unit if kept.quantity in HIGH_IS_GOOD else in_unit
        case OverRange() | OpenCircuit():
            return (0 if kept.quantity in HIGH_IS_GOOD else 2), Decimal(0)
    return (2 if kept.outcome is Outcome.FAIL or plain_value(kept.value) in ("fail", "no trip") else 0), Decimal(0)


def _cell(column: Column, row: Row, wording: Wording) -> Cell:
    found = [kept for kept in row.readings if column.quantity == kept.quantity and _fits(column.where, kept.conditions)]
    if found:
        return _measured(least_favourable(found, wording, column.unit), column, wording)
    fact = column.fact(row)
    if fact is None or fact == "":
        return Cell()
    return Cell(f"{fact:f}", fact) if isinstance(fact, Decimal) else Cell(str(fact))


def _measured(kept: Kept, column: Column, wording: Wording) -> Cell:
    if not isinstance(kept.value, Number):
        return Cell(plain_value(kept.value), None, kept)
    figure = wording.in_unit(kept.value.figure, kept.unit, column.unit)
    moved = kept.value.model_copy(update={"figure": figure})
    plain = kept.value.comparison == "="
    return Cell(plain_value(moved), figure if plain else None, kept)


def _fits(where: tuple[tuple[str, str], ...], conditions: Conditions) -> bool:
    return all(conditions.get(key, "0" if key == "half_cycle" else None) == value for key, value in where)


def _test_voltage(row: Row) -> str:
    volts = {kept.conditions.get("test_voltage_V", "") for kept in row.readings if kept.quantity in HIGH_IS_GOOD}
    return "/".join(sorted(filter(None, volts), key=int))


def _remarks(row: Row, found: dict[str, Cell], wording: Wording) -> list[str]:
    shown = {cell.kept.line for cell in found.values() if cell.kept}
    others = [kept for kept in row.readings if kept.line not in shown]
    told = [
        f"{wording.symbol(k.quantity)} shown is at {k.conditions['point']}" for k in row.readings if _is_of(k, shown)
    ]
    told += [f"also {_told(kept, wording)}" for kept in others]
    told += [f"{wording.symbol(k.quantity)} taken {k.retests + 1} times" for k in row.readings if k.retests]
    told += [f"{wording.symbol(k.quantity)}: {k.reason}" for k in row.readings if k.reason]
    told += [
        f"{wording.symbol(k.quantity)} not challenged, not affirmed"
        for k in row.readings
        if k.standing is Standing.UNCHALLENGED
    ]
    return list(dict.fromkeys(told))


def _is_of(kept: Kept, shown: set[int]) -> bool:
    """Whether a cell shows this reading, and it belongs to one of several points."""
    return kept.line in shown and "point" in kept.conditions


def _told(kept: Kept | Unsettled, wording: Wording) -> str:
    return f"{wording.quantity(kept.quantity, kept.conditions)} {wording.value(kept.value, kept.unit)}"
