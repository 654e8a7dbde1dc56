"""Insulation: what is low, what unplugging showed, boards against their circuits in parallel."""

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from voicelog.checking.changes import shown
from voicelog.checking.explaining.findings import Findings, Section, Statement, capital, chains, least_to_earth_Mohm
from voicelog.checking.insulation import QUANTITIES, USUAL_ACCURACY, in_parallel, short, unplugged_item
from voicelog.checking.leakage import remainder_bounds
from voicelog.checking.naming import sign
from voicelog.checking.record import Taken, figure, latest_figure
from voicelog.checking.units import convert
from voicelog.checking.weighing import Unknown, plain, trimmed
from voicelog.installation import Sheet
from voicelog.model import Number, Outcome, Place, Reading

MOSTLY = 2  # times as good without an item as with it
TESTERS = ("insulation", "multifunction")  # kinds of instrument that measure insulation


def insulation_section(findings: Findings) -> Section:
    """What fails or is low, what unplugging showed, and boards against their circuits in parallel."""
    low = [
        Statement(
            text=f"{r.place.key} {sign(r.quantity)}: {shown(r.value)} {r.unit}. {v.sentence}",
            origins=findings.origins(r),
        )
        for r, v in findings.verdicts
        if r.quantity in QUANTITIES and v.outcome in (Outcome.FAIL, Outcome.MARGINAL)
    ]
    return Section(title="Insulation", statements=(*low, *_unplugged(findings), *_boards_in_parallel(findings)))


def _unplugged(findings: Findings) -> Iterator[Statement]:
    for item, before, after in unplugged_pairs(findings):
        text = f"{after.reading.place.key}, {_item(before.reading, after.reading, item, findings.sheet)}"
        yield Statement(text=text, origins=(before.origin, after.origin))


def unplugged_pairs(findings: Findings) -> Iterator[tuple[str, Taken, Taken]]:
    """Each pair of readings between which something of the circuit was unplugged, after its name."""
    for chain in chains(findings).values():
        for before, after in pairwise(chain):
            added = [item for item in after.unplugged if item not in before.unplugged]
            alike = all(
                item in after.unplugged for item in before.unplugged
            )  # else two things differ, and either did it
            if alike and len(added) == 1 and _belongs(added[0], after.reading.place, findings.sheet):
                yield added[0], before, after


def mostly_to_blame(before: Reading, after: Reading) -> bool:
    """Whether what was unplugged took at least half of the current to earth: less proves nothing against it."""
    if not _numbers(before, after):
        return False
    if before.quantity in QUANTITIES:
        low, high = _in_unit(before, "Mohm").figure, _in_unit(after, "Mohm").figure
        return high > low and high >= MOSTLY * low
    if before.quantity != "earth_leakage":
        return False
    more, less = _in_unit(before, "mA").figure, _in_unit(after, "mA").figure
    return less < more and MOSTLY * less <= more


def _belongs(item: str, place: Place, sheet: Sheet) -> bool:
    """Whether an item can matter at a place: not when the sheet lists it under another circuit."""
    owners = [(b.reference, c.number) for b in sheet.boards for c in b.circuits if item in c.items]
    return not place.circuit or not owners or (place.board, place.circuit) in owners


def _item(before: Reading, after: Reading, name: str, sheet: Sheet) -> str:
    with_it, without = (f"{shown(r.value)} {r.unit}" for r in (before, after))
    opening = f"{name}: {with_it} with it, {without} without"
    if before.quantity in QUANTITIES:
        return f"{opening}. {_item_resistance(before, after, sheet)}."
    if before.quantity != "earth_leakage":
        return f"{opening}."
    then, now = figure(before, "mA"), figure(after, "mA")
    if then is None or now is None or now > then:
        return f"{opening}."
    bounds = remainder_bounds(then, (now,))
    return f"{opening}. It took {short(bounds.least_mA)} to {short(bounds.most_mA)} mA with it (phasor bounds)."


def _item_resistance(before: Reading, after: Reading, sheet: Sheet) -> str:
    if not _numbers(before, after):
        return "The readings are no figures"
    accuracy, source = _accuracy(sheet)
    found = unplugged_item(_in_unit(before, "Mohm"), _in_unit(after, "Mohm"), accuracy)
    return capital(found.why) if isinstance(found, Unknown) else f"{found.sentence}, with {source}"


def _accuracy(sheet: Sheet) -> tuple[Decimal, str]:
    """The accuracy of the instrument that tests insulation, as a part of the reading, and where it comes from."""
    stated = [i for i in sheet.instruments if i.kind in TESTERS and i.accuracy_percent is not None]
    if not stated:
        return USUAL_ACCURACY, f"{trimmed(USUAL_ACCURACY * 100)} % of reading (BS EN 61557-2, from memory)"
    worst = max(stated, key=lambda instrument: instrument.accuracy_percent)
    return worst.accuracy_percent / 100, f"{trimmed(worst.accuracy_percent)} % of reading as the sheet states"


def _numbers(*readings: Reading) -> bool:
    return all(isinstance(reading.value, Number) for reading in readings)


def _in_unit(reading: Reading, unit: str) -> Number:
    return reading.value.model_copy(update={"figure": convert(reading.value.figure, reading.unit, unit)})


def _boards_in_parallel(findings: Findings) -> Iterator[Statement]:
    """A whole board (live conductors linked) against what its circuits give in parallel."""
    for board in findings.sheet.boards:
        place = Place(board=board.reference)
        whole = latest_figure(findings.record, "ir_lne", place, "Mohm")
        parts = [
            least_to_earth_Mohm(findings.as_found, Place(board=board.reference, circuit=c.number))
            for c in board.circuits
        ]
        known = [part for part in parts if part is not None]
        if whole is not None and known:
            text = (
                f"{board.reference} as a whole reads {plain(whole)} Mohm; its {len(known)} measured circuits in "
                f"parallel give {short(in_parallel(known))} Mohm."
            )
            yield Statement(text=text, origins=findings.of(place, "ir_lne"))
