"""One section of a diagnosis each: functions from the readings that stand to statements with their origins.

Every statement names the readings it rests on, so that it can be looked up and heard again.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from itertools import pairwise

from voicelog.checking.appliances import appliances
from voicelog.checking.changes import compare, shown
from voicelog.checking.culprits import Blame, Evidence, blame
from voicelog.checking.edition import Edition
from voicelog.checking.insulation import QUANTITIES, USUAL_ACCURACY, in_parallel, short, unplugged_item
from voicelog.checking.leakage import headroom, parts_mA, remainder_bounds, whole_against_parts
from voicelog.checking.loop import LoopLimit, origin_ohm, permitted_zs, predicted_zs
from voicelog.checking.outcome import suggest
from voicelog.checking.previous import PreviousRecord
from voicelog.checking.rcd_sequence import Assessment, Trial, assess
from voicelog.checking.record import Taken, figure, last_of_each, latest_figure
from voicelog.checking.rings import LEGS, Ends, assess_ends, ends_of, open_legs, step2_ohm, step3_range_ohm
from voicelog.checking.trend import Arrival, Slope, plateau, slope, time_to
from voicelog.checking.units import convert
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown, nearest, plain, trimmed
from voicelog.installation import Board, Circuit, Rcd, Sheet
from voicelog.model import Noun, Number, Outcome, Place, Reading, Verdict

TO_EARTH = ("ir_le", "ir_ne", "ir_lne")
TESTERS = ("insulation", "multifunction")  # kinds of instrument that measure insulation
ADDED_LOAD = "computer, printer or the like"  # the load that "one more" is told for
APART_OHM, APART = (
    Decimal("0.10"),
    Decimal("0.20"),
)  # Zs against its prediction: what goes unmentioned (common practice)


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
    def record(self) -> tuple[Reading, ...]:
        return tuple(taken.reading for taken in self.taken)

    @cached_property
    def as_found(self) -> tuple[Reading, ...]:
        """The readings that were taken with everything connected."""
        return tuple(taken.reading for taken in self.taken if not taken.reason.startswith("unplugged"))

    @cached_property
    def current(self) -> tuple[Reading, ...]:
        """The last reading of each kind."""
        return last_of_each(self.record)

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
        return self.origins(*(r for r in self.current if r.place == place and r.quantity in quantities))


def name_of(board: Board, number: str) -> str:
    """``circuit 5 (sockets, ground floor)``; an RCD's reference stays as it is."""
    circuit = next((c for c in board.circuits if c.number == number), None)
    if circuit is None:
        return number
    return f"circuit {number} ({circuit.name})" if circuit.name else f"circuit {number}"


def capital(sentence: str) -> str:
    return f"{sentence[:1].upper()}{sentence[1:]}"


# ---------------------------------------------------------------- leakage


def rcds_of(findings: Findings) -> Iterator[tuple[Board, Rcd]]:
    return ((board, rcd) for board in findings.sheet.boards for rcd in board.rcds)


def evidence(findings: Findings, board: Board, rcd: Rcd) -> Evidence:
    """What was read behind one RCD as it was found, before anything was unplugged; its circuits by name."""
    record, place = findings.as_found, Place(board=board.reference, rcd=rcd.reference)
    parts = parts_mA(record, board, rcd)
    return Evidence(
        rcd=rcd,
        parts_mA={name_of(board, number): leak for number, leak in parts.items()},
        whole_mA=latest_figure(record, "earth_leakage", place, "mA"),
        insulation_Mohm=_insulation_behind(findings, board, rcd),
        ramp_mA=latest_figure(record, "rcd_ramp", place, "mA"),
    )


def _insulation_behind(findings: Findings, board: Board, rcd: Rcd) -> dict[str, Decimal]:
    places = {
        name_of(board, c.number): Place(board=board.reference, circuit=c.number) for c in board.behind(rcd.reference)
    }
    places[rcd.reference] = Place(board=board.reference, rcd=rcd.reference)
    found = {name: _least_to_earth(findings, place) for name, place in places.items()}
    return {name: value for name, value in found.items() if value is not None}


def _least_to_earth(findings: Findings, place: Place) -> Decimal | None:
    readings = last_of_each([r for r in findings.as_found if r.place == place and r.quantity in TO_EARTH])
    figures = [figure(reading, "Mohm") for reading in readings]
    return min((value for value in figures if value is not None), default=None)


def blames(findings: Findings) -> Iterator[tuple[Board, Rcd, Blame]]:
    """The verdict on every RCD."""
    for board, rcd in rcds_of(findings):
        yield board, rcd, blame(evidence(findings, board, rcd), findings.edition)


