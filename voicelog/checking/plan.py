"""A plan for dividing the circuits of each board over RCDs: ``voicelog plan``."""

from collections.abc import Sequence
from decimal import Decimal

from pydantic import Field

from voicelog.checking.cautions import AID, ISOLATE
from voicelog.checking.edition import Edition
from voicelog.checking.leakage import whole_against_parts
from voicelog.checking.record import Record, Taken, as_found, figure, latest, latest_figure
from voicelog.checking.regrouping import Group, NoSplit, Split, own_devices, percent, regroup
from voicelog.checking.weighing import nearest, plain, trimmed
from voicelog.errors import InputError
from voicelog.installation import Board, Circuit, Rcd, Sheet, Wishes
from voicelog.model import Noun, Place, Reading

USUAL_MA = Decimal(30)  # rated residual current of an RCD that is added
SOCKETS_MA = Decimal(30)  # the most before socket-outlets up to 32 A: 411.3.3, a public page on Chapter 41
RCBO = "BS EN 61009"


class Leak(Noun):
    """What a circuit is reckoned with: as it was found, for whatever was unplugged is plugged in again one day."""

    leakage_mA: Decimal
    unplugged: str = ""  # what was unplugged at that reading, for there is none with everything plugged in
    without: str = ""  # what was unplugged when it was read once more, and what it read then
    without_mA: Decimal | None = None


class Beyond(Noun):
    """What was read at an RCD itself, and how much of it its circuits with a reading do not explain."""

    whole_mA: Decimal
    beyond_mA: Decimal


class BoardPlan(Noun):
    """One board: the most even split, the least work, and every circuit on its own device."""

    board: str
    names: dict[str, str]  # circuit key -> name
    leaks: dict[str, Leak]  # circuit key -> what it is reckoned with
    rcds: tuple[str, ...]  # those reckoned with; added ones are called "new 1", "new 2" ...
    even: Split | NoSplit
    least_work: Split | NoSplit
    own: tuple[Group, ...]  # each circuit on an RCBO of its own, fullest first
    not_measured: tuple[str, ...]  # circuits without a plain leakage figure: not reckoned with
    beyond: dict[str, Beyond] = Field(default_factory=dict)  # RCD -> what no circuit reckoned with accounts for
    left_alone: dict[str, str] = Field(default_factory=dict)  # circuit key -> why it stays behind no RCD


class Plan(Noun):
    """The boards that have leakage figures."""

    edition: str
    boards: tuple[BoardPlan, ...]
    cautions: tuple[str, ...]


def plan(sheet: Sheet, readings: Sequence[Taken], edition: Edition, rcds: int) -> Plan:
    """Divide the circuits of each board over ``rcds`` RCDs: its own first, then new ones of 30 mA.

    A circuit counts with its last leakage reading as found, everything plugged in; where there is none, with the
    last one without an item.

    InputError when ``rcds`` is not positive or more than any board has use for, or nothing was measured.
    """
    most = max(max(len(board.circuits), len(board.rcds)) for board in sheet.boards)
    if not 1 <= rcds <= max(most, 1):
        what = (
            f"{rcds} RCDs cannot take circuits." if rcds < 1 else f"{rcds} RCDs are more than any board has circuits."
        )
        raise InputError(what, where="--rcds", do=f"Give a whole number from 1 to {most}.")
    found = as_found(readings)
    leaks = _leaks(readings, found)
    boards = [
        _board_plan(board, sheet.regrouping, leaks, edition, rcds, _beyond(board, leaks, found))
        for board in sheet.boards
    ]
    measured = tuple(board for board in boards if board.own)
    if not measured:
        raise InputError(
            "no circuit has a leakage reading that stands.", do="Measure the leakage of the circuits first."
        )
    return Plan(edition=edition.label, boards=measured, cautions=(AID, ISOLATE))


def _board_plan(
    board: Board,
    wishes: Wishes,
    every: dict[str, Leak],
    edition: Edition,
    count: int,
    beyond: dict[str, Beyond],
) -> BoardPlan:
    keys = {c.number: Place(board=board.reference, circuit=c.number).key for c in board.circuits}
    alone = {keys.pop(c.number): why for c in board.circuits if (why := _left_alone(c, keys[c.number], board, wishes))}
    leaks = {key: every[key] for key in keys.values() if key in every}
    known = {key: leak.leakage_mA for key, leak in leaks.items()}
    devices = _devices(board, count)
    taking_part = {keys[c.number]: c for c in board.circuits if c.number in keys}
    current = {key: circuit.rcd for key, circuit in taking_part.items()}
    barred = {key: _barred(circuit, board, devices) for key, circuit in taking_part.items()}
    even, least = (regroup(known, devices, current, edition, wishes, goal, barred) for goal in ("even", "fewest moves"))
    return BoardPlan(
        board=board.reference,
        names={Place(board=board.reference, circuit=c.number).key: c.name for c in board.circuits},
        leaks=leaks,
        rcds=tuple(device.reference for device in devices),
        even=even,
        least_work=least,
        own=own_devices(known | _rcbo_leaks(every, board), USUAL_MA, edition),
        not_measured=tuple(key for key in keys.values() if key not in leaks),
        beyond=beyond,
        left_alone=alone,
    )


