"""What a visit is sure to say, known before it begins: for a mouth to get ready.

Figures are not among them: they are made in time, while the words before them sound.
"""

from voicelog.model import Place
from voicelog.talking.conversation import CIRCUIT_FIRST
from voicelog.talking.phrasing import Phrasing

FIXED = (
    "pass",
    "fail",
    "marginal",
    "kept",
    "say again",
    CIRCUIT_FIRST,
    "nothing to disregard",
    "left unconfirmed",
    "standing by",
    "listening",
    "stopped",
    "affirm or negative?",
)


def known_prompts(phrasing: Phrasing) -> tuple[str, ...]:
    """Places with and without their names, quantities under their usual conditions, and fixed words."""
    places = tuple(dict.fromkeys(text for place in _places(phrasing) for text in _ways(place, phrasing)))
    quantities = tuple(f"{phrasing.quantity(key, _usual(key, phrasing))}," for key in phrasing.grammar.quantities)
    return (*FIXED, *places, *quantities)


def _places(phrasing: Phrasing) -> list[Place]:
    """Every circuit, RCD and board of the sheet."""
    places = []
    for board in phrasing.sheet.boards:
        places.append(Place(board=board.reference))
        places += [Place(board=board.reference, rcd=rcd.reference) for rcd in board.rcds]
        places += [Place(board=board.reference, circuit=circuit.number) for circuit in board.circuits]
    return places


def _ways(place: Place, phrasing: Phrasing) -> tuple[str, str]:
    return phrasing.place(place), phrasing.place(place, with_name=False)


def _usual(key: str, phrasing: Phrasing) -> dict[str, str]:
    return {condition.key: condition.default for condition in phrasing.grammar.quantities[key].condition}
