"""Small invented installations and readings for the tests of checking."""

from decimal import Decimal

from voicelog.checking.editions import load_edition
from voicelog.installation import Board, Cable, Circuit, Device, Rcd, Sheet
from voicelog.model import Comparison, Number, Place, Reading, Result, Value

AFTER = load_edition("a2-a3")
BEFORE = load_edition("before-a2")
D = Decimal


def breaker(kind: str = "B", rating: str = "32", **more: object) -> Device:
    return Device(standard="BS EN 60898", type=kind, rating_A=rating, **more)


def fuse(standard: str, rating: str) -> Device:
    return Device(standard=standard, rating_A=rating)


def circuit(number: str = "5", **more: object) -> Circuit:
    return Circuit(**{"number": number, "device": breaker(), **more})


def rcd(reference: str = "RCD1", rated: str = "30", **more: object) -> Rcd:
    return Rcd(reference=reference, rated_residual_current_mA=rated, **more)


def sheet(*circuits: Circuit, rcds: tuple[Rcd, ...] = (), boards: tuple[Board, ...] = (), **supply: object) -> Sheet:
    board = Board(reference="DB1", rcds=rcds, circuits=circuits)
    return Sheet(
        job={"reference": "T1", "date": "2026-11-25"},
        supply={"earthing": "TN-C-S", **supply},
        boards=(board, *boards),
    )


def value(text: str) -> Value:
    """``1.09``, ``>200``, ``<0.01`` or a word of Result."""
    if text[0] in "<>":
        return Number(figure=text[1:], comparison=Comparison(text[0]))
    return Number(figure=text) if text[0].isdigit() else Result(word=text)


def reading(
    quantity: str, said: str | Value, unit: str = "", at: str = "5", rcd: str = "", **conditions: str
) -> Reading:
    place = Place(board="DB1", rcd=rcd) if rcd else Place(board="DB1", circuit=at)
    return Reading(
        place=place,
        quantity=quantity,
        value=value(said) if isinstance(said, str) else said,
        unit=unit,
        conditions=conditions,
    )


def at_board(quantity: str, said: str | Value, unit: str = "", **conditions: str) -> Reading:
    return reading(quantity, said, unit, at="", **conditions)


def cable(line: str = "2.5", cpc: str = "1.5", length: str | None = None) -> Cable:
    return Cable(line_mm2=line, cpc_mm2=cpc, length_m=length)
