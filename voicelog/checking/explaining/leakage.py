"""Earth leakage by RCD: who is to blame, what is left of the budget, the tails against the circuits."""

from collections.abc import Iterator
from decimal import Decimal

from voicelog.checking.appliances import appliances
from voicelog.checking.culprits import Blame, Evidence, blame
from voicelog.checking.explaining.findings import (
    TO_EARTH,
    Findings,
    Section,
    Statement,
    capital,
    least_to_earth_Mohm,
    name_of,
)
from voicelog.checking.leakage import headroom, parts_mA, whole_against_parts
from voicelog.checking.record import Record, at, figure, last_of_each, latest, latest_figure
from voicelog.checking.weighing import trimmed
from voicelog.installation import Board, Rcd
from voicelog.model import Place

ADDED_LOAD = "computer, printer or the like"  # the load that "one more" is told for


def rcds_of(findings: Findings) -> Iterator[tuple[Board, Rcd]]:
    return ((board, rcd) for board in findings.sheet.boards for rcd in board.rcds)


def evidence(findings: Findings, board: Board, rcd: Rcd, record: Record | None = None) -> Evidence:
    """What was read behind one RCD, as it was found unless a record is given; its circuits by name."""
    record = findings.as_found if record is None else record
    place = Place(board=board.reference, rcd=rcd.reference)
    parts = parts_mA(record, board, rcd)
    return Evidence(
        rcd=rcd,
        parts_mA={name_of(board, number): leak for number, leak in parts.items()},
        whole_mA=latest_figure(record, "earth_leakage", place, "mA"),
        insulation_Mohm=_insulation_behind(record, board, rcd),
        ramp_mA=latest_figure(record, "rcd_ramp", place, "mA"),
        voltage_V=findings.sheet.supply.nominal_voltage_V,
    )


def _insulation_behind(record: Record, board: Board, rcd: Rcd) -> dict[str, Decimal]:
    places = {
        name_of(board, c.number): Place(board=board.reference, circuit=c.number) for c in board.behind(rcd.reference)
    }
    places[rcd.reference] = Place(board=board.reference, rcd=rcd.reference)
    found = {name: least_to_earth_Mohm(record, place) for name, place in places.items()}
    return {name: value for name, value in found.items() if value is not None}


def blames(findings: Findings) -> Iterator[tuple[Board, Rcd, Blame]]:
    """The verdict on every RCD."""
    for board, rcd in rcds_of(findings):
        yield board, rcd, blame(evidence(findings, board, rcd), findings.edition)


def found_already(findings: Findings, board: Board, rcd: Rcd) -> bool:
    """Whether nothing behind it reads low any more, now that something is unplugged: the fault was in that."""
    return blame(evidence(findings, board, rcd, findings.record), findings.edition).kind != "insulation fault"


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
    return findings.origins(*last_of_each([r for place in places for r in at(findings.as_found, place, *wanted)]))


def _room_left(findings: Findings, board: Board, rcd: Rcd) -> list[Statement]:
    """By the total that the verdict itself goes by: what was read at the device, else the sum of its circuits."""
    found = evidence(findings, board, rcd)
    if not found.parts_mA and found.whole_mA is None:
        return []
    load = appliances()[ADDED_LOAD]
    room = headroom(rcd, (found.total_mA,), findings.edition, load.at_most_mA)
    apart = trimmed(abs(room.left_mA))
    left = f"has {apart} mA left of its budget" if room.left_mA >= 0 else f"is {apart} mA over its budget"
    fits = "would still fit" if room.fits else "would not fit"
    some = load.typical_mA is not None and not room.fits and room.left_mA >= load.typical_mA
    yet = f", though one of {trimmed(load.typical_mA)} mA would" if some else ""
    text = f"{rcd.reference} {left}; one more {load.kind} of up to {trimmed(load.at_most_mA)} mA {fits}{yet}."
    return [Statement(text=text, origins=(load.origin,))]


def _tails(findings: Findings) -> Iterator[Statement]:
    """The tails of each board against all that was read behind them."""
    for board in findings.sheet.boards:
        places = (Place(board=board.reference), *_parts(board, findings.as_found))
        whole, *parts = (latest(findings.as_found, "earth_leakage", there) for there in places)
        known = tuple(part for part in parts if figure(part, "mA") is not None)
        if figure(whole, "mA") is not None and known:
            compared = whole_against_parts(figure(whole, "mA"), tuple(figure(part, "mA") for part in known))
            origins = findings.origins(whole, *known)
            yield Statement(text=f"Tails of {board.reference}: {compared.sentence}.", origins=origins)


def _parts(board: Board, record: Record) -> Iterator[Place]:
    """The circuits; but an RCD that was read itself stands for its own, where not all of them were."""
    devices = {rcd.reference for rcd in board.rcds if _read_as_one(board, rcd, record)}
    yield from (Place(board=board.reference, rcd=rcd) for rcd in sorted(devices))
    yield from (Place(board=board.reference, circuit=c.number) for c in board.circuits if c.rcd not in devices)


def _read_as_one(board: Board, rcd: Rcd, record: Record) -> bool:
    whole = latest_figure(record, "earth_leakage", Place(board=board.reference, rcd=rcd.reference), "mA")
    return whole is not None and len(parts_mA(record, board, rcd)) < len(board.behind(rcd.reference))