def leakage_section(findings: Findings) -> Section:
    """Every RCD: who is to blame, and what is left of its budget."""
    said: list[Statement] = []
    for board, rcd, found in blames(findings):
        if found.kind == "cannot tell":
            continue
        origins = _leakage_origins(findings, board, rcd)
        state = " as it was found" if len(findings.as_found) < len(findings.record) else ""
        said.append(Statement(text=f"{board.reference} {rcd.reference}{state}: {found.kind}.", origins=origins))
        said += [Statement(text=f"{capital(sentence)}.", origins=origins) for sentence in found.sentences]
        said += _room_left(findings, board, rcd)
    return Section(title="Earth leakage by RCD", statements=(*said, *_tails(findings)))


def _leakage_origins(findings: Findings, board: Board, rcd: Rcd) -> tuple[str, ...]:
    places = [Place(board=board.reference, rcd=rcd.reference)]
    places += [Place(board=board.reference, circuit=c.number) for c in board.behind(rcd.reference)]
    wanted = ("earth_leakage", "rcd_ramp", *TO_EARTH)
    return findings.origins(*last_of_each([r for r in findings.as_found if r.place in places and r.quantity in wanted]))


def _room_left(findings: Findings, board: Board, rcd: Rcd) -> list[Statement]:
    parts = parts_mA(findings.as_found, board, rcd)
    if not parts:
        return []
    load = appliances()[ADDED_LOAD]
    room = headroom(rcd, parts.values(), findings.edition, load.at_most_mA)
    left = f"{trimmed(abs(room.left_mA))} mA {'left of' if room.left_mA >= 0 else 'over'} its budget"
    fits = "would still fit" if room.fits else "would not fit"
    text = f"{rcd.reference} has {left}; one more {load.kind} of up to {trimmed(load.at_most_mA)} mA {fits}."
    return [Statement(text=text, origins=(load.origin,))]


def _tails(findings: Findings) -> Iterator[Statement]:
    """The tails of each board against all its circuits."""
    for board in findings.sheet.boards:
        place = Place(board=board.reference)
        whole = latest_figure(findings.as_found, "earth_leakage", place, "mA")
        circuits = [Place(board=board.reference, circuit=c.number) for c in board.circuits]
        parts = [latest_figure(findings.as_found, "earth_leakage", c, "mA") for c in circuits]
        known = tuple(part for part in parts if part is not None)
        if whole is not None and known:
            text = f"Tails of {board.reference}: {whole_against_parts(whole, known).sentence}."
            yield Statement(text=text, origins=findings.of(place, "earth_leakage"))


# ---------------------------------------------------------------- insulation, and what was unplugged


def insulation_section(findings: Findings) -> Section:
    """What fails or is low, what unplugging showed, and boards against their circuits in parallel."""
    low = [
        Statement(
            text=f"{r.place.key} {r.quantity}: {shown(r.value)} {r.unit}. {v.sentence}", origins=findings.origins(r)
        )
        for r, v in findings.verdicts
        if r.quantity in QUANTITIES and v.outcome in (Outcome.FAIL, Outcome.MARGINAL)
    ]
    return Section(title="Insulation", statements=(*low, *_unplugged(findings), *_boards_in_parallel(findings)))


def _unplugged(findings: Findings) -> Iterator[Statement]:
    """Each pair of readings between which something of the circuit was unplugged."""
    for chain in _chains(findings).values():
        for before, after in pairwise(chain):
            item = after.reason.removeprefix("unplugged").strip()
            new = after.reason.startswith("unplugged") and before.reason != after.reason
            if new and _belongs(item, after.reading.place, findings.sheet):
                text = f"{after.reading.place.key}, {_item(before.reading, after.reading, item, findings.sheet)}"
                yield Statement(text=text, origins=(before.origin, after.origin))


def _belongs(item: str, place: Place, sheet: Sheet) -> bool:
    """Whether an item can matter at a place: not when the sheet lists it under another circuit."""
    owners = [(b.reference, c.number) for b in sheet.boards for c in b.circuits if item in c.items]
    return not place.circuit or not owners or (place.board, place.circuit) in owners


def _chains(findings: Findings) -> dict[tuple, list[Taken]]:
    """Takings of the same quantity at the same place and conditions, in order."""
    chains: dict[tuple, list[Taken]] = {}
    for taken in findings.taken:
        r = taken.reading
        chains.setdefault((r.place.key, r.quantity, tuple(sorted(r.conditions.items()))), []).append(taken)
    return chains


