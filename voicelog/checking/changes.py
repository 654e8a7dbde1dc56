"""What changed since the previous record, the most important first."""

from decimal import Decimal
from typing import Literal

from voicelog.checking.naming import sign
from voicelog.checking.previous import AT_VOLTAGE, PreviousRecord, PreviousRow
from voicelog.checking.record import Record, figure, last_of_each
from voicelog.checking.slips import same_digits, slip_between
from voicelog.checking.weighing import nearest, plain
from voicelog.installation import Circuit, Sheet
from voicelog.model import Noun, Number, Place, Reading, Value

Kind = Literal["slip", "supply", "device", "worse", "circuit", "points", "name", "reading"]
RANKS: tuple[Kind, ...] = ("slip", "supply", "device", "worse", "circuit", "points", "name", "reading")
HIGH_IS_GOOD = ("ir_ll", "ir_le", "ir_ne", "ir_lne")
VOLATILE = (
    *HIGH_IS_GOOD,
    "earth_leakage",
    "earth_leakage_dc",
    "rcd_time",
    "rcd_ramp",
    "bonding",
)  # tenfold can be real
NOTEWORTHY = Decimal("0.25")  # a change of a reading smaller than this goes unmentioned (common practice)
WORSE = Decimal(2)  # a reading that is this many times worse stands out
# The least value on old records (Table 71A, a public page; up to BS 7671:2008, from memory), and since (Table 64).
SUPERSEDED_MOHM = (Decimal("0.5"), Decimal("1.0"))


class Change(Noun):
    """One difference between then and now."""

    kind: Kind
    place: Place
    then: str
    now: str
    sentence: str
    weight: Decimal = Decimal(1)  # within a kind: how many times different


def compare(previous: PreviousRecord, sheet: Sheet, record: Record) -> tuple[Change, ...]:
    """Every difference worth a look, ranked as in RANKS, the most important first."""
    found = [*_supply(previous, sheet), *_circuits(previous, sheet), *_readings(previous, record)]
    return tuple(sorted(found, key=lambda change: (RANKS.index(change.kind), -change.weight)))


# ---------------------------------------------------------------- facts


def _supply(previous: PreviousRecord, sheet: Sheet) -> list[Change]:
    now = sheet.supply.main_fuse_A
    found = []
    for board in sheet.boards:
        place = Place(board=board.reference)
        then = previous.fact(place, "main_fuse_A")
        if then and now is not None and Decimal(then) != now:
            said = f"Main fuse: {then} A on the last record, {plain(now)} A now"
            found.append(Change(kind="supply", place=place, then=then, now=plain(now), sentence=said))
    return found


def _circuits(previous: PreviousRecord, sheet: Sheet) -> list[Change]:
    found: list[Change] = []
    places = set()
    for board in sheet.boards:
        for circuit in board.circuits:
            place = Place(board=board.reference, circuit=circuit.number)
            places.add(place.key)
            row = previous.at(place)
            found += _one_circuit(circuit, row, sheet, place) if row else [_new(circuit, place)]
    gone = [row for row in previous.rows if row.place.circuit and row.place.key not in places]
    return found + [_gone(row) for row in gone]


def _new(circuit: Circuit, place: Place) -> Change:
    said = f"{place.key} ({circuit.name or 'no name'}) is not on the last record"
    return Change(kind="circuit", place=place, then="", now=circuit.name, sentence=said)


def _gone(row: PreviousRow) -> Change:
    said = f"{row.place.key} ({row.name or 'no name'}) is on the last record and not on the sheet"
    return Change(kind="circuit", place=row.place, then=row.name, now="", sentence=said)


def _one_circuit(circuit: Circuit, row: PreviousRow, sheet: Sheet, place: Place) -> list[Change]:
    found = [_fact(kind, label, row.facts.get(column, ""), now, place) for kind, label, column, now in _facts(circuit)]
    rcd = sheet.rcd(place)
    if rcd is not None:
        found.append(
            _fact("device", "RCD rating in mA", row.facts.get("rcd_mA", ""), rcd.rated_residual_current_mA, place)
        )
        found.append(_fact("device", "RCD type", row.facts.get("rcd_type", ""), rcd.type, place))
    found.append(_fact("name", "name", row.name, circuit.name or None, place))
    return [change for change in found if change is not None]