def _beyond(board: Board, leaks: dict[str, Leak], found: Record) -> dict[str, Beyond]:
    """By RCD. Where that leakage comes from is not known, so no split can put it anywhere."""
    beyond = {}
    for rcd in shared_rcds(board):
        whole = latest_figure(found, "earth_leakage", Place(board=board.reference, rcd=rcd.reference), "mA")
        if whole is None:
            continue
        compared = whole_against_parts(whole, _parts(board, rcd, leaks))
        if not compared.agrees and compared.remainder.least_mA:
            beyond[rcd.reference] = Beyond(whole_mA=whole, beyond_mA=compared.remainder.least_mA)
    return beyond


def _parts(board: Board, rcd: Rcd, leaks: dict[str, Leak]) -> tuple[Decimal, ...]:
    keys = (Place(board=board.reference, circuit=c.number).key for c in board.behind(rcd.reference))
    return tuple(leaks[key].leakage_mA for key in keys if key in leaks)


def _left_alone(circuit: Circuit, key: str, board: Board, wishes: Wishes) -> str:
    """Why a circuit stays behind no RCD unless that is wished; empty for one that takes part.

    One RCD before another board would switch off all of it, and race with the RCDs there. Whatever was left out
    where there are RCDs, an alarm say, was left out for a reason.
    """
    wished = {c for group in (*wishes.together, *wishes.apart, wishes.fixed) for c in group}
    if _is_rcbo(circuit, board):
        return "on an RCBO of its own"
    if circuit.rcd or key in wished:
        return ""
    return "for it feeds another board" if circuit.feeds else "behind no RCD" if board.rcds else ""


def _leaks(readings: Sequence[Taken], found: Record) -> dict[str, Leak]:
    """By place key, of every circuit whose leakage is known; an RCD may have the key of a circuit."""
    leakages = [taken for taken in readings if taken.reading.quantity == "earth_leakage"]
    without = {taken.reading.place: taken for taken in leakages if taken.unplugged}
    places = dict.fromkeys(taken.reading.place for taken in leakages if taken.reading.place.circuit)
    leaks = ((place, _leak(latest(found, "earth_leakage", place), without.get(place))) for place in places)
    return {place.key: leak for place, leak in leaks if leak}


def _leak(found: Reading | None, without: Taken | None) -> Leak | None:
    """Of the last reading as found, and the last one without an item."""
    found_mA = figure(found, "mA")
    item = " and ".join(without.unplugged) if without else ""
    without_mA = figure(without.reading, "mA") if without else None
    if found_mA is not None:
        return Leak(leakage_mA=found_mA, without=item, without_mA=without_mA)
    return None if without_mA is None else Leak(leakage_mA=without_mA, unplugged=item)


def _is_rcbo(circuit: Circuit, board: Board) -> bool:
    """Whether its breaker and its RCD are one device (BS EN 61009), which no other circuit can share."""
    combined = circuit.device is not None and circuit.device.standard == RCBO
    return combined and bool(circuit.rcd) and board.behind(circuit.rcd) == (circuit,)


def _rcbo_leaks(every: dict[str, Leak], board: Board) -> dict[str, Decimal]:
    """What those on RCBOs leak: whether each is within its rule is told, though none is moved."""
    alone = [c for c in board.circuits if _is_rcbo(c, board)]
    keys = (Place(board=board.reference, circuit=c.number).key for c in alone)
    return {key: every[key].leakage_mA for key in keys if key in every}


def shared_rcds(board: Board) -> tuple[Rcd, ...]:
    """The RCDs of a board that can take circuits: an RCBO takes its own alone."""
    combined = {circuit.rcd for circuit in board.circuits if _is_rcbo(circuit, board)}
    return tuple(rcd for rcd in board.rcds if rcd.reference not in combined)


