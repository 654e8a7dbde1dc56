"""Which pictures a job gives, drawn from its schedule and from what the checks worked out."""

from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from voicelog.keeping.record import Line, Record
from voicelog.keeping.watches import is_watched, watches
from voicelog.model import Noun, Number, Outcome, Place
from voicelog.reasons import unplugged_by
from voicelog.showing.charts import (
    Forecast,
    LeakageBar,
    LeakagePart,
    MapCell,
    MapRow,
    Picture,
    Point,
    Share,
    Step,
    board_map,
    chain_chart,
    leakage_chart,
    share_chart,
    trend_chart,
)
from voicelog.showing.columns import WORST_FIRST, least_favourable
from voicelog.showing.log_page import VERDICT_CSS
from voicelog.showing.schedule import Kept, Row, Schedule
from voicelog.showing.wording import Wording

GROUPS = {  # what the board map calls done, in the trade's order of tests
    "continuity": ("r1_r2", "r2_cpc", "ring_r1", "ring_rn", "ring_r2"),
    "insulation": ("ir_ll", "ir_le", "ir_ne", "ir_lne"),
    "polarity": ("polarity",),
    "Zs": ("zs",),
    "RCD": ("rcd_time", "rcd_ramp"),
    "leakage": ("earth_leakage",),
}
MOST_ROWS = 30  # of one picture: more would not fit a page
FEWEST = 4  # readings before a course over time is worth drawing
INSULATION = ("ir_ll", "ir_le", "ir_ne", "ir_lne")


class Budget(Noun):
    """What one RCD bears, from the edition."""

    budget_mA: Decimal
    floor_mA: Decimal  # above it the most sensitive device of its rating trips


class Regrouped(Noun):
    """A split of one board's circuits over RCDs, worked out elsewhere."""

    board: str
    groups: dict[str, tuple[str, ...]]  # RCD -> circuit keys ("DB1/5")
    leaks: dict[str, tuple[Decimal, str]]  # by circuit key: the mA reckoned with, and what was unplugged then
    budgets: dict[str, Budget]


def pictures(
    schedule: Schedule,
    record: Record,
    wording: Wording,
    budgets: Mapping[str, Budget] | None = None,
    regrouped: tuple[Regrouped, ...] = (),
    forecasts: Mapping[int, Forecast] | None = None,
) -> tuple[Picture, ...]:
    """Every picture that this job has something for.

    ``budgets`` by RCD key ("DB1/RCD1"); ``forecasts`` by the number of the last line of a series, in its unit.
    """
    return (
        *_leakage(schedule, wording, budgets or {}),
        *_after(schedule, regrouped),
        *_loops(schedule, wording),
        *_chains(record, wording, schedule),
        *_trends(record, wording, forecasts or {}, schedule),
        *_maps(schedule),
    )


def _leakage(schedule: Schedule, wording: Wording, budgets: Mapping[str, Budget]) -> Iterator[Picture]:
    for board in _boards(schedule):
        bars = [_rcd_bar(row, schedule, budgets, wording) for row in schedule.rows if _is_rcd_of(row, board, budgets)]
        measured = tuple(bar for bar in bars if bar.parts)
        if measured:
            yield leakage_chart(measured, f"Earth leakage against each RCD's budget{_of(board, schedule)}")


def _is_rcd_of(row: Row, board: str, budgets: Mapping[str, Budget]) -> bool:
    return row.kind == "rcd" and row.place.board == board and row.place.key in budgets


def _rcd_bar(rcd: Row, schedule: Schedule, budgets: Mapping[str, Budget], wording: Wording) -> LeakageBar:
    circuits = _circuits(schedule, rcd.place.board)
    leaks = ((i, row, _figure(row, "earth_leakage", "mA", wording)) for i, row in enumerate(circuits))
    parts = [_part(i, row, leak, _why(row)) for i, row, leak in leaks if row.rcd == rcd.rcd and leak is not None]
    whole = _figure(rcd, "earth_leakage", "mA", wording)
    return _bar(rcd.place.rcd, parts, budgets[rcd.place.key], whole or Decimal(0))


def _boards(schedule: Schedule) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row.place.board for row in schedule.rows))


def _of(board: str, schedule: Schedule) -> str:
    """Boards number their circuits alike: where there are several, each has pictures of its own, and its name."""
    return f", {board}" if len(_boards(schedule)) > 1 else ""


