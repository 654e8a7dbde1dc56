"""Look things up among the readings that stand. The last one of a kind counts."""

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal
from functools import cached_property

from voicelog.checking.naming import sign
from voicelog.checking.units import convert
from voicelog.model import Comparison, Noun, Number, Place, Reading
from voicelog.reasons import RETEST, unplugged_by

Record = Sequence[Reading]  # the readings that stand, in the order they were taken


class Readings(tuple[Reading, ...]):
    """A record in which looking up does not take longer the longer it is."""

    @cached_property
    def spots(self) -> dict[tuple[str, Place], list[Reading]]:
        """The readings of each quantity at each place, in order."""
        found: dict[tuple[str, Place], list[Reading]] = {}
        for reading in self:
            found.setdefault((reading.quantity, reading.place), []).append(reading)
        return found


def at(record: Record, place: Place, *quantities: str) -> list[Reading]:
    """Every reading of some quantities at a place, quantity by quantity."""
    if isinstance(record, Readings):
        return [reading for quantity in quantities for reading in record.spots.get((quantity, place), ())]
    return [r for quantity in quantities for r in record if r.quantity == quantity and r.place == place]


def latest(record: Record, quantity: str, place: Place, **conditions: str) -> Reading | None:
    """The last reading of a quantity at a place under the named conditions, or None."""
    return next((r for r in reversed(at(record, place, quantity)) if _under(r, conditions)), None)


def figure(reading: Reading | None, unit: str) -> Decimal | None:
    """The plain figure of a reading in ``unit``; None without a reading or for >, <, over range and words."""
    if reading is None or not isinstance(reading.value, Number) or reading.value.comparison is not Comparison.EQUAL:
        return None
    return convert(reading.value.figure, reading.unit, unit)


def latest_figure(record: Record, quantity: str, place: Place, unit: str, **conditions: str) -> Decimal | None:
    """Plain figure of the last reading of a kind, or None."""
    return figure(latest(record, quantity, place, **conditions), unit)


def last_of_each(record: Record) -> tuple[Reading, ...]:
    """One reading for each place, quantity and condition: the last."""
    kept = {(r.place, r.quantity, tuple(sorted(r.conditions.items()))): r for r in record}
    return tuple(kept.values())


def _under(reading: Reading, conditions: dict[str, str]) -> bool:
    return all(reading.conditions.get(key) == value for key, value in conditions.items())


class Taken(Noun):
    """A reading that stands, with when, why and by which journal entry it came: what a diagnosis cites."""

    reading: Reading
    at: datetime | None = None  # aware, UTC
    reason: str = ""  # "unplugged the tea urn"
    entry: int | None = None  # number in the journal
    watch: int | None = None  # number of the first entry of the watch that it belongs to

    @property
    def unplugged(self) -> tuple[str, ...]:
        """What was unplugged while it was taken."""
        return unplugged_by(self.reason)

    @property
    def explained(self) -> str:
        """What may explain that it differs from the one before; that it was taken again explains nothing."""
        return "" if self.reason == RETEST else self.reason

    @property
    def origin(self) -> str:
        """Where a figure comes from, in a few words: ``DB1/5 I leak, entry 12``."""
        number = f", entry {self.entry}" if self.entry is not None else ""
        return f"{self.reading.place.key} {sign(self.reading.quantity)}{number}"


def as_found(taken: Sequence[Taken]) -> Readings:
    """The readings that were taken with everything connected."""
    return Readings(one.reading for one in taken if not one.unplugged)
