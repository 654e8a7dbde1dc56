"""Where a TOML file says what: the line on which each table and each value begins.

The TOML reader itself decides where a statement ends: lines are added until they read, so no
second, smaller notion of TOML lives here.
"""

import tomllib
from collections import Counter
from collections.abc import Iterator
from typing import Any

Location = tuple[str | int, ...]  # ("board", 0, "circuit", 3, "cable", "length_m"), rows counted from 0


def statement_lines(text: str) -> dict[Location, int]:
    """Line (from 1) of every table and value in ``text``, which must be TOML that reads."""
    lines: dict[Location, int] = {(): 1}
    rows: Counter[Location] = Counter()
    table: Location = ()
    for line, statement, value in _statements(text):
        if statement.lstrip().startswith("["):
            table = _header(value, rows, is_row=statement.lstrip().startswith("[["))
            lines.setdefault(table, line)
        else:
            for inner in _locations(value):
                lines.setdefault(table + inner, line)
    return lines


def line_of(location: Location, lines: dict[Location, int]) -> int:
    """The line of a location, or of the nearest table around it when the file does not mention it."""
    while location not in lines:
        location = location[:-1]
    return lines[location]


def _statements(text: str) -> Iterator[tuple[int, str, dict[str, Any]]]:
    """Each statement with its first line and what it reads as; comments and blank lines are none."""
    pending: list[str] = []
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        pending.append(line)
        try:
            value = tomllib.loads("\n".join(pending))
        except tomllib.TOMLDecodeError:
            continue
        if value:
            yield number - len(pending) + 1, "\n".join(pending), value
        pending = []


def _header(value: Any, rows: Counter[Location], *, is_row: bool) -> Location:
    """The table that ``[a.b]`` or ``[[a.b]]`` opens, counting a new row in ``rows``."""
    location: Location = ()
    while value:
        [(key, value)] = value.items()
        location += (key,)
        if isinstance(value, list):
            value = value[0]
        if not value and is_row:
            rows[location] += 1
        if rows[location]:
            location += (rows[location] - 1,)
    return location


def _locations(value: Any) -> Iterator[Location]:
    """Every place inside a value, the nearest first."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield (key,)
            yield from ((key, *deeper) for deeper in _locations(inner))