def _after(schedule: Schedule, regrouped: tuple[Regrouped, ...]) -> Iterator[Picture]:
    """What the split was reckoned with: everything plugged in, also where the schedule's reading is without an item.

    Nothing where no circuit moves and it would repeat the picture of what was measured.
    """
    for split in regrouped:
        rows = {row.place.key: (i, row) for i, row in enumerate(_circuits(schedule, split.board))}
        bars = tuple(
            _bar(rcd, [_part(*rows[key], *split.leaks[key]) for key in keys if key in rows], split.budgets[rcd])
            for rcd, keys in split.groups.items()
        )
        otherwise = any(_why(row) and key in split.leaks and not split.leaks[key][1] for key, (_, row) in rows.items())
        state = ", everything plugged in" if otherwise else ""
        unread = any(row.rcd and key not in split.leaks for key, (_, row) in rows.items())
        only = ", only what was read circuit by circuit" if unread else ""
        if otherwise or _moves(split, rows):
            yield leakage_chart(bars, f"Earth leakage on {split.board} after regrouping{state}{only}")


def _moves(split: Regrouped, rows: Mapping[str, tuple[int, Row]]) -> bool:
    """Whether any circuit ends up behind another RCD than it is behind now."""
    behind = {key: row.rcd.reference if row.rcd else "" for key, (_, row) in rows.items()}
    return any(behind[key] != rcd for rcd, keys in split.groups.items() for key in keys if key in behind)


def _bar(label: str, parts: Sequence[LeakagePart], budget: Budget, whole_mA: Decimal = Decimal(0)) -> LeakageBar:
    return LeakageBar(label=label, parts=tuple(parts), whole_mA=whole_mA, **budget.model_dump())


def _part(position: int, row: Row, leakage_mA: Decimal, why: str) -> LeakagePart:
    """``why``: what was unplugged when its leakage was read, for plugged in, the bar would be longer."""
    name = ", ".join(filter(None, (row.name, why)))
    return LeakagePart(circuit=row.place.circuit, name=name, leakage_mA=leakage_mA, position=position)


def _why(row: Row) -> str:
    without = (k.reason for k in row.readings if k.quantity == "earth_leakage" and unplugged_by(k.reason))
    return next(without, "")


def _circuits(schedule: Schedule, board: str = "") -> list[Row]:
    return [row for row in schedule.rows if row.kind == "circuit" and board in ("", row.place.board)]


def _figure(row: Row, quantity: str, unit: str, wording: Wording) -> Decimal | None:
    """The plain figure that the schedule shows; None without one."""
    found = [kept for kept in row.readings if kept.quantity == quantity]
    kept = least_favourable(found, wording, unit) if found else None
    if kept is None or not isinstance(kept.value, Number) or kept.value.comparison != "=":
        return None
    return wording.in_unit(kept.value.figure, kept.unit, unit)


def _loops(schedule: Schedule, wording: Wording) -> Iterator[Picture]:
    for board in _boards(schedule):
        shares = tuple(share for row in _circuits(schedule, board) for share in _share(row, wording))
        for title, some in _in_parts(f"Zs against the limit of each circuit{_of(board, schedule)}", shares):
            yield share_chart(some, title)