def _facts(circuit: Circuit) -> tuple[tuple[Kind, str, str, Decimal | str | None], ...]:
    device, cable = circuit.device, circuit.cable
    points = Decimal(circuit.points) if circuit.points is not None else None
    return (
        ("device", "device type", "device_type", (device.type or None) if device else None),
        ("device", "device rating in A", "device_A", device.rating_A if device else None),
        ("device", "device standard", "device_standard", device.standard if device else None),
        ("device", "breaking capacity in kA", "breaking_kA", device.breaking_capacity_kA if device else None),
        ("device", "line conductor in mm2", "line_mm2", cable.line_mm2 if cable else None),
        ("device", "protective conductor in mm2", "cpc_mm2", cable.cpc_mm2 if cable else None),
        ("points", "number of points", "points", points),
    )


def _fact(kind: Kind, label: str, then: str, now: Decimal | str | None, place: Place) -> Change | None:
    """A change when both are known and differ; figures by value, words without regard to case."""
    if not then or now is None:
        return None
    same = Decimal(then) == now if isinstance(now, Decimal) else then.casefold() == now.casefold()
    if same:
        return None
    text = plain(now) if isinstance(now, Decimal) else now
    name, _, unit = label.partition(" in ")
    before, after = f"{then} {unit}".strip(), f"{text} {unit}".strip()
    said = f"{place.key}: {name} {before} on the last record, {after} now"
    return Change(kind=kind, place=place, then=then, now=text, sentence=said)


# ---------------------------------------------------------------- readings


def _readings(previous: PreviousRecord, record: Record) -> list[Change]:
    pairs = [(previous.reading(r.place, r.quantity, r.conditions), r) for r in last_of_each(record)]
    found = [_reading(then, now) for then, now in pairs if then is not None]
    return [change for change in found if change is not None]


def _reading(then: Reading, now: Reading) -> Change | None:
    before, after = figure(then, then.unit), figure(now, then.unit)
    if before is None or after is None:
        return _word(then, now)
    if before <= 0 or after <= 0 or before == after:
        return None
    slip = slip_between(after, before)
    if slip and (then.quantity not in VOLATILE or same_digits(after, before)):
        return _change(
            "slip", then, now, f"{slip.sentence}, now or then; measure again", max(after / before, before / after)
        )
    return _drift(then, now, before, after)


def _drift(then: Reading, now: Reading, before: Decimal, after: Decimal) -> Change | None:
    times = before / after if then.quantity in HIGH_IS_GOOD else after / before
    if abs(after / before - 1) < NOTEWORTHY:
        return None
    if times >= WORSE:
        return _change("worse", then, now, f"{plain(nearest(times, 1))} times worse{_old_limit(then, before)}", times)
    return _change("reading", then, now, "changed", max(times, 1 / times))


def _old_limit(then: Reading, before: Decimal) -> str:
    low, high = SUPERSEDED_MOHM
    old = then.quantity in HIGH_IS_GOOD and low <= before < high
    return f"; {plain(low)} Mohm passed on old records, {plain(high)} is needed now" if old else ""


def _word(then: Reading, now: Reading) -> Change | None:
    """A word then or now: a change when the kind of answer is another."""
    numbers = isinstance(then.value, Number) and isinstance(now.value, Number)
    if numbers or shown(then.value) == shown(now.value):
        return None
    return _change("reading", then, now, "another kind of answer", Decimal(1))


def _change(kind: Kind, then: Reading, now: Reading, what: str, weight: Decimal) -> Change:
    before, after = _told(then, now), _told(now, then)
    said = f"{now.place.key} {sign(now.quantity)}: {before} on the last record, {after} now: {what}"
    return Change(kind=kind, place=now.place, then=before, now=after, sentence=said, weight=weight)


def _told(reading: Reading, other: Reading) -> str:
    """A value with its unit, and with its test voltage where the other was taken at another one."""
    volts, others = reading.conditions.get(AT_VOLTAGE), other.conditions.get(AT_VOLTAGE)
    apart = volts and others and Decimal(volts) != Decimal(others)
    return f"{shown(reading.value)} {reading.unit}".strip() + (f" at {plain(Decimal(volts))} V" if apart else "")


def shown(value: Value) -> str:
    """A value as a person writes it."""
    if isinstance(value, Number):
        sign = "" if value.comparison.value == "=" else f"{value.comparison.value} "
        return f"{sign}{plain(value.figure)}"
    return getattr(value, "word", value.kind).replace("_", " ")