def _devices(board: Board, count: int) -> tuple[Rcd, ...]:
    new = (Rcd(reference=f"new {i}", rated_residual_current_mA=USUAL_MA) for i in range(1, count + 1))
    return (*shared_rcds(board), *new)[:count]


def _barred(circuit: Circuit, board: Board, devices: Sequence[Rcd]) -> frozenset[str]:
    """No circuit moves to a less sensitive RCD than its own, no socket-outlets to one above 30 mA."""
    most = [board.rcd(circuit.rcd).rated_residual_current_mA] if circuit.rcd else []
    most += [SOCKETS_MA] if circuit.sockets else []
    stays = {circuit.rcd}
    return frozenset(
        rcd.reference
        for rcd in devices
        if most and rcd.rated_residual_current_mA > min(most) and rcd.reference not in stays
    )


# ---------------------------------------------------------------- as text


def as_text(found: Plan) -> str:
    """The plan as plain text."""
    lines = [f"Limits: {found.edition}"]
    for board in found.boards:
        lines += ["", f"Board {board.board} over {', '.join(board.rcds)}"]
        lines += _split_text("Most even", board.even, board.names)
        if isinstance(board.least_work, Split) and not _alike(board.least_work, board.even):
            lines += _split_text("Fewest moves that meet the rule", board.least_work, board.names)
        lines += _own_text(board.own, board.names) + _missing_text(board.not_measured)
        lines += [_beyond_text(reference, beyond) for reference, beyond in board.beyond.items()]
        lines += [
            f"  {_named(key, board.names)}: {said}"
            for key, leak in board.leaks.items()
            for said in _unplugged_text(leak)
        ]
        lines += [f"  Left where it is, {why}: {_named(key, board.names)}" for key, why in board.left_alone.items()]
    return "\n".join([*lines, "", "Cautions", *(f"  ! {caution}" for caution in found.cautions), ""])


def _alike(one: Split, other: Split | NoSplit) -> bool:
    return isinstance(other, Split) and one.groups == other.groups


def _split_text(title: str, split: Split | NoSplit, names: dict[str, str]) -> list[str]:
    if isinstance(split, NoSplit):
        return [f"  No split meets the rule: {split.why}."]
    count = "1 circuit moves" if len(split.moves) == 1 else f"{len(split.moves)} circuits move"
    lines = [f"  {title}: {count}, the fullest RCD uses {percent(split.worst_share)} of its budget"]
    lines += [f"    {_group_text(group, names)}" for group in split.groups]
    moves = [f"    move {_named(m.circuit, names)} from {m.source or 'no RCD'} to {m.target}" for m in split.moves]
    return lines + moves + ([] if split.proven else ["    (fewer moves may be possible: the search was cut short)"])


def _group_text(group: Group, names: dict[str, str]) -> str:
    members = ", ".join(_named(circuit, names) for circuit in group.circuits) or "nothing"
    return f"{group.rcd}: {trimmed(group.leakage_mA)} mA, {percent(group.share)}: {members}"


def _named(circuit: str, names: dict[str, str]) -> str:
    name = names.get(circuit, "")
    return f"{circuit} ({name})" if name else circuit


def _own_text(own: Sequence[Group], names: dict[str, str]) -> list[str]:
    beyond = [group for group in own if group.share > 1]
    if not beyond:
        fullest = own[0]
        return [
            f"  Each circuit on its own 30 mA device: all within the rule, the fullest uses {percent(fullest.share)}"
        ]
    named = ", ".join(f"{_named(g.circuits[0], names)} ({plain(nearest(g.leakage_mA))} mA)" for g in beyond)
    return [f"  Each circuit on its own 30 mA device: still beyond the rule: {named}"]


def _unplugged_text(leak: Leak) -> list[str]:
    reckoned, without = f"{trimmed(leak.leakage_mA)} mA", leak.without
    if leak.unplugged:
        return [f"reckoned with {reckoned}, read with {leak.unplugged} unplugged; plugged in again, it may leak more"]
    if leak.without_mA is None:
        return []
    return [
        f"reckoned as found, {reckoned} with everything plugged in; {trimmed(leak.without_mA)} mA without {without}"
    ]


def _missing_text(not_measured: Sequence[str]) -> list[str]:
    return [f"  Not reckoned with, no leakage reading stands: {', '.join(not_measured)}"] if not_measured else []


def _beyond_text(rcd: str, found: Beyond) -> str:
    return (
        f"  Not reckoned with either: {trimmed(found.beyond_mA)} mA of the {trimmed(found.whole_mA)} mA read at {rcd} "
        "itself, more than its circuits give. Find where that is first: the shares above leave it out"
    )