def _in_parts(title: str, rows: tuple[Any, ...]) -> Iterator[tuple[str, tuple[Any, ...]]]:
    """The rows in pictures that fit a page, each with its title."""
    count = -(-len(rows) // MOST_ROWS)
    for part in range(count):
        some = rows[part * MOST_ROWS : (part + 1) * MOST_ROWS]
        yield (f"{title} ({part + 1} of {count})" if count > 1 else title), some


def _share(row: Row, wording: Wording) -> Iterator[Share]:
    zs = [k for k in row.readings if k.quantity == "zs" and k.limit and isinstance(k.value, Number)]
    if not zs:
        return
    kept = least_favourable(zs, wording, "ohm")
    figure, limit = (
        wording.in_unit(*pair, "ohm") for pair in ((kept.value.figure, kept.unit), (kept.limit, kept.limit_unit))
    )
    yield Share(
        label=f"{row.place.circuit}  {row.name}".strip(),
        value=wording.value(kept.value, kept.unit),
        limit=f"{limit:f}",
        share=figure / limit,
        outcome=_css(kept.outcome),
    )


def _takings(record: Record) -> Iterator[tuple[Line, list[Line]]]:
    """Each reading that stands with all that stand before it under the same conditions, watched values left out."""
    for line in record.current:
        reading = line.reading
        there = record.chain(reading.place, reading.quantity, reading.conditions)
        yield line, [one for one in there if one.stands and not is_watched(one)]


def is_course(chain: Sequence[Line]) -> bool:
    """Plain figures, often enough, and nothing was changed in between."""
    plain = all(isinstance(one.reading.value, Number) and one.reading.value.comparison == "=" for one in chain)
    return len(chain) >= FEWEST and plain and len({one.reason for one in chain}) == 1


def _is_trend(chain: Sequence[Line]) -> bool:
    """A course without retests."""
    return is_course(chain) and not chain[0].reason


def _trends(
    record: Record, wording: Wording, forecasts: Mapping[int, Forecast], schedule: Schedule
) -> Iterator[Picture]:
    """Each reading called again and again, over time: watched by the clock of the sound, others by the journal's."""
    for _, chain in _takings(record):
        if _is_trend(chain):
            times_s = [(one.entry.at - chain[0].entry.at).total_seconds() for one in chain]
            yield _trend(chain, times_s, wording, forecasts, f"{_at(chain[-1].reading.place, schedule)} over time")
    for watched in watches(record):
        if is_course(watched.lines):
            yield _trend(
                watched.lines,
                watched.seconds,
                wording,
                forecasts,
                f"{_at(watched.lines[-1].reading.place, schedule)} watched",
            )


def _trend(
    chain: Sequence[Line], times_s: Sequence[float], wording: Wording, forecasts: Mapping[int, Forecast], what: str
) -> Picture:
    """One picture, in the unit of the last reading."""
    line = chain[-1]
    reading, verdict = line.reading, line.verdict
    points = tuple(
        Point(
            minutes=Decimal(f"{second - times_s[0]:.3f}") / 60,
            value=wording.in_unit(one.reading.value.figure, one.reading.unit, reading.unit),
        )
        for one, second in zip(chain, times_s, strict=True)
    )
    limit = wording.in_unit(verdict.limit, verdict.unit, reading.unit) if verdict and verdict.limit else None
    why = f", {line.reason}" if line.reason else ""
    title = f"{wording.symbol(reading.quantity)} of {what}{why}"
    return trend_chart(points, wording.unit(reading.unit), limit, forecasts.get(line.number), title)


def _chains(record: Record, wording: Wording, schedule: Schedule) -> Iterator[Picture]:
    """Each insulation reading that was taken again."""
    for line, chain in _takings(record):
        place, reading = line.reading.place, line.reading
        again = reading.quantity in INSULATION and len(chain) > 1 and all(map(_drawable, chain))
        if again and not _is_trend(chain):
            limit = line.verdict.limit if line.verdict else None
            at_least = wording.in_unit(limit, line.verdict.unit, "Mohm") if limit else None
            steps = tuple(
                Step(
                    value=wording.in_unit(one.reading.value.figure, one.reading.unit, "Mohm"),
                    text=wording.reading(one.reading),
                    why=one.reason,
                )
                for one in chain
            )
            limit_text = f"limit {at_least:f} MΩ" if at_least else "no limit known"
            title = f"{wording.symbol(reading.quantity)} of {_at(place, schedule)}, taken again"
            yield chain_chart(steps, at_least, limit_text, title)


def _drawable(line: Line) -> bool:
    return isinstance(line.reading.value, Number) and line.reading.value.figure > 0


def _at(place: Place, schedule: Schedule) -> str:
    if not place.circuit:
        return place.key
    return f"{place.board} circuit {place.circuit}" if _of(place.board, schedule) else f"circuit {place.circuit}"


def _maps(schedule: Schedule) -> Iterator[Picture]:
    """One map a board."""
    waiting = {(u.place.key, u.quantity) for u in schedule.unsettled}
    for board in dict.fromkeys(row.place.board for row in _circuits(schedule)):
        tested = {
            row.place.rcd: row.readings for row in schedule.rows if row.kind == "rcd" and row.place.board == board
        }
        rows = tuple(
            MapRow(label=f"{row.place.circuit}  {row.name}".strip(), cells=tuple(_cells(row, tested, waiting)))
            for row in _circuits(schedule, board)
        )
        for title, some in _in_parts(f"What is done on {board}", rows):
            yield board_map(some, tuple(GROUPS), title)


def _cells(row: Row, tested: dict[str, tuple[Kept, ...]], waiting: set[tuple[str, str]]) -> Iterator[MapCell]:
    """The tests of the RCD that a circuit lies behind count for the circuit."""
    behind = tested.get(row.rcd.reference, ()) if row.rcd else ()
    for group, quantities in GROUPS.items():
        readings = (*row.readings, *behind) if group == "RCD" else row.readings
        found = {kept.outcome or Outcome.NO_LIMIT for kept in readings if kept.quantity in quantities}
        worst = next((outcome for outcome in WORST_FIRST if outcome in found), None)
        asked = any((row.place.key, quantity) in waiting for quantity in quantities)
        yield MapCell(outcome=_css(worst) if worst else "", waiting=asked and not found)


def _css(outcome: Outcome | None) -> str:
    return VERDICT_CSS[outcome] if outcome else "none"