def _item(before: Reading, after: Reading, name: str, sheet: Sheet) -> str:
    with_it, without = (f"{shown(r.value)} {r.unit}" for r in (before, after))
    opening = f"{name}: {with_it} with it, {without} without"
    if before.quantity in QUANTITIES:
        return f"{opening}. {_item_resistance(before, after, sheet)}."
    then, now = figure(before, before.unit), figure(after, before.unit)
    if before.quantity != "earth_leakage" or then is None or now is None or now > then:
        return f"{opening}."
    bounds = remainder_bounds(then, (now,))
    return (
        f"{opening}. It took {short(bounds.least_mA)} to {short(bounds.most_mA)} {before.unit} with it (phasor bounds)."
    )


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
        parts = [_least_to_earth(findings, Place(board=board.reference, circuit=c.number)) for c in board.circuits]
        known = [part for part in parts if part]
        if whole is not None and known:
            text = (
                f"{board.reference} as a whole reads {plain(whole)} Mohm; its {len(known)} measured circuits in "
                f"parallel give {short(in_parallel(known))} Mohm."
            )
            yield Statement(text=text, origins=findings.of(place, "ir_lne"))


# ---------------------------------------------------------------- RCDs


def sequences(findings: Findings) -> Iterator[tuple[Board, Rcd, Assessment, tuple[str, ...]]]:
    """Every RCD that was tested: what its tests say together."""
    for board, rcd in rcds_of(findings):
        places = [Place(board=board.reference, rcd=rcd.reference)]
        places += [Place(board=board.reference, circuit=c.number) for c in board.behind(rcd.reference)]
        readings = [
            r for r in findings.current if r.place in places and r.quantity in ("rcd_time", "rcd_ramp", "test_button")
        ]
        trials = tuple(
            Trial(reading=r, verdict=judge(r, findings.sheet, findings.edition, findings.record)) for r in readings
        )
        if trials:
            standing, dc = _standing(findings, board, rcd), _dc(findings, board, rcd)
            yield board, rcd, assess(trials, rcd, findings.edition, standing, dc), findings.origins(*readings)


def _standing(findings: Findings, board: Board, rcd: Rcd) -> Decimal | None:
    found = evidence(findings, board, rcd)
    return found.total_mA if found.parts_mA or found.whole_mA is not None else None


def _dc(findings: Findings, board: Board, rcd: Rcd) -> Decimal | None:
    return latest_figure(findings.record, "earth_leakage_dc", Place(board=board.reference, rcd=rcd.reference), "mA")


def rcd_section(findings: Findings) -> Section:
    """What each device's tests say together, and whether a failure may be a false one."""
    said = []
    for board, rcd, found, origins in sequences(findings):
        suspicion = f", perhaps a {found.suspected}" if found.suspected == "false failure" else ""
        opening = f"{board.reference} {rcd.reference}: {found.outcome.value}{suspicion}."
        said += [Statement(text=text, origins=origins) for text in (opening, *(f"{f}." for f in found.findings))]
    return Section(title="RCD tests", statements=tuple(said))


# ---------------------------------------------------------------- loops and rings


def loop_section(findings: Findings) -> Section:
    """Zs that failed or runs close, and Zs that does not agree with Ze + (R1+R2)."""
    tight = [
        Statement(text=f"{r.place.key}: Zs {shown(r.value)} {r.unit}. {v.sentence}", origins=findings.origins(r))
        for r, v in findings.verdicts
        if r.quantity == "zs" and v.outcome in (Outcome.FAIL, Outcome.MARGINAL)
    ]
    places = [(board, circuit) for board in findings.sheet.boards for circuit in board.circuits]
    apart = [statement for board, circuit in places for statement in _zs_against_sum(findings, board, circuit)]
    return Section(title="Loop impedance", statements=(*tight, *apart))


def _zs_against_sum(findings: Findings, board: Board, circuit: Circuit) -> list[Statement]:
    place, record = Place(board=board.reference, circuit=circuit.number), findings.record
    upstream = origin_ohm(board, findings.sheet, record)
    zs, r1_r2 = latest_figure(record, "zs", place, "ohm"), latest_figure(record, "r1_r2", place, "ohm")
    if isinstance(upstream, Unknown) or zs is None or r1_r2 is None:
        return []
    computed = predicted_zs(upstream, r1_r2)
    if abs(zs - computed) <= max(APART_OHM, computed * APART):
        return []
    cause = "parallel paths to earth" if zs < computed else "a joint that warms, or a poor grip of the probes"
    reckoned = f"{plain(computed)} ohm from {plain(upstream)} + {plain(r1_r2)}"
    text = f"{place.key}: Zs {plain(zs)} ohm measured, {reckoned}: {cause}."
    return [
        Statement(text=f"{text} {_headroom(circuit, zs, findings)}".strip(), origins=findings.of(place, "zs", "r1_r2"))
    ]


