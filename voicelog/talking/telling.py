"""Answers for busy hands: status, where am I, what failed, what is left, read board."""

from itertools import pairwise
from statistics import median

from voicelog.keeping.record import Line
from voicelog.model import Outcome, Place
from voicelog.talking.calling import ANSWER
from voicelog.talking.conversation import Adjust, Conversation, Desk, Said, Speak, Turn, speak
from voicelog.talking.touring import left, still_open

# What a full visit takes down for each circuit; common practice, not a rule of any edition.
USUAL = ("r1_r2", "ir_le", "zs")
# Live conductors linked and tested to earth: the whole circuit at once (common practice).
AS_GOOD = {"ir_le": ("ir_lne",)}
PACE_OF = 9  # so many of the last intervals between readings give the pace


def say_again(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The program's last words once more."""
    return Turn(talk, (Speak(talk.said or "nothing was said"),))


def read_back(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The pending reading, or the last one that counts, in full."""
    meant = talk.pending or _last_counting(desk)
    if meant is None:
        return speak(talk, "nothing is on the record yet")
    verdict = desk.phrasing.verdict(meant.verdict, meant.reading) if meant.verdict else ""
    return speak(talk, f"{desk.phrasing.reading(meant.reading)}. {verdict}".rstrip(". "))


def _last_counting(desk: Desk) -> Line | None:
    """The latest line neither withdrawn nor replaced."""
    return next((line for line in reversed(desk.record.lines) if line.removed is None), None)


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
    if talk.tour:
        where += f"{'' if talk.asked else '.'} {talk.tour.title}"
    if talk.watch:
        where += f"{'' if talk.asked else '.'} watching"
    return speak(talk, f"{where}{_unanswered(talk, desk)}")


def _unanswered(talk: Conversation, desk: Desk) -> str:
    """What was said back and awaits its answer; a watched value awaits the next one."""
    if not desk.awaits_answer(talk) or (talk.watch and not talk.pending.doubted):
        return ""
    reading = talk.pending.reading
    phrasing = desk.phrasing
    told = phrasing.measured(reading) if reading.place == talk.place else phrasing.reading(reading, with_name=False)
    return f". {told}. {ANSWER}"


def what_failed(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The readings outside their limits."""
    failed = _failed(desk.counting(talk))
    if not failed:
        return speak(talk, "no fails")
    return speak(talk, ". ".join(desk.phrasing.reading(line.reading, with_name=False) for line in failed))


def what_is_left(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Of the sweep or sequence; otherwise the usual tests that circuits still lack."""
    desk = desk.counting(talk)
    if talk.tour:
        return speak(talk, left(talk, desk))
    parts = []
    for quantity in USUAL:
        lacking = _lacking(quantity, desk)
        if lacking:
            every = lacking == _circuits(desk) and len(lacking) > 1
            names = "all circuits" if every else desk.phrasing.places(lacking)
            parts.append(f"{desk.grammar.quantities[quantity].says}: {names}")
    return speak(talk, ". ".join(parts) or "nothing is left of the usual tests")


def _lacking(quantity: str, desk: Desk) -> list[Place]:
    """Circuits without a reading of it."""
    enough = (quantity, *AS_GOOD.get(quantity, ()))
    measured = {line.reading.place.key for line in desk.record.current if line.reading.quantity in enough}
    return [place for place in _circuits(desk) if place.key not in measured]


def time_left(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """How many readings are left of the tour, or of the usual tests, and how long they take at the pace so far."""
    desk = desk.counting(talk)
    usual = (place for quantity in USUAL for place in _lacking(quantity, desk))
    count = len(still_open(talk.tour, desk) if talk.tour else tuple(usual))
    text = f"{desk.phrasing.count(count, 'reading', 'readings')} left"
    if count and (pace_s := _pace_s(desk)):
        minutes = max(1, round(count * pace_s / 60))
        text += f", about {desk.phrasing.count(minutes, 'minute', 'minutes')}"
    return speak(talk, text)


def _pace_s(desk: Desk) -> float:
    """Seconds from one reading to the next, the median of the last ones; 0 when there are too few."""
    times = [line.entry.at for line in desk.record.lines[-PACE_OF - 1 :]]
    gaps = [(later - earlier).total_seconds() for earlier, later in pairwise(times)]
    return median(gaps) if len(gaps) >= 2 else 0.0


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
    """From now on no more than was said; a pass and "kept" by their tones alone."""
    return speak(talk.having(terse=True), "short read back")


def full(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Place, quantity, value, unit and verdict from now on."""
    return speak(talk.having(terse=False), "full read back")


def adjust(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Louder, quieter, faster, slower."""
    how = said.understood.meaning.name
    return Turn(talk, (Adjust(how), Speak(how)))
