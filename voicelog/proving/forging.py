"""How a careful forger changes a journal: the guards taken down and put back word for word.

Every change works on a copy of the sample without its closing line, as after a kill, so that finding it
rests on the chain and on journal.head alone, not on the digest of the file.
"""

import json
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from itertools import combinations
from pathlib import Path
from typing import Any

from voicelog.keeping.chain import GENESIS, Row, canonical, digest_of
from voicelog.keeping.clips import CLIPS
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS

Change = Callable[[Path], None]
Rows = list[Row]

WITH_HEADS = ", and journal.head to match"  # these only a printed head can show
AT_THE_END = "an entry added after the last"  # as an entry that its writer died over: a remark says so


def all_changes(sample: Path, older: list[Path]) -> Iterator[tuple[str, Change]]:
    """Every change to try on a copy of ``sample``; ``older`` are copies of the job as it was before."""
    yield from _edits(sample)
    yield from _rearrangements(sample)
    yield from _cuts(sample)
    yield from _files(sample, older)
    yield from _sounds(sample)


# ---------------------------------------------------------------- rows


@contextmanager
def unguarded(folder: Path) -> Iterator[sqlite3.Connection]:
    """The database with its triggers away meanwhile."""
    with closing(_forger(folder)) as connection:
        guards = connection.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            connection.execute(f"DROP TRIGGER {name}")
        yield connection
        for _, sql in guards:
            connection.execute(sql)


