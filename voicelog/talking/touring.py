"""Sweeps and sequences: the program asks, the tester says only the value.

A sweep is one quantity round all circuits of the board in hand; a sequence is a
set of tests on the circuit in hand. Both are a tour of steps. Bare numbers are
understood here because the place, the quantity and the unit are known.
"""

from collections.abc import Iterator
from decimal import Decimal

from voicelog.checking.units import convert
from voicelog.installation import Board, Circuit
from voicelog.keeping.record import Line
from voicelog.meaning.grammar import Quantity, TestSequence
from voicelog.model import Comparison, Number, Place
from voicelog.talking.conversation import Asked, Conversation, Desk, Mode, Said, Speak, Tour, Turn, circuit_first, speak
from voicelog.talking.tones import Tone


def start_sweep(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Start sweep, earth leakage": round the circuits of the board in hand, from the first."""
    called = said.understood.meaning.called
    quantity = desk.grammar.quantities[called.quantity]
    board = desk.sheet.board(called.place.board if called.place else desk.board(talk))
    steps = tuple(
        Asked(place=place, quantity=quantity.key, unit=usual_unit(quantity), conditions=called.conditions)
        for place in _stops(board, quantity)
    )
    if not steps:
        return speak(talk, f"{quantity.says} is not measured circuit by circuit here", Tone.ATTENTION)
    title = f"sweep, {desk.phrasing.quantity(quantity.key, called.conditions)}"
    return begin(talk, desk, Tour(title=title, steps=steps))


def _stops(board: Board, quantity: Quantity) -> list[Place]:
    if "circuit" in quantity.places:
        circuits = (circuit for circuit in board.circuits if _suits(quantity.only, circuit))
        return [Place(board=board.reference, circuit=circuit.number) for circuit in circuits]
    if "rcd" in quantity.places:
        return [Place(board=board.reference, rcd=rcd.reference) for rcd in board.rcds]
    return []


def usual_unit(quantity: Quantity) -> str:
    return quantity.units[0]


def start_sequence(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Start sequence, ring": the tests of a set on the circuit in hand."""
    tests = desk.grammar.sequences[said.understood.meaning.arguments["sequence"]]
    if not _has_place(tests, talk.place, desk):
        return circuit_first(talk)
    circuit = desk.sheet.circuit(talk.place)
    if circuit and not _suits(tests.only, circuit):
        return speak(
            talk, f"{desk.phrasing.place(talk.place)} has no {tests.only.replace('rcd', 'r c d')}", Tone.ATTENTION
        )
    steps = tuple(
        Asked(
            place=talk.place,
            quantity=step.quantity,
            unit=usual_unit(desk.grammar.quantities[step.quantity]),
            conditions=_all_conditions(desk.grammar.quantities[step.quantity], step.conditions),
        )
        for step in tests.steps
        if circuit is None or _suits(desk.grammar.quantities[step.quantity].only, circuit)
    )
    return begin(talk, desk, Tour(title=f"sequence, {tests.said[0]}", steps=steps))


def _has_place(tests: TestSequence, place: Place | None, desk: Desk) -> bool:
    """A circuit, or an RCD where every test of the set can be made at one."""
    if place is None or place.circuit:
        return place is not None
    return bool(place.rcd) and all("rcd" in desk.grammar.quantities[step.quantity].places for step in tests.steps)


def _suits(only: str, circuit: Circuit) -> bool:
    return not only or (only == "ring" and circuit.ring) or (only == "rcd" and bool(circuit.rcd))


def _all_conditions(quantity: Quantity, given: dict[str, str]) -> dict[str, str]:
    taken = {condition.key: condition.default for condition in quantity.condition if condition.default}
    return {**taken, **given}


def begin(talk: Conversation, desk: Desk, tour: Tour) -> Turn:
    """Start a tour at its first step that has no reading yet; what was watched is watched no more."""
    again = all(_line(step, tour, desk) for step in tour.steps)
    tour = tour.model_copy(update={"after": desk.record.lines[-1].entry.number}) if again else tour
    title = f"{tour.title}, again" if again else tour.title
    return ask_step(_at_open(talk.having(tour=tour, watch=None), desk), desk, prefix=f"{title}. ")


def _is_open(step: Asked, talk: Conversation, desk: Desk) -> bool:
    """Neither on the record nor just said back."""
    return _line(step, talk.tour, desk) is None and not (talk.pending and step.is_met_by(talk.pending.reading))


def _line(step: Asked, tour: Tour, desk: Desk) -> Line | None:
    """What stands on the record for this step, of this round."""
    line = desk.record.latest(step.place, step.quantity, step.conditions)
    return line if line and line.entry.number > tour.after else None


def still_open(tour: Tour, desk: Desk) -> list[Asked]:
    """The steps that have no reading yet in this round."""
    return [step for step in tour.steps if _line(step, tour, desk) is None]


def ask_step(talk: Conversation, desk: Desk, prefix: str = "") -> Turn:
    """Say what is wanted now; at the end say so, with what was left out."""
    step = talk.tour.here
    if step is None:
        return _finished(talk, desk, prefix)
    text = prefix + _question(talk, step, desk)
    talk = _at(step, talk).having(mode=Mode.LISTENING)
    return speak(talk, text, Tone.ASKED)


def _at(step: Asked, talk: Conversation) -> Conversation:
    """The step is asked for, and its place in hand."""
    return talk.at(step.place).having(asked=step)


def _question(talk: Conversation, step: Asked, desk: Desk) -> str:
    """A sweep names the circuit, a sequence the test."""
    if talk.tour.title.startswith("sweep"):
        return f"{desk.phrasing.place(step.place, with_name=not talk.terse)}?"
    return f"{desk.phrasing.quantity(step.quantity, step.conditions)}?"


def _finished(talk: Conversation, desk: Desk, prefix: str) -> Turn:
    words = [
        f"{prefix}{talk.tour.title.split(',')[0]} finished",
        _left_words(still_open(talk.tour, desk), talk, desk),
        total_words(talk, desk),
    ]
    talk = talk.having(mode=Mode.LISTENING, tour=None, asked=None)
    return speak(talk, ". ".join(word for word in words if word), Tone.KEPT)


def _left_words(left: list[Asked], talk: Conversation, desk: Desk) -> str:
    if not left:
        return ""
    if talk.tour.title.startswith("sweep"):
        return f"left: {desk.phrasing.places([step.place for step in left])}"
    return f"left: {', '.join(desk.phrasing.quantity(step.quantity, step.conditions) for step in left)}"


def move_on(talk: Conversation, desk: Desk) -> Turn:
    """After an entry was kept: ask for this step of the tour, or the next one that is still open, or end it."""
    if talk.tour is None:
        return Turn(talk)
    if talk.tour.over:
        return close(talk, desk)
    talk = _at_open(talk, desk)
    return ask_step(talk, desk) if talk.mode is Mode.LISTENING else _name_next(talk, desk)


def _name_next(talk: Conversation, desk: Desk) -> Turn:
    """Second person: the reading just said back awaits no answer, so the next step is named at once, and is in hand."""
    step = talk.tour.here
    if step is None:
        return Turn(talk.having(asked=None))
    talk = _at(step, talk)
    text = _question(talk, step, desk)
    return Turn(talk.having(said=f"{talk.said}. {text}"), (Speak(text, Tone.ASKED),))


def _at_open(talk: Conversation, desk: Desk) -> Conversation:
    """At the first open step from where the tour is on, then those jumped over; past the end with none."""
    tour = talk.tour
    ahead = range(tour.at, len(tour.steps))
    jumped = (index for index in range(tour.at) if index not in tour.skipped)
    at = next((index for index in (*ahead, *jumped) if _is_open(tour.steps[index], talk, desk)), len(tour.steps))
    return talk.having(tour=tour.model_copy(update={"at": at}))


def on_course(talk: Conversation) -> bool:
    """Whether what is asked for is the tour's own step, and not an earlier one asked again."""
    return talk.tour is not None and talk.asked == talk.tour.here


def look_ahead(turn: Turn, desk: Desk, advance: bool) -> Turn:
    """Second person: what comes after a reading is named once it is kept, and the one before it stands."""
    talk = turn.talk
    if talk.tour is None or talk.pending is None or desk.awaits_answer(talk):
        return turn
    here = talk.tour.here
    advance = advance or (here is not None and here.is_met_by(talk.pending.reading))
    tour = talk.tour.model_copy(update={"at": talk.tour.at + 1}) if advance else talk.tour
    return Turn(talk.having(tour=tour, due=True), turn.acts)


def take_next(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Next", "skip": leave this step for now."""
    return _step(talk, desk, 1)


def go_back(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The step before, whether or not it has a reading."""
    return _step(talk, desk, -1)


def _step(talk: Conversation, desk: Desk, by: int) -> Turn:
    if talk.tour is None:
        return speak(talk, "nothing is being gone round", Tone.ATTENTION)
    tour, at = talk.tour, talk.tour.at
    if by < 0:
        return ask_step(talk.having(tour=tour.model_copy(update={"at": max(at + by, 0)})), desk)
    left_out = tour.model_copy(update={"skipped": (*tour.skipped, at), "at": at + by})
    return ask_step(_at_open(talk.having(tour=left_out), desk), desk)


def go_to(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A place said within a sweep: carry on from there. One that is no part of it changes nothing: its step is said."""
    place = said.understood.meaning.place
    for index, step in enumerate(talk.tour.steps):
        if step.place == place:
            return ask_step(talk.having(tour=talk.tour.model_copy(update={"at": index})), desk)
    text = f"{desk.phrasing.place(place)} is not in this {talk.tour.title.split(',')[0]}"
    turn = speak(talk, text, Tone.ATTENTION)
    return Turn(turn.talk.having(due=on_course(talk)), turn.acts)


def leads_out(place: Place, talk: Conversation, desk: Desk) -> bool:
    """Whether all was called and the place is none of the tour's: second person, nothing else said that it is over."""
    if any(step.place == place for step in talk.tour.steps):
        return False
    return talk.tour.here is None and _at_open(talk, desk).tour.here is None


def close(talk: Conversation, desk: Desk) -> Turn:
    """The tour is over, as it says."""
    return _finished(talk, desk, "")


def finish(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Leave the tour."""
    if talk.tour is None:
        return speak(talk, "nothing is being gone round", Tone.ATTENTION)
    return Turn(talk.having(tour=talk.tour.model_copy(update={"over": True}), due=True))


def running_total(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The sum so far, and behind each RCD how much of its budget that is."""
    counting = desk.counting(talk)
    total = total_words(talk, counting)
    if not total:
        return speak(talk, "there is no total here")
    parts = (total, *_shares(talk.tour, counting), _not_yet(talk, desk))
    return speak(talk, ". ".join(part for part in parts if part))


def _not_yet(talk: Conversation, desk: Desk) -> str:
    """ "circuit two awaits its answer", while its reading is not in the total."""
    if not desk.awaits_answer(talk) or not any(step.is_met_by(talk.pending.reading) for step in talk.tour.steps):
        return ""
    return f"{desk.phrasing.place(talk.pending.reading.place, with_name=False)} awaits its answer"


def _shares(tour: Tour, desk: Desk) -> Iterator[str]:
    """ "r c d one, eight point seven of nine milliamps"; the budget is the limit that its circuits were judged by."""
    behind: dict[tuple[str, str], list[Asked]] = {}
    for step in tour.steps:
        circuit = desk.sheet.circuit(step.place)
        if circuit and circuit.rcd and step.quantity == "earth_leakage":
            behind.setdefault((step.place.board, circuit.rcd), []).append(step)
    for (board, rcd), alike in behind.items():
        lines = [line for step in alike if (line := _line(step, tour, desk))]
        if budget := _budget(lines):
            of = desk.phrasing.value(Number(figure=budget), "mA")
            place = desk.phrasing.place(Place(board=board, rcd=rcd))
            yield f"{place}, {desk.phrasing.value(_sum(lines), '')} of {of}"


def _budget(lines: list[Line]) -> Decimal | None:
    limits = (line.verdict.limit for line in lines if line.verdict and line.verdict.limit is not None)
    return next((limit.normalize() for limit in limits), None)


def total_words(talk: Conversation, desk: Desk) -> str:
    """ "total, seven point four milliamps" for a leakage sweep; empty for any other tour."""
    if talk.tour is None or talk.tour.steps[0].quantity not in ("earth_leakage", "earth_leakage_dc"):
        return ""
    lines = [line for step in talk.tour.steps if (line := _line(step, talk.tour, desk))]
    text = f"total, {desk.phrasing.value(_sum(lines), 'mA')}"
    without = [line.reading.place for line in lines if not isinstance(line.reading.value, Number)]
    return f"{text}, without {desk.phrasing.places(without)}" if without else text


def _sum(lines: list[Line]) -> Number:
    """The figures added up, mA: with a "greater than" it is a least sum, to which a "less than" adds none."""
    figures = [line for line in lines if isinstance(line.reading.value, Number)]
    signs = {line.reading.value.comparison for line in figures}
    sign = next((sign for sign in (Comparison.ABOVE, Comparison.BELOW) if sign in signs), Comparison.EQUAL)
    none = Comparison.BELOW if sign is Comparison.ABOVE else None
    counted = (_milliamps(line) for line in figures if line.reading.value.comparison is not none)
    return Number(figure=sum(counted, Decimal(0)), comparison=sign)


def _milliamps(line: Line) -> Decimal:
    return convert(line.reading.value.figure, line.reading.unit, "mA").normalize() + 0


def left(talk: Conversation, desk: Desk) -> str:
    """What of the tour has no reading yet."""
    return _left_words(still_open(talk.tour, desk), talk, desk) or "nothing is left"
