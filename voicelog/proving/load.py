"""Load: how the time of each step grows: journals up to 100,000 entries, sheets up to 2,000 circuits, 50 viewers.

The journal of each size is written in bulk, entry by entry through the same chain, and then worked on
as a session works: opened, appended to with every entry flushed to the disk, read, folded, verified.
"""

import statistics
import tempfile
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

from pydantic import computed_field

from voicelog.keeping import database
from voicelog.keeping.chain import Head, Row, entry_of, forge
from voicelog.keeping.database import JOURNAL, connect_to_write
from voicelog.keeping.heads import HEADS
from voicelog.keeping.journal import Journal, read_entries
from voicelog.keeping.record import Record, fold
from voicelog.keeping.storage import Progress, quiet
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, EntryKind, Noun, Number, Outcome, Place, Reading, Verdict
from voicelog.proving.big_sheets import PER_BOARD, SheetRow, board, measured_sheet
from voicelog.proving.big_sheets import SIZES as SHEETS
from voicelog.proving.viewers import CROWDS, Crowd, measured_crowd

SIZES = (1_000, 10_000, 100_000)
CIRCUITS = 2_000
APPENDED = 200  # entries appended one by one at each size
MORNING = datetime(2026, 3, 2, 8, tzinfo=UTC)


class LoadRow(Noun):
    """One size of journal. Times of the processor (of appending: by the clock), in the unit their names end with."""

    entries: int
    file_MB: float
    open_s: float  # chain verified, ready to append
    append_ms: float  # median, durable
    append_95_ms: float  # 95th percentile
    read_s: float  # every entry as a noun
    fold_s: float  # entries to record
    next_ms: float  # the record one entry later
    latest_us: float  # the current line of one circuit and quantity
    verify_s: float


class Load(Noun):
    """``voicelog bench load``: the table."""

    rows: tuple[LoadRow, ...]
    sheets: tuple[SheetRow, ...]
    crowds: tuple[Crowd, ...]

    @computed_field
    @property
    def growth(self) -> dict[str, float]:
        """Time of the largest journal over the smallest, per step, divided by the ratio of their sizes:
        about 1 where time grows with size, towards 0 where it does not, above 1 where it grows faster."""
        return _growth(self.rows, "entries")

    @computed_field
    @property
    def growth_of_sheets(self) -> dict[str, float]:
        """The same for the sheets."""
        return _growth(self.sheets, "circuits")


def _growth(rows: tuple[Noun, ...], size: str) -> dict[str, float]:
    if len(rows) < 2:
        return {}
    small, large = rows[0].model_dump(), rows[-1].model_dump()
    ratio = large[size] / small[size]
    names = [name for name in small if name.endswith(("_s", "_ms", "_us"))]
    return {name: round(large[name] / max(small[name], 1e-9) / ratio, 3) for name in names}


def bench_load(
    sizes: tuple[int, ...] = SIZES,
    sheets: tuple[int, ...] = SHEETS,
    crowds: tuple[int, ...] = CROWDS,
    folder: Path | None = None,
    progress: Progress = quiet,
) -> Load:
    """Measure each size; ``progress`` counts them. Jobs are made in ``folder``, or in a temporary one."""
    of = len(sizes) + len(sheets) + len(crowds)
    done = iter(range(1, of + 1))

    def counted(found: Noun) -> Noun:
        progress(next(done), of)
        return found

    return Load(
        rows=tuple(counted(measured_journal(size, folder)) for size in sizes),
        sheets=tuple(counted(measured_sheet(circuits, folder)) for circuits in sheets),
        crowds=tuple(counted(measured_crowd(viewers)) for viewers in crowds),
    )


def measured_journal(size: int, folder: Path | None = None) -> LoadRow:
    """A journal of so many entries."""
    with tempfile.TemporaryDirectory(dir=folder) as place:
        _fill(Path(place), size, CIRCUITS)
        return _measured(Path(place), size)


def _timed(act: Callable[[], object], clock: Callable[[], float] = time.process_time) -> tuple[float, object]:
    """Seconds of the processor, which other programs do not lengthen, or of another clock; and what came of it."""
    started = clock()
    given = act()
    return round(clock() - started, 6), given


def _measured(job: Path, size: int) -> LoadRow:
    file_mb = (job / JOURNAL).stat().st_size / 1e6
    open_s, journal = _timed(lambda: Journal.open(job))
    assert isinstance(journal, Journal)
    with journal:
        appends = sorted(
            _timed(lambda n=n: journal.append(_draft(n, CIRCUITS)), time.perf_counter)[0] for n in range(APPENDED)
        )
    read_s, _ = _timed(lambda: read_entries(job))
    entries = read_entries(job)
    fold_s, _ = _timed(lambda: fold(entries))
    record = fold(entries[:-1])
    verify_s, found = _timed(lambda: verify_job(job))
    assert found.exit_code == 0  # type: ignore[attr-defined]
    return LoadRow(
        entries=size,
        file_MB=round(file_mb, 2),
        open_s=open_s,
        append_ms=round(1e3 * statistics.median(appends), 3),
        append_95_ms=round(1e3 * appends[int(0.95 * APPENDED)], 3),
        read_s=read_s,
        fold_s=fold_s,
        next_ms=round(1e3 * _timed(lambda: record.with_entry(entries[-1]))[0], 3),
        latest_us=round(1e6 * _latest_s(record), 1),
        verify_s=verify_s,
    )


def _latest_s(record: Record) -> float:
    times = [_timed(lambda n=n: record.latest(_place(n), "zs"))[0] for n in range(200)]
    return statistics.median(times)


# ---------------------------------------------------------------- a large job


def _place(n: int) -> Place:
    n %= CIRCUITS
    return Place(board=board(n), circuit=str(n % PER_BOARD + 1))


def _draft(n: int, circuits: int) -> Draft:
    """Every other entry affirms the one before."""
    if n % 2:
        return Draft(kind=EntryKind.AFFIRMED, words=("yes",), refers=n)
    place = _place(n // 2 % circuits)
    value = Number(figure=Decimal(20 + n % 100).scaleb(-2))
    return Draft(
        kind=EntryKind.CALLED,
        words=("circuit", place.circuit, "zed", "s", "point", "five"),
        place=place,
        reading=Reading(place=place, quantity="zs", value=value, unit="ohm"),
        verdict=Verdict(outcome=Outcome.PASS, sentence="at most 1.37 ohm", limit=Decimal("1.37"), unit="ohm"),
        said_back=f"circuit {place.circuit}, zed s, {value.figure} ohms",
        margin=9.5,
    )


def _fill(job: Path, size: int, circuits: int) -> None:
    """The same rows that as many appends would have written, in one transaction."""
    Journal.open(job).close()
    rows: list[Row] = []
    last = Head()
    for n in range(size):
        rows.append(forge(_draft(n, circuits), last, MORNING + timedelta(seconds=n)))
        last = Head(rows[-1][0], rows[-1][2])
    with closing(connect_to_write(job)) as connection:
        connection.execute("BEGIN")
        connection.executemany("INSERT INTO entry VALUES (?, ?, ?)", rows)
        connection.execute("COMMIT")
        assert entry_of(database.last_row(connection)[0]).number == size
    with (job / HEADS).open("a", encoding="ascii", newline="\n") as file:
        file.writelines(f"entry {number} {digest}\n" for number, _, digest in rows)
