"""The record: what the journal's entries amount to. Pure; nothing here touches the disk.

Every entry that carries a reading is one line, and no line ever goes away; later entries only change
how far a line can be trusted:

    AFFIRMED, STOOD     the line stands
    CORRECTED           a new line; the one it refers to is REPLACED from that moment, for its speaker
                        has disowned it, while the new one still awaits its own answer
    WITHDRAWN           the line does not count. Withdrawing a correction that was never confirmed
                        gives its place back to the line it had replaced
    RESTORED            the line counts again, as far as it did before; the correction that counts in
                        its place, or the line that it corrects, is replaced in turn

A line stands when it was affirmed or went unchallenged. An awaiting line never stands and never hides
one that does: silence confirms nothing. The same quantity called again at the same place and conditions
is a retest: the first stays on the record, and the last that stands is the current one.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Self

from voicelog.model import Conditions, Entry, EntryKind, Place, Reading, Standing, Verdict

Spot = tuple[str, str, str, str]  # board, circuit, rcd, quantity
Key = tuple[Spot, tuple[tuple[str, str], ...]]  # spot, conditions in order of their names

STANDS = (Standing.AFFIRMED, Standing.UNCHALLENGED)
CONFIRMS = {EntryKind.AFFIRMED: Standing.AFFIRMED, EntryKind.STOOD: Standing.UNCHALLENGED}


@dataclass(frozen=True)
class Line:
    """One reading on the record."""

    reading: Reading
    verdict: Verdict | None
    entry: Entry  # the entry that brought it: CALLED or CORRECTED
    history: tuple[Entry, ...]  # that entry and all later ones about this line, in order
    confirmed: Standing = Standing.AWAITING  # how it was answered, whatever became of it later
    removed: Standing | None = None  # REPLACED or WITHDRAWN; None while it counts
    replaced_by: int | None = None  # number of the entry that replaced it
    reason: str = ""  # why it was taken: "unplugged tea urn"; its correction was taken no other way

    @property
    def standing(self) -> Standing:
        return self.removed or self.confirmed

    @property
    def stands(self) -> bool:
        """Whether it counts: affirmed or unchallenged, and neither replaced nor withdrawn."""
        return self.standing in STANDS

    @property
    def number(self) -> int:
        return self.entry.number

    @property
    def key(self) -> Key:
        return key_of(self.reading.place, self.reading.quantity, self.reading.conditions)


def key_of(place: Place, quantity: str, conditions: Conditions) -> Key:
    """What two readings must share for one to be the retest of the other."""
    return _spot(place, quantity), tuple(sorted(conditions.items()))


def _spot(place: Place, quantity: str) -> Spot:
    """All parts of a place: ``Place.key`` would take circuit "5" and RCD "5" of a board for one."""
    return place.board, place.circuit, place.rcd, quantity


@dataclass(frozen=True)
class Record:
    """All lines in the order they were called, and every other entry."""

    lines: tuple[Line, ...] = ()
    notes: tuple[Entry, ...] = ()  # NOTED: observations, board facts, voice notes
    others: tuple[Entry, ...] = ()  # entries about no line: started, moved, refused, stopped, or a reference astray
    line_of: Mapping[int, int] = field(default_factory=dict, repr=False)  # entry number -> index in lines
    spots: Mapping[Spot, tuple[int, ...]] = field(default_factory=dict, repr=False)  # -> indices in lines

    @property
    def current(self) -> tuple[Line, ...]:
        """For each place, quantity and conditions the last line that stands, in the order they were first called."""
        latest: dict[Key, Line | None] = {}
        for line in self.lines:
            latest.setdefault(line.key, None)
            if line.stands:
                latest[line.key] = line
        return tuple(line for line in latest.values() if line)

    @property
    def unconfirmed(self) -> tuple[Line, ...]:
        """Lines said back and never answered: to be settled before anyone signs."""
        return tuple(line for line in self.lines if line.standing is Standing.AWAITING)

    def line(self, number: int) -> Line | None:
        """The line that entry ``number`` brought or is about; None when it is about none."""
        index = self.line_of.get(number)
        return None if index is None else self.lines[index]

    def latest(self, place: Place, quantity: str, conditions: Conditions | None = None) -> Line | None:
        """The last line that stands there; None when none does. Without ``conditions``, under any."""
        standing = [line for line in self.chain(place, quantity, conditions) if line.stands]
        return standing[-1] if standing else None

    def chain(self, place: Place, quantity: str, conditions: Conditions | None = None) -> tuple[Line, ...]:
        """Every line of that quantity there, first call first: retests, corrections and withdrawn ones."""
        there = (self.lines[index] for index in self.spots.get(_spot(place, quantity), ()))
        return tuple(line for line in there if conditions is None or line.reading.conditions == conditions)

    def at(self, place: Place) -> tuple[Line, ...]:
        """Every line of a place."""
        return tuple(line for line in self.lines if line.reading.place == place)

    def with_entry(self, entry: Entry) -> Self:
        """The record one entry later."""
        return fold((entry,), self)

    def once_stood(self, number: int) -> Self:
        """The record as it will be once the line that entry ``number`` brought stands unchallenged."""
        index = self.line_of.get(number)
        if index is None or self.lines[index].confirmed is Standing.AFFIRMED:
            return self
        stood = replace(self.lines[index], confirmed=Standing.UNCHALLENGED)
        return replace(self, lines=(*self.lines[:index], stood, *self.lines[index + 1 :]))


def fold(entries: Iterable[Entry], start: Record | None = None) -> Record:
    """The record after ``entries``, which follow in order on those of ``start``."""
    folding = _Folding(start or Record())
    for entry in entries:
        folding.take(entry)
    return folding.record()


class _Folding:
    """A record under construction: the same parts, still growing."""

    def __init__(self, start: Record) -> None:
        self.lines, self.line_of, self.spots = list(start.lines), dict(start.line_of), dict(start.spots)
        self.notes, self.others = list(start.notes), list(start.others)

    def record(self) -> Record:
        lines, notes, others = tuple(self.lines), tuple(self.notes), tuple(self.others)
        return Record(lines, notes, others, MappingProxyType(self.line_of), MappingProxyType(self.spots))

    def take(self, entry: Entry) -> None:
        about = self.line_of.get(entry.refers) if entry.refers is not None else None
        if about is not None:
            self._remember(about, entry)
        if entry.kind in (EntryKind.CALLED, EntryKind.CORRECTED) and entry.reading:
            self._add_line(entry, entry.reading)
        elif entry.kind is EntryKind.NOTED:
            self.notes.append(entry)
        elif about is None:
            self.others.append(entry)
        if about is not None:
            self._change(about, entry)

    def _add_line(self, entry: Entry, reading: Reading) -> None:
        index, spot, reason = len(self.lines), _spot(reading.place, reading.quantity), self._reason(entry, reading)
        self.line_of[entry.number] = index
        self.spots[spot] = (*self.spots.get(spot, ()), index)
        self.lines.append(Line(reading, entry.verdict, entry, (entry,), reason=reason))

    def _reason(self, entry: Entry, reading: Reading) -> str:
        """That of the line corrected, unless the reading belongs elsewhere: its own is why it was changed."""
        index = self.line_of.get(entry.refers) if entry.kind is EntryKind.CORRECTED and entry.refers else None
        corrected = None if index is None else self.lines[index]
        same = corrected is not None and corrected.reading.place == reading.place
        return corrected.reason if same else entry.reason

    def _remember(self, index: int, entry: Entry) -> None:
        line = self.lines[index]
        self.lines[index] = replace(line, history=(*line.history, entry))
        self.line_of[entry.number] = index

    def _change(self, index: int, entry: Entry) -> None:
        line = self.lines[index]
        if entry.kind in CONFIRMS and line.confirmed is not Standing.AFFIRMED:
            self.lines[index] = replace(line, confirmed=CONFIRMS[entry.kind])
        elif entry.kind is EntryKind.CORRECTED and entry.reading:
            self.lines[index] = replace(line, removed=Standing.REPLACED, replaced_by=entry.number)
        elif entry.kind is EntryKind.WITHDRAWN:
            self._withdraw(index)
        elif entry.kind is EntryKind.RESTORED:
            self._restore(index)

    def _withdraw(self, index: int) -> None:
        line = self.lines[index]
        self.lines[index] = replace(line, removed=Standing.WITHDRAWN)
        if line.confirmed is Standing.AWAITING and line.removed is None and line.entry.kind is EntryKind.CORRECTED:
            self._give_place_back(line)

    def _give_place_back(self, correction: Line) -> None:
        index = self._corrected_by(correction)
        before = None if index is None else self.lines[index]
        if before and before.replaced_by == correction.number and before.removed is Standing.REPLACED:
            self.lines[index] = replace(before, removed=None, replaced_by=None)

    def _restore(self, index: int) -> None:
        line = self.lines[index]
        self.lines[index] = replace(line, removed=None, replaced_by=None)
        for other in (self._successor(line), self._corrected_by(line)):
            if other is not None and other != index and self.lines[other].removed is None:
                self.lines[other] = replace(self.lines[other], removed=Standing.REPLACED, replaced_by=line.number)

    def _successor(self, line: Line) -> int | None:
        """The line that counts in this one's place now, at the end of a chain of corrections."""
        seen: set[int] = set()
        while line.replaced_by is not None and line.replaced_by not in seen:
            seen.add(line.replaced_by)
            index = self.line_of[line.replaced_by]
            line = self.lines[index]
            if line.removed is None:
                return index
        return None

    def _corrected_by(self, line: Line) -> int | None:
        """The line that this one was called to correct."""
        refers = line.entry.refers or 0
        is_correction = line.entry.kind is EntryKind.CORRECTED and refers < line.number
        return self.line_of.get(refers) if is_correction else None
