"""Readings: called, said back, confirmed, disregarded.

An entry is kept before a word is said about it, so whatever the crew has heard
back is on the record however the program ends.
"""

from voicelog.meaning.parsing import refuse_value
from voicelog.model import Called, Draft, EntryKind, Outcome, Place, Reading, Result, Standing, Verdict
from voicelog.reasons import RETEST, having_unplugged
from voicelog.talking import touring
from voicelog.talking.conversation import (
    CIRCUIT_FIRST,
    Asked,
    Conversation,
    Desk,
    Keep,
    Mode,
    Move,
    Pending,
    Policy,
    Said,
    Speak,
    Turn,
    speak,
)
from voicelog.talking.shortened import lacks_quantity
from voicelog.talking.tones import Tone

ANSWER = "affirm or negative?"
UNNAMED = "say what was measured before the value"
_TONES = {Outcome.PASS: Tone.PASS, Outcome.FAIL: Tone.FAIL, Outcome.MARGINAL: Tone.ATTENTION}


class Incomplete(Exception):
    """What is missing from a call, or wrong with it, in words to say."""


# ---------------------------------------------------------------- from what was called to a reading


def reading_from(called: Called, talk: Conversation, desk: Desk) -> Reading:
    """The complete reading that a call means here. Raises Incomplete with what is missing."""
    if called.quantity:
        place = _place_for(called, talk, desk)
        reading = Reading(
            place=place,
            quantity=called.quantity,
            value=called.value,
            unit=called.unit,
            conditions=with_point(called, place, talk),
        )
    else:
        reading = _value_alone(called, talk)
    _refuse(reading, desk)
    return reading


def _value_alone(called: Called, talk: Conversation) -> Reading:
    if talk.asked is None or lacks_quantity(called):
        raise Incomplete(UNNAMED)
    asked = talk.asked
    return Reading(
        place=called.place or asked.place,
        quantity=asked.quantity,
        value=called.value,
        unit=called.unit or asked.unit if called.value.kind == "number" else "",
        conditions=asked.conditions,
    )


def with_point(called: Called, place: Place | None, talk: Conversation) -> dict[str, str]:
    """The conditions of a call: R2 at the place in hand is that of the wander-lead point in hand."""
    at_point = called.quantity == "r2_cpc" and talk.point and place == talk.place
    return {**called.conditions, "point": talk.point} if at_point else called.conditions


def _place_for(called: Called, talk: Conversation, desk: Desk) -> Place:
    """The place said, or the one in hand; a quantity of the board alone belongs to the board."""
    quantity = desk.grammar.quantities[called.quantity]
    place = called.place or talk.place
    if quantity.places == ("board",) and (called.place is None or _kind(called.place) == "board"):
        return Place(board=place.board if place else desk.board(talk))
    if place is None:
        raise Incomplete(CIRCUIT_FIRST)
    _fits_place(place, quantity.key, desk)
    return place


def check(reading: Reading, desk: Desk) -> None:
    """Raises Incomplete where the quantity does not belong to the place, or cannot have the value."""
    _fits_place(reading.place, reading.quantity, desk)
    _refuse(reading, desk)


def _fits_place(place: Place, quantity: str, desk: Desk) -> None:
    found = desk.grammar.quantities[quantity]
    if _kind(place) not in found.places:
        raise Incomplete(f"{found.says} does not belong to {desk.phrasing.place(place, with_name=False)}")


def _kind(place: Place) -> str:
    return "circuit" if place.circuit else "rcd" if place.rcd else "board"


def _refuse(reading: Reading, desk: Desk) -> None:
    called = Called(quantity=reading.quantity, value=reading.value, unit=reading.unit)
    try:
        refuse_value(called, desk.grammar.quantities[reading.quantity], desk.grammar)
    except ValueError as reason:
        raise Incomplete(str(reason)) from reason


# ---------------------------------------------------------------- called