def _forger(folder: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(folder / JOURNAL, isolation_level=None)
    connection.execute("PRAGMA synchronous = OFF")
    return connection


def rows_of(folder: Path) -> Rows:
    with closing(sqlite3.connect(folder / JOURNAL)) as connection:
        return connection.execute("SELECT number, body, digest FROM entry ORDER BY number").fetchall()


def _write(folder: Path, rows: Rows) -> None:
    with unguarded(folder) as connection:
        connection.execute("DELETE FROM entry")
        connection.executemany("INSERT INTO entry VALUES (?, ?, ?)", rows)


def chained(bodies: list[dict[str, Any]]) -> Rows:
    """Entries numbered and chained anew from these bodies."""
    rows: Rows = []
    for number, body in enumerate(bodies, 1):
        body = body | {"number": number, "previous": rows[-1][2] if rows else GENESIS}
        text = canonical(body)
        rows.append((number, text, digest_of(text)))
    return rows


def _bodies(rows: Rows) -> list[dict[str, Any]]:
    return [json.loads(body) for _, body, _ in rows]


def _rewrite_heads(folder: Path, rows: Rows) -> None:
    lines = ["voicelog head 1", "opened 0 unclosed", *(f"entry {number} {digest}" for number, _, digest in rows)]
    (folder / HEADS).write_text("\n".join(lines) + "\n", encoding="ascii", newline="\n")


def _writing(rows: Rows, *, heads: bool = False) -> Change:
    def change(folder: Path) -> None:
        _write(folder, rows)
        if heads:
            _rewrite_heads(folder, rows)

    return change


# ---------------------------------------------------------------- kinds of change


def _edits(sample: Path) -> Iterator[tuple[str, Change]]:
    """Each field of each entry, with more and more made to match."""
    rows = rows_of(sample)
    bodies = _bodies(rows)
    for index, body in enumerate(bodies):
        for name, value in body.items():
            edited = body | {name: _other(value)}
            text = canonical(edited)
            number, _, digest = rows[index]
            as_is = [*rows[:index], (number, text, digest), *rows[index + 1 :]]
            redigested = [*rows[:index], (number, text, digest_of(text)), *rows[index + 1 :]]
            rechained = chained([*bodies[:index], edited, *bodies[index + 1 :]])
            yield "a field edited", _writing(as_is)
            yield "a field edited, its digest to match", _writing(redigested)
            if rechained != rows:  # number and previous are what chaining itself puts right
                yield "a field edited, all digests to match", _writing(rechained)
                yield f"a field edited, all digests to match{WITH_HEADS}", _writing(rechained, heads=True)


def _other(value: Any) -> Any:
    """Another value of the same kind, so that the entry still reads where its kind allows."""
    match value:
        case str():
            return value[:-1] + ("1" if value[-1:] != "1" else "2")
        case int() | float():
            return value + 1
        case list():
            return [*value, "more"]
        case dict():
            return value | {"reason": "more"}
        case _:
            return 7


def _rearrangements(sample: Path) -> Iterator[tuple[str, Change]]:
    rows = rows_of(sample)
    bodies = _bodies(rows)
    for one, other in combinations(range(len(rows)), 2):
        swapped = list(rows)
        swapped[one], swapped[other] = (rows[one][0], *rows[other][1:]), (rows[other][0], *rows[one][1:])
        yield "two entries exchanged", _writing(swapped)
        order = list(bodies)
        order[one], order[other] = order[other], order[one]
        yield "two entries exchanged, all digests to match", _writing(chained(order))
        yield f"two entries exchanged, all digests to match{WITH_HEADS}", _writing(chained(order), heads=True)
    yield AT_THE_END, _writing(chained([*bodies, bodies[0]]))
    for index in range(len(rows)):
        yield "an entry taken out", _writing(rows[:index] + rows[index + 1 :])
        put_in = [*bodies[:index], bodies[index - 1], *bodies[index:]]
        if chained(put_in)[: len(rows)] != rows:  # beside its own double it would be one added after the last
            yield "an entry put in, all digests to match", _writing(chained(put_in))
        left = chained(bodies[:index] + bodies[index + 1 :])
        yield "an entry taken out, all digests to match", _writing(left)
        yield f"an entry taken out, all digests to match{WITH_HEADS}", _writing(left, heads=True)


def _cuts(sample: Path) -> Iterator[tuple[str, Change]]:
    rows = rows_of(sample)
    for count in range(len(rows)):
        yield "the last entries cut off", _writing(rows[:count])
        yield f"the last entries cut off{WITH_HEADS}", _writing(rows[:count], heads=True)
    for size in range(0, (sample / JOURNAL).stat().st_size, 512):
        yield "the journal file cut short", _sized(JOURNAL, size)
    for size in range(0, (sample / HEADS).stat().st_size, 5):
        yield "journal.head cut short", _sized(HEADS, size)


def _sized(name: str, size: int) -> Change:
    def change(folder: Path) -> None:
        with (folder / name).open("r+b") as file:
            file.truncate(size)

    return change


def _files(sample: Path, older: list[Path]) -> Iterator[tuple[str, Change]]:
    for name in (JOURNAL, HEADS):
        yield f"{name} deleted", lambda folder, name=name: (folder / name).unlink()
        for before in older:
            source = before / name
            yield (
                f"{name} exchanged for an older copy",
                lambda folder, name=name, source=source: _copied(source, folder / name),
            )
    for before in older:
        yield f"{JOURNAL} exchanged for an older copy{WITH_HEADS}", lambda folder, before=before: _both(before, folder)
    with closing(sqlite3.connect(sample / JOURNAL)) as connection:
        guards = [name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'")]
    for guard in guards:
        yield "a guard taken down", _sql(f"DROP TRIGGER {guard}")
    yield "a table added", _sql("CREATE TABLE other (x)")
    yield "a trigger added", _sql("CREATE TRIGGER t AFTER INSERT ON entry BEGIN SELECT 1; END")


def _copied(source: Path, to: Path) -> None:
    shutil.copyfile(source, to)


def _both(before: Path, folder: Path) -> None:
    for name in (JOURNAL, HEADS):
        _copied(before / name, folder / name)


def _sql(statement: str) -> Change:
    def change(folder: Path) -> None:
        with closing(_forger(folder)) as connection:
            connection.execute(statement)

    return change


def _sounds(sample: Path) -> Iterator[tuple[str, Change]]:
    names = sorted(path.name for path in (sample / CLIPS).iterdir())
    for name in names:
        yield "a sound deleted", lambda folder, name=name: (folder / CLIPS / name).unlink()
        for place in range(0, (sample / CLIPS / name).stat().st_size, 11):
            yield "a byte of a sound changed", _byte_changed(f"{CLIPS}/{name}", place)
    for one, other in combinations(names, 2):
        yield "two sounds exchanged", lambda folder, one=one, other=other: _exchanged(folder / CLIPS, one, other)


def _byte_changed(name: str, place: int) -> Change:
    def change(folder: Path) -> None:
        data = bytearray((folder / name).read_bytes())
        data[place] ^= 0x55
        (folder / name).write_bytes(data)

    return change


def _exchanged(folder: Path, one: str, other: str) -> None:
    first, second = (folder / one).read_bytes(), (folder / other).read_bytes()
    (folder / one).write_bytes(second)
    (folder / other).write_bytes(first)