def _headroom(circuit: Circuit, zs: Decimal, findings: Findings) -> str:
    limit = permitted_zs(circuit, findings.sheet, findings.edition)
    if not isinstance(limit, LoopLimit):
        return ""
    return f"{plain(limit.measured_ohm - zs)} ohm remain to the limit of {plain(limit.measured_ohm)}."


def ring_section(findings: Findings) -> Section:
    """Each ring whose ends were measured."""
    said: list[Statement] = []
    for board in findings.sheet.boards:
        for circuit in board.circuits:
            place = Place(board=board.reference, circuit=circuit.number)
            said += _ring(findings, circuit, place)
    return Section(title="Ring final circuits", statements=tuple(said))


def _ring(findings: Findings, circuit: Circuit, place: Place) -> list[Statement]:
    origins = findings.of(place, *LEGS)
    broken = open_legs(findings.current, place)
    if broken:
        return [Statement(text=f"{place.key}: open circuit in the {' and the '.join(broken)}.", origins=origins)]
    ends = ends_of(findings.record, place)
    if isinstance(ends, Unknown):
        return []
    outcome, said = assess_ends(ends, circuit.cable, findings.edition)
    texts = [f"{place.key}: {outcome.value}. {'. '.join(said)}.", _steps(ends)]
    return [Statement(text=text, origins=origins) for text in texts]


def _steps(ends: Ends) -> str:
    step2 = f"Every point should read {plain(nearest(step2_ohm(ends.r1, ends.rn)))} ohm with line and neutral crossed"
    if ends.r2 is None:
        return f"{step2}."
    low, high = step3_range_ohm(ends.r1, ends.r2)
    return f"{step2}, {plain(nearest(low))} to {plain(nearest(high))} ohm with line and protective conductor crossed."


# ---------------------------------------------------------------- time, the last record, observations


def trend_section(findings: Findings) -> Section:
    """Quantities read four times or more: which way they move, and whether they have settled."""
    said = [_trend(chain, findings) for chain in _chains(findings).values()]
    return Section(title="Over time", statements=tuple(statement for statement in said if statement is not None))


def _trend(chain: Sequence[Taken], findings: Findings) -> Statement | None:
    timed = [(t.at, figure(t.reading, chain[0].reading.unit), t) for t in chain]
    usable = [(at, float(value), t) for at, value, t in timed if at is not None and value is not None]
    if len(usable) < 4:
        return None
    times = [(at - usable[0][0]).total_seconds() for at, _, _ in usable]
    values = [value for _, value, _ in usable]
    found = slope(times, values)
    if isinstance(found, Unknown):
        return None
    reading = usable[-1][2].reading
    text = f"{reading.place.key} {reading.quantity}: {_slope_words(found, reading, times, values, findings)}"
    return Statement(text=text, origins=tuple(t.origin for _, _, t in usable))


def _slope_words(
    found: Slope, reading: Reading, times: Sequence[float], values: Sequence[float], findings: Findings
) -> str:
    unit, resolution = reading.unit, float(Decimal(1).scaleb(reading.value.figure.as_tuple().exponent))
    interval = f"({found.low:+.3g} to {found.high:+.3g})"
    moved = f"{found.per_minute:+.3g} {unit} a minute {interval} over {found.readings} readings"
    if plateau(times, values, resolution):
        return f"{moved}; it has settled at about {values[-1]:g} {unit}."
    limit = judge(reading, findings.sheet, findings.edition, findings.record)
    if limit.limit is None:
        return f"{moved}."
    arrival = time_to(float(convert(limit.limit, limit.unit, unit)), found)
    if not isinstance(arrival, Arrival):
        return f"{moved}; it does not clearly move toward its limit."
    return (
        f"{moved}; at this rate it reaches its limit in {arrival.minutes:.0f} minutes (soonest {arrival.soonest:.0f})."
    )


def previous_section(findings: Findings) -> Section:
    """The differences from the last record, the most important first."""
    if findings.previous is None:
        return Section(title="Against the last record", statements=())
    origin = (findings.previous.source,)
    changes = compare(findings.previous, findings.sheet, findings.record)
    return Section(
        title="Against the last record",
        statements=tuple(Statement(text=f"{change.sentence}.", origins=origin) for change in changes),
    )


def observation_section(findings: Findings) -> Section:
    """Suggested observations, for a qualified person to take or leave."""
    said = []
    for reading, verdict in findings.verdicts:
        suggestion = suggest(reading, verdict)
        if suggestion is not None:
            text = f"{suggestion.code}, {suggestion.place.key}: {suggestion.words}. Found {suggestion.why}"
            said.append(Statement(text=text, origins=(*findings.origins(reading), verdict.source)))
    return Section(title="Suggested observations", statements=tuple(said))