def call(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A reading was called: keep it as awaiting, say it back with its verdict."""
    return take_call(talk, said, desk, said.understood.meaning)


def call_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The next reading, once the one before stands or was answered."""
    return after_standing(call)(talk, said, desk)


def is_same(called: Called, talk: Conversation) -> bool:
    """Whether a call is of the quantity, place and conditions of the pending reading, whatever its value."""
    pending = talk.pending.reading
    place = called.place or talk.place
    return (place, called.quantity, with_point(called, place, talk)) == (
        pending.place,
        pending.quantity,
        pending.conditions,
    )


def after_standing(move: Move) -> Move:
    """A move that lets the pending reading stand first; one that awaits an answer must be answered instead."""

    def moved(talk: Conversation, said: Said, desk: Desk) -> Turn:
        if desk.awaits_answer(talk):
            return ask_first(talk, desk)
        stood = let_stand(talk)
        turn = move(stood.talk, said, desk.once_stood(talk.pending))
        return Turn(turn.talk, (*stood.acts, *turn.acts))

    return moved


def ask_first(talk: Conversation, desk: Desk) -> Turn:
    """The pending reading must be answered before anything else."""
    return speak(talk, f"first, {_told_again(talk, talk.pending, desk)}. {ANSWER}", Tone.ASKED)


def _told_again(talk: Conversation, meant: Pending, desk: Desk) -> str:
    """A reading that other words have come after; what was said back in short would be a value alone."""
    if talk.pending and not talk.terse:
        return meant.said_back
    return desk.phrasing.reading(meant.reading, with_name=meant.reading.place != talk.place)


def take_call(talk: Conversation, said: Said, desk: Desk, called: Called, reason: str = "") -> Turn:
    try:
        reading = reading_from(called, talk, desk)
    except Incomplete as missing:
        return refuse(talk, said, str(missing))
    earlier = desk.record.latest(reading.place, reading.quantity, reading.conditions)
    reason = reason or (_asked_again(talk, reading) if earlier else "")
    draft = draft_of(EntryKind.CALLED, said, reading, desk.judge(reading, desk.record))
    refers = earlier.entry.number if earlier and reason else None
    why = reason or reason_at(reading.place, talk)
    return say_back(talk, draft.model_copy(update={"reason": why, "refers": refers}), desk, called)


def reason_at(place: Place, talk: Conversation) -> str:
    """What is unplugged concerns its own circuit, the RCD before it and the tails; not the others."""
    return having_unplugged(one.item for one in talk.unplugged if place.key in one.at)


def _asked_again(talk: Conversation, reading: Reading) -> str:
    """The reason of what "retest" asked for a moment ago."""
    awaited = talk.asked is not None and talk.asked.again and talk.asked.is_met_by(reading)
    return _retest_reason(reading.place, talk) if awaited else ""


def retest(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The same reading once more: the first stays on record, this one counts."""
    called = said.understood.meaning.called
    if called is not None and called.value is not None:
        called = _in_full(called, talk, desk)
        return take_call(talk, said, desk, called, _retest_reason(called.place or talk.place, talk))
    try:
        asked = _to_be_retested(called or Called(), talk, desk)
    except Incomplete as wrong:
        return refuse(talk, said, str(wrong))
    if asked is None:
        return speak(talk, "say what is to be tested again", Tone.ATTENTION)
    text = f"{desk.phrasing.place(asked.place)}. {desk.phrasing.quantity(asked.quantity, asked.conditions)}?"
    return speak(talk.having(asked=asked), text, Tone.ASKED)


def _to_be_retested(called: Called, talk: Conversation, desk: Desk) -> Asked | None:
    """What is named, or else the last reading, at the place that is named. Raises Incomplete where it cannot be."""
    if called.quantity:
        asked = asked_for(called, talk, desk).model_copy(update={"again": True})
        earlier = desk.record.latest(asked.place, asked.quantity, asked.conditions)
        unit = earlier.reading.unit if earlier else ""
        return asked.model_copy(update={"unit": unit or asked.unit})
    if talk.last is None:
        return None
    asked = asked_again(talk, talk.last.reading, desk)
    asked = asked.model_copy(update={"place": called.place or asked.place, "again": True})
    _fits_place(asked.place, asked.quantity, desk)
    return asked


def asked_for(called: Called, talk: Conversation, desk: Desk) -> Asked:
    """The value of what a call names, yet to be said. Raises Incomplete where there is no place, or a wrong one."""
    place = _place_for(called, talk, desk)
    asked = Asked(place=place, quantity=called.quantity, conditions=with_point(called, place, talk))
    return asked.model_copy(update={"unit": _known_unit(talk, asked, desk)})


def _in_full(called: Called, talk: Conversation, desk: Desk) -> Called:
    """What a retest leaves unsaid is as in the last reading: a tour may have named its next step since."""
    if talk.last is None or not _follows_last(talk, desk):
        return called
    last = talk.last.reading
    if talk.tour:
        called = called.model_copy(update={"place": called.place or last.place})
    if called.quantity:
        return called
    unit = called.unit or (unit_of(talk, last, desk) if called.value.kind == "number" else "")
    unsaid = {"quantity": last.quantity, "conditions": last.conditions, "unit": unit}
    return called.model_copy(update=unsaid)


def _follows_last(talk: Conversation, desk: Desk) -> bool:
    """Whether nothing is asked for but the next step of a tour, which has no reading to be taken again."""
    if talk.tour is None or talk.asked is None:
        return talk.asked is None
    return talk.asked == talk.tour.here and talk.asked in touring.still_open(talk.tour, desk)


def _retest_reason(place: Place | None, talk: Conversation) -> str:
    return (reason_at(place, talk) if place else "") or RETEST


def draft_of(kind: EntryKind, said: Said, reading: Reading, verdict: Verdict) -> Draft:
    understood = said.understood
    return Draft(
        kind=kind,
        words=understood.words,
        place=reading.place,
        reading=reading,
        verdict=verdict,
        speaker=said.speaker,
        margin=understood.margin,
        rival=understood.rival,
    )


def say_back(talk: Conversation, draft: Draft, desk: Desk, called: Called | None = None) -> Turn:
    """Keep the draft and say it back: place and value from the record, then the verdict, then any question.

    ``called``: what was said, of which nothing is left out in a short read-back.
    """
    reading, verdict = draft.reading, draft.verdict
    doubt = desk.doubt(reading, verdict, desk.record)
    said_back = _said_back(talk, reading, desk, called)
    kept_unheard = _stands_by_silence(talk, reading, desk) and _may_be_talk(talk, reading, desk, called)
    question = doubt or (ANSWER if kept_unheard else "")
    parts = (said_back, _verdict(talk, verdict, reading, desk), question)
    text = ". ".join(part for part in parts if part)
    pending = Pending(reading=reading, verdict=verdict, said_back=said_back, doubted=bool(question))
    talk = talk.at(_place_in_hand(talk, reading, desk)).having(
        mode=Mode.CONFIRMING,
        pending=pending,
        asked=None,
        choices=(),
        repeated=False,
        suspect=reading if doubt or _fits_any(reading, desk) else None,
        said=text,
    )
    tone = Tone.ATTENTION if doubt else _TONES.get(verdict.outcome)
    return Turn(talk, (Keep(draft.model_copy(update={"said_back": text})), Speak(text, tone)))


def _may_be_talk(talk: Conversation, reading: Reading, desk: Desk, called: Called | None) -> bool:
    """What may be talk must not be kept by silence.

    So it is with a quantity that the tour does not ask for, with a word that fits any quantity ("limitation"), and with
    a value put right in the same breath: talk full of numbers is heard as one value after another.
    """
    unasked = talk.tour is not None and not talk.tour.asks_for(reading.quantity)
    return unasked or _fits_any(reading, desk) or (called is not None and called.repaired)


def _fits_any(reading: Reading, desk: Desk) -> bool:
    """A word in place of a figure that any quantity may have: "limitation", "not applicable"."""
    return isinstance(reading.value, Result) and desk.grammar.results[reading.value.word].for_ == "any"


def _stands_by_silence(talk: Conversation, reading: Reading, desk: Desk) -> bool:
    """With a second person, and in a watch, the next value lets this one stand."""
    return desk.policy is not Policy.EVERY or talk.watches(reading)


def _place_in_hand(talk: Conversation, reading: Reading, desk: Desk) -> Place:
    """Where the reading belongs; but a quantity of the board alone does not take the circuit out of hand."""
    board_alone = desk.grammar.quantities[reading.quantity].places == ("board",)
    return talk.place if board_alone and talk.place else reading.place


def _said_back(talk: Conversation, reading: Reading, desk: Desk, called: Called | None) -> str:
    """All of it; in short only what was said or has changed, so that nothing misheard goes unsaid."""
    phrasing = desk.phrasing
    if not talk.terse:
        return phrasing.reading(reading, with_name=reading.place != talk.place)
    placed = called is None or called.place is not None or reading.place != talk.place
    named = called is None or bool(called.quantity)
    place = f"{phrasing.place(reading.place, with_name=False)}. " if placed else ""
    return place + (phrasing.measured(reading) if named else _value(reading, desk))


def _value(reading: Reading, desk: Desk) -> str:
    return desk.phrasing.value(reading.value, reading.unit, reading.quantity)


def _verdict(talk: Conversation, verdict: Verdict, reading: Reading, desk: Desk) -> str:
    """In short a pass is told by its tone alone."""
    return "" if talk.terse and verdict.outcome is Outcome.PASS else desk.phrasing.verdict(verdict, reading)


def refuse(talk: Conversation, said: Said, why: str, text: str = "") -> Turn:
    """Trade words that make no reading: kept as refused, and the reason said, or ``text`` that has it."""
    draft = Draft(kind=EntryKind.REFUSED, words=said.understood.words, speaker=said.speaker, detail={"why": why})
    return Turn(talk.having(said=text or why), (Keep(draft), Speak(text or why, Tone.ATTENTION)))


# ---------------------------------------------------------------- answered


def affirm(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The value said back is right."""
    draft = Draft(
        kind=EntryKind.AFFIRMED, words=said.understood.words, refers=talk.pending.number, speaker=said.speaker
    )
    return Turn(_settled(talk), (Keep(draft), Speak("" if talk.terse else "kept", Tone.KEPT)))


def let_stand(talk: Conversation) -> Turn:
    """Second person: what was not challenged before the next reading stands."""
    if talk.pending is None:
        return Turn(talk)
    settled = _settled(talk).having(asked=talk.asked)
    return Turn(settled, (Keep(Draft(kind=EntryKind.STOOD, refers=talk.pending.number)),))


def _settled(talk: Conversation) -> Conversation:
    return talk.having(mode=Mode.LISTENING, last=talk.pending, pending=None, asked=None, undone=(), repeated=False)


def negate(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The value said back is wrong: withdrawn, and asked for again. So is one that it was to put right, unanswered."""
    asked = asked_again(talk, talk.pending.reading, desk)
    asked = asked.model_copy(update={"again": _is_retest(talk.pending, desk)})
    text = ask_value(talk, asked, desk, "say again")
    withdrawn = _withdrawals(talk.pending, said, desk, "negative")
    talk = talk.having(mode=Mode.LISTENING, pending=None, asked=asked, said=text)
    return Turn(talk, (*withdrawn, Speak(text, Tone.ASKED)))


def _withdrawals(meant: Pending, said: Said, desk: Desk, reason: str) -> tuple[Keep, ...]:
    wrong = (*_disowned(meant, desk), meant.number)
    return tuple(Keep(_withdrawal(number, said, reason)) for number in wrong)


def _disowned(pending: Pending, desk: Desk) -> tuple[int, ...]:
    """The line that the pending one replaced, if nobody ever answered it: it must not await an answer again."""
    line = desk.record.line(pending.number)
    if line is None or line.entry.kind is not EntryKind.CORRECTED or line.confirmed is not Standing.AWAITING:
        return ()
    before = desk.record.line(line.entry.refers or 0)
    awaits = before is not None and before.confirmed is Standing.AWAITING and before.replaced_by == pending.number
    return (before.number,) if awaits else ()


def ask_value(talk: Conversation, asked: Asked, desk: Desk, how: str) -> str:
    """ "Zed s, say again"; with its place where another is in hand, as when a sweep has named its next circuit."""
    quantity = desk.grammar.quantities[asked.quantity]
    elsewhere = asked.place != talk.place and quantity.places != ("board",)
    place = f"{desk.phrasing.place(asked.place, with_name=False)}. " if elsewhere else ""
    in_full = quantity.value == "choice"  # its words alone are nothing ("b")
    return f"{place}{desk.phrasing.quantity(asked.quantity, asked.conditions)}, {'say it in full' if in_full else how}"


def _is_retest(pending: Pending, desk: Desk) -> bool:
    line = desk.record.line(pending.number)
    return line is not None and line.entry.kind is EntryKind.CALLED and line.entry.refers is not None


def disregard(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The pending reading, or else the last one, is as never said."""
    meant = talk.pending or talk.last
    if meant is None or not counts(meant, desk) and talk.pending is None:
        return speak(talk, "nothing to disregard", Tone.ATTENTION)
    text = f"disregarded, {_told_again(talk, meant, desk)}"
    talk = talk.having(mode=Mode.LISTENING, pending=None, last=None, asked=None, said=text)
    return Turn(talk, (*_withdrawals(meant, said, desk, "disregard"), Speak(text, Tone.ATTENTION)))


def _withdrawal(number: int, said: Said, reason: str) -> Draft:
    return Draft(
        kind=EntryKind.WITHDRAWN,
        words=said.understood.words,
        refers=number,
        reason=reason,
        speaker=said.speaker,
    )


def counts(meant: Pending, desk: Desk) -> bool:
    """Whether the reading is on the record still."""
    line = desk.record.line(meant.number)
    return line is not None and line.removed is None


def asked_again(talk: Conversation, reading: Reading, desk: Desk) -> Asked:
    """The same reading, its value wanted anew."""
    unit = unit_of(talk, reading, desk)
    return Asked(place=reading.place, quantity=reading.quantity, unit=unit, conditions=reading.conditions)


def unit_of(talk: Conversation, reading: Reading, desk: Desk) -> str:
    """A word has none ("no earth"), but what it was said for has: a step, a watch, a quantity of one unit alone."""
    return reading.unit or _known_unit(talk, reading, desk)


def _known_unit(talk: Conversation, what: Asked | Reading, desk: Desk) -> str:
    units = desk.grammar.quantities[what.quantity].units
    only = units[0] if len(units) == 1 else ""
    return next((step.unit for step in talk.gone_round if step.is_met_by(what)), only)
