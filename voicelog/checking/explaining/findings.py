"""What a diagnosis looks at, and what it is made of: statements, each with the readings it rests on."""

from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property

from voicelog.checking.edition import Edition
from voicelog.checking.previous import PreviousRecord
from voicelog.checking.record import Readings, Record, Taken, as_found, at, figure, last_of_each
from voicelog.checking.verdicts import judge
from voicelog.installation import Board, Sheet
from voicelog.model import Noun, Place, Reading, Verdict

TO_EARTH = ("ir_le", "ir_ne", "ir_lne")


class Statement(Noun):
    """One sentence, and the readings or pages it rests on."""

    text: str
    origins: tuple[str, ...] = ()


class Section(Noun):
    """Statements under one heading."""

    title: str
    statements: tuple[Statement, ...]


@dataclass(frozen=True)
class Findings:
    """Everything a diagnosis looks at: all readings that stand, in order, retests included."""

    sheet: Sheet
    taken: tuple[Taken, ...]
    previous: PreviousRecord | None
    edition: Edition

    @cached_property
    def record(self) -> Readings:
        return Readings(taken.reading for taken in self.taken)

    @cached_property
    def as_found(self) -> Readings:
        """The readings that were taken with everything connected."""
        return as_found(self.taken)

    @cached_property
    def current(self) -> Readings:
        """The last reading of each kind."""
        return Readings(last_of_each(self.record))

    @cached_property
    def verdicts(self) -> tuple[tuple[Reading, Verdict], ...]:
        """Every current reading and what the limits say of it."""
        return tuple((r, judge(r, self.sheet, self.edition, self.record)) for r in self.current)

    @cached_property
    def _origins(self) -> dict[int, str]:
        return {id(taken.reading): taken.origin for taken in self.taken}

    def origins(self, *readings: Reading) -> tuple[str, ...]:
        """Where readings of this record came from."""
        return tuple(dict.fromkeys(self._origins[id(reading)] for reading in readings))

    def of(self, place: Place, *quantities: str) -> tuple[str, ...]:
        """Origins of the current readings of some quantities at a place."""
        return self.origins(*at(self.current, place, *quantities))


def chains(findings: Findings) -> dict[tuple, list[Taken]]:
    """Takings of the same quantity at the same place and conditions, in order."""
    found: dict[tuple, list[Taken]] = {}
    for taken in findings.taken:
        r = taken.reading
        found.setdefault((r.place, r.quantity, tuple(sorted(r.conditions.items()))), []).append(taken)
    return found


def least_to_earth_Mohm(record: Record, place: Place) -> Decimal | None:
    """The least plain insulation figure to earth at a place, of the last readings of a record, or None."""
    readings = last_of_each(at(record, place, *TO_EARTH))
    figures = [figure(reading, "Mohm") for reading in readings]
    return min((value for value in figures if value is not None), default=None)


def name_of(board: Board, number: str) -> str:
    """``circuit 5 (sockets, ground floor)``; an RCD's reference stays as it is."""
    circuit = next((c for c in board.circuits if c.number == number), None)
    if circuit is None:
        return number
    return f"circuit {number} ({circuit.name})" if circuit.name else f"circuit {number}"


def capital(sentence: str) -> str:
    return f"{sentence[:1].upper()}{sentence[1:]}"
