"""Load: how the time of each step grows with the journal, up to 100,000 entries and 2,000 circuits.

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
from voicelog.keeping.sheet import parse_sheet
from voicelog.keeping.storage import Progress, quiet
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, EntryKind, Noun, Number, Outcome, Place, Reading, Verdict

SIZES = (1_000, 10_000, 100_000)
CIRCUITS = 2_000
PER_BOARD = 100
APPENDED = 200  # entries appended one by one at each size
MORNING = datetime(2026, 3, 2, 8, tzinfo=UTC)


class LoadRow(Noun):
    """One size of journal. Times in the unit their names end with."""

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
    circuits: int
    sheet_s: float  # a job sheet of so many circuits, read and checked

    @computed_field
    @property
    def growth(self) -> dict[str, float]:
        """Time of the largest journal over the smallest, per step, divided by the ratio of their sizes:
        about 1 where time grows with size, towards 0 where it does not, above 1 where it grows faster."""
        small, large = self.rows[0], self.rows[-1]
        ratio = large.entries / small.entries
        names = [name for name in LoadRow.model_fields if name.endswith(("_s", "_ms", "_us"))]
        return {name: round(getattr(large, name) / max(getattr(small, name), 1e-9) / ratio, 3) for name in names}


def bench_load(
    sizes: tuple[int, ...] = SIZES, circuits: int = CIRCUITS, folder: Path | None = None, progress: Progress = quiet
) -> Load:
    """Measure each size; ``progress`` counts entries. Jobs are made in ``folder``, or in a temporary one."""
    rows: list[LoadRow] = []
    with tempfile.TemporaryDirectory(dir=folder) as place:
        for size in sizes:
            (job := Path(place) / str(size)).mkdir()
            _fill(job, size, circuits)
            rows.append(_measured(job, size))
            progress(sum(row.entries for row in rows), sum(sizes))
    sheet_s, _ = _timed(lambda: parse_sheet(sheet_text(circuits)))
    return Load(rows=tuple(rows), circuits=circuits, sheet_s=sheet_s)


def _timed(act: Callable[[], object]) -> tuple[float, object]:
    started = time.perf_counter()
    given = act()
    return round(time.perf_counter() - started, 6), given


def _measured(job: Path, size: int) -> LoadRow:
    file_mb = (job / JOURNAL).stat().st_size / 1e6
    open_s, journal = _timed(lambda: Journal.open(job))
    assert isinstance(journal, Journal)
    with journal:
        appends = sorted(_timed(lambda n=n: journal.append(_draft(n, CIRCUITS)))[0] for n in range(APPENDED))
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
    return Place(board=f"DB{n // PER_BOARD % (CIRCUITS // PER_BOARD) + 1}", circuit=str(n % PER_BOARD + 1))


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


def sheet_text(circuits: int) -> str:
    """A job sheet with so many circuits, a hundred to a board."""
    text = ['[job]\nreference = "LOAD"\ndate = 2026-03-02\n[supply]\nearthing = "TN-S"\n']
    for n in range(circuits):
        if n % PER_BOARD == 0:
            text.append(f'[[board]]\nreference = "{_place(n).board}"\n')
            text.append('[[board.rcd]]\nreference = "RCD1"\nrated_residual_current_mA = 30\n')
        text.append(
            f'[[board.circuit]]\nnumber = "{n % PER_BOARD + 1}"\nname = "sockets {n}"\nrcd = "RCD1"\n'
            'device = { standard = "BS EN 60898", type = "B", rating_A = 32, breaking_capacity_kA = 6 }\n'
            "cable = { line_mm2 = 2.5, cpc_mm2 = 1.5, length_m = 40 }\n"
        )
    return "".join(text)
