"""The schedule for paper: tables narrow enough to read. Columns that hold nothing in a job are left out."""

from collections.abc import Iterable, Sequence

from voicelog.model import Noun, Outcome, Standing
from voicelog.showing.columns import Cell, cells
from voicelog.showing.schedule import Schedule
from voicelog.showing.wording import VERDICT_SIGNS, Wording

KEY = {"number": ("Way", ""), "name": ("Feeds", "")}
INSTALLED = {
    "phase": ("Phase", ""),
    "points": ("Points", ""),
    "device_standard": ("Device", ""),
    "device_type": ("Type", ""),
    "device_A": ("Rated", "A"),
    "breaking_kA": ("Breaks", "kA"),
    "line_mm2": ("Live", "mm²"),
    "cpc_mm2": ("CPC", "mm²"),
    "length_m": ("Length", "m"),
    "ring": ("Ring", ""),
    "rcd": ("RCD", ""),
    "rcd_type": ("RCD type", ""),
    "rcd_mA": ("IΔn", "mA"),
    "rcd_A": ("RCD In", "A"),
    "greatest_zs_ohm": ("Zs max", "Ω"),
}
DEAD = {
    "ring_r1_ohm": ("r1", "Ω"),
    "ring_rn_ohm": ("rn", "Ω"),
    "ring_r2_ohm": ("r2", "Ω"),
    "ring_step2_ohm": ("L–N crossed", "Ω"),
    "ring_step3_ohm": ("L–E crossed", "Ω"),
    "r1_r2_ohm": ("R1+R2", "Ω"),
    "r2_ohm": ("R2", "Ω"),
    "bonding_ohm": ("Bond", "Ω"),
    "electrode_ohm": ("RA", "Ω"),
    "ir_test_V": ("IR at", "V"),
    "ir_live_live_Mohm": ("IR L–L", "MΩ"),
    "ir_live_earth_Mohm": ("IR L–E", "MΩ"),
    "ir_neutral_earth_Mohm": ("IR N–E", "MΩ"),
    "ir_linked_earth_Mohm": ("IR LN–E", "MΩ"),
    "polarity": ("Polarity", ""),
}
LIVE = {
    "phase_rotation": ("Rotation", ""),
    "voltage_V": ("U", "V"),
    "ze_ohm": ("Ze", "Ω"),
    "zs_ohm": ("Zs", "Ω"),
    "fault_current_kA": ("Ipf", "kA"),
    "rcd_0_5x_0deg_ms": ("½× 0°", "ms"),
    "rcd_0_5x_180deg_ms": ("½× 180°", "ms"),
    "rcd_1x_0deg_ms": ("1× 0°", "ms"),
    "rcd_1x_180deg_ms": ("1× 180°", "ms"),
    "rcd_5x_0deg_ms": ("5× 0°", "ms"),
    "rcd_5x_180deg_ms": ("5× 180°", "ms"),
    "rcd_ramp_mA": ("Ramp", "mA"),
    "test_button": ("Button", ""),
    "functional": ("Function", ""),
    "leakage_mA": ("Leakage", "mA"),
    "leakage_dc_mA": ("Leakage d.c.", "mA"),
    "main_fuse_A": ("Main fuse", "A"),
    "earthing": ("Earthing", ""),
    "supply": ("Supply", ""),
    "spd": ("SPD", ""),
    "remarks": ("Remarks", ""),
}
PARTS = (("What is installed", INSTALLED), ("Dead tests", DEAD), ("Live tests", LIVE))
LEGEND = (
    f"{VERDICT_SIGNS[Outcome.FAIL]} outside its limit   {VERDICT_SIGNS[Outcome.MARGINAL]} near it   "
    "† not challenged, not affirmed   LIM not tested, a limitation   N/A not applicable   "
    "empty: nothing stands on the record. Columns that hold nothing are left out."
)
LEGEND_OF_ZS = (
    "   Zs max: as the edition tabulates it; behind a fuse or a breaker a reading is judged against less, since "
    "conductors are warmer in use."
)


class ShownCell(Noun):
    """A cell with its sign; ``text`` is the value exactly as kept."""

    text: str = ""
    sign: str = ""  # before the text: outside or near a limit
    note: str = ""  # after it: not challenged


class Table(Noun):
    """One table of the schedule."""

    title: str
    heads: tuple[tuple[str, str], ...]  # label, unit
    rows: tuple[tuple[ShownCell, ...], ...]


def legend(schedule: Schedule) -> str:
    """What the signs of the tables mean, and the greatest Zs where there is one."""
    return LEGEND + (LEGEND_OF_ZS if any(row.greatest_zs_ohm is not None for row in schedule.rows) else "")


def tables(schedule: Schedule, wording: Wording) -> tuple[Table, ...]:
    """For each board: what is installed, dead tests, live tests."""
    found = []
    for board in dict.fromkeys(row.place.board for row in schedule.rows):
        rows = [cells(row, wording, schedule.unsettled) for row in schedule.rows if row.place.board == board]
        named = [_named(row, board) for row in rows]
        found += [_table(f"{board}: {title}", named, columns) for title, columns in PARTS]
    return tuple(table for table in found if table.rows)


def _named(row: dict[str, Cell], board: str) -> dict[str, Cell]:
    return row if row["number"].text else {**row, "number": Cell(board)}


def _table(title: str, rows: Sequence[dict[str, Cell]], columns: dict[str, tuple[str, str]]) -> Table:
    wanted = [name for name in columns if any(row[name].text for row in rows)]
    kept = [row for row in rows if any(row[name].text for name in wanted)]
    heads = (*KEY.values(), *(columns[name] for name in wanted))
    return Table(title=title, heads=heads, rows=tuple(tuple(_shown(row, [*KEY, *wanted])) for row in kept))


def _shown(row: dict[str, Cell], names: Iterable[str]) -> Iterable[ShownCell]:
    for name in names:
        cell = row[name]
        outcome = cell.kept.outcome if cell.kept else None
        unsure = cell.kept is not None and cell.kept.standing is Standing.UNCHALLENGED
        sign = VERDICT_SIGNS[outcome] if outcome in (Outcome.FAIL, Outcome.MARGINAL) else ""
        yield ShownCell(text=cell.text, sign=sign, note="†" if unsure else "")
