"""Answers for busy hands: status, where am I, what failed, what is left, read board."""

from voicelog.keeping.record import Line
from voicelog.model import Outcome, Place
from voicelog.talking.conversation import Adjust, Conversation, Desk, Said, Speak, Turn, speak
from voicelog.talking.touring import left

# What a full visit takes down for each circuit; common practice, not a rule of any edition.
USUAL = ("r1_r2", "ir_le", "zs")


def say_again(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The program's last words once more."""
    return Turn(talk, (Speak(talk.said or "nothing was said"),))


def read_back(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The pending reading, or the last one on the record, in full."""
    meant = talk.pending or talk.last
    if meant is None:
        return speak(talk, "nothing is on the record yet")
    return speak(
        talk,
        f"{desk.phrasing.reading(meant.reading)}. {desk.phrasing.verdict(meant.verdict, meant.reading)}".rstrip(". "),
    )


def status(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """How many readings, how many unconfirmed, how many outside limits."""
    count, record = desk.phrasing.count, desk.record
    parts = (
        count(len(record.current), "reading", "readings"),
        count(len(record.unconfirmed), "unconfirmed", "unconfirmed"),
        count(len(_failed(desk)), "fail", "fails"),
    )
    return speak(talk, ", ".join(parts))


def _failed(desk: Desk) -> list[Line]:
    counting = (*desk.record.current, *desk.record.unconfirmed)
    return [line for line in counting if line.verdict and line.verdict.outcome is Outcome.FAIL]


def where_am_i(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The place in hand, and what is awaited."""
    where = desk.phrasing.place(talk.place) if talk.place else "no circuit in hand"
    if talk.asked:
        where += f". {desk.phrasing.quantity(talk.asked.quantity, talk.asked.conditions)}?"
    return speak(talk, f"{where}. {talk.tour.title}" if talk.tour else where)


def what_failed(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The readings outside their limits."""
    failed = _failed(desk)
    if not failed:
        return speak(talk, "no fails")
    return speak(talk, ". ".join(desk.phrasing.reading(line.reading, with_name=False) for line in failed))


def what_is_left(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Of the sweep or sequence; otherwise the usual tests that circuits still lack."""
    if talk.tour:
        return speak(talk, left(talk, desk))
    measured = {(line.reading.place.key, line.reading.quantity) for line in desk.record.current}
    parts = []
    for quantity in USUAL:
        lacking = [place for place in _circuits(desk) if (place.key, quantity) not in measured]
        if lacking:
            named = [desk.phrasing.place(place, with_name=False) for place in lacking]
            names = "all circuits" if lacking == _circuits(desk) and len(lacking) > 1 else ", ".join(named)
            parts.append(f"{desk.grammar.quantities[quantity].says}: {names}")
    return speak(talk, ". ".join(parts) or "nothing is left of the usual tests")


def _circuits(desk: Desk) -> list[Place]:
    return [
        Place(board=board.reference, circuit=circuit.number)
        for board in desk.sheet.boards
        for circuit in board.circuits
    ]


def read_board(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The circuits of the board in hand."""
    board = desk.board(talk)
    named = [desk.phrasing.place(place) for place in _circuits(desk) if place.board == board]
    return speak(talk, ". ".join(named) or "there are no circuits on this board")


def terse(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Value and verdict only from now on."""
    return speak(talk.having(terse=True), "short read back")


def full(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Place, quantity, value, unit and verdict from now on."""
    return speak(talk.having(terse=False), "full read back")


def adjust(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Louder, quieter, faster, slower."""
    how = said.understood.meaning.name
    return Turn(talk, (Adjust(how), Speak(how)))
