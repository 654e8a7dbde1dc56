"""Values watched over minutes, as the journal has them.

Each carries its seconds from the first value of its watch, by the clock of the sound: a recording is heard faster than
it was spoken, and the time at which an entry was kept would give a slope that never was.
"""

from collections.abc import Iterator
from dataclasses import dataclass

from voicelog.keeping.record import Line, Record
from voicelog.model import EntryKind

WATCHED = "watched_s"  # key in the detail of an entry: seconds from the first value of its watch


@dataclass(frozen=True)
class Watched:
    """The values of one watch that stand, in order."""

    lines: tuple[Line, ...]

    @property
    def seconds(self) -> tuple[float, ...]:
        """The time of each from the first value of the watch."""
        return tuple(map(seconds, self.lines))


def seconds(line: Line) -> float:
    """When a watched value was called, counted from the first of its watch."""
    return float(line.entry.detail[WATCHED])


def is_watched(line: Line) -> bool:
    """Whether a line belongs to a watch."""
    return WATCHED in line.entry.detail


def watches(record: Record) -> Iterator[Watched]:
    """Every watch of which a value stands, place by place."""
    for key in dict.fromkeys(line.key for line in record.lines if is_watched(line)):
        there = [line for line in record.lines if line.key == key and is_watched(line)]
        for run in _runs(there):
            standing = tuple(line for line in run if line.stands)
            if standing:
                yield Watched(standing)


def _runs(lines: list[Line]) -> Iterator[list[Line]]:
    """Lines cut where a watch begins anew: there the seconds go back. A correction has the time of what it corrects."""
    run: list[Line] = []
    for line in lines:
        if run and _begins(line, run[-1]):
            yield run
            run = []
        run.append(line)
    yield run


def _begins(line: Line, before: Line) -> bool:
    if line.entry.kind is EntryKind.CORRECTED:
        return seconds(line) < seconds(before)
    return seconds(line) <= seconds(before)
