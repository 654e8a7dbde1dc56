"""Readings put right: corrected, changed, moved, and what was done taken back and done again."""

from voicelog.keeping.record import Line, key_of
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.phrase import read_phrase, spellings
from voicelog.model import Called, Command, Conditions, Draft, EntryKind, Reading, Standing
from voicelog.talking.calling import (
    ANSWER,
    UNNAMED,
    Incomplete,
    ask_value,
    asked_again,
    check,
    counts,
    draft_of,
    reason_at,
    refuse,
    say_back,
    unit_of,
    with_point,
)
from voicelog.talking.conversation import Conversation, Desk, Keep, Mode, Pending, Redo, Said, Speak, Turn, speak
from voicelog.talking.shortened import lacks_quantity
from voicelog.talking.tones import Tone

CORRECTIONS = ("correction", "wrong_place")


def is_meant(said: Said, grammar: Grammar) -> bool:
    """Whether the words are a correction, or, where they made no sense, began as one."""
    meaning = said.understood.meaning
    if isinstance(meaning, Command):
        return meaning.name in CORRECTIONS
    orders = (grammar.commands[name] for name in CORRECTIONS)
    phrases = (phrase for order in orders for phrase in (*order.said, *order.before, *order.typed))
    begun = {tuple(words) for phrase in phrases for words in spellings(read_phrase(phrase))}
    return any(said.understood.words[: len(words)] == words for words in begun)


def correct(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Correction" with the right form in the same breath, or alone: then the value is asked for."""
    meant = talk.pending or talk.last
    if meant is None or not counts(meant, desk):
        return speak(talk, "nothing to correct", Tone.ATTENTION)
    called = said.called
    if called is None:
        asked = asked_again(talk, meant.reading, desk)
        text = ask_value(talk, asked, desk, "say the value")
        disowned = meant.model_copy(update={"doubted": True})  # silence must not let it stand now
        return speak(talk.having(asked=None, pending=disowned, mode=Mode.CONFIRMING), text, Tone.ASKED)
    other = _other_on_record(talk, called, meant, desk)
    if other:
        reading = desk.phrasing.reading(other.reading, with_name=False)
        return refuse(talk, said, f"{reading}, is on the record already. to put that right say change")
    return replace(talk, said, desk, meant, called)


def _other_on_record(talk: Conversation, called: Called, meant: Pending, desk: Desk) -> Line | None:
    """The reading that a correction names in full, where it is another than the one said last.

    Either may be meant, and if the wrong one were replaced, a true reading would be lost or a false one would stand.
    """
    if not called.quantity or called.value is None:
        return None
    old = meant.reading
    place, conditions = called.place or old.place, _conditions(talk, called, old)
    line = desk.record.latest(place, called.quantity, conditions)
    return line if line and line.key != key_of(old.place, old.quantity, old.conditions) else None


def _conditions(talk: Conversation, called: Called, old: Reading) -> Conditions:
    """Those said, or else the old ones; R2 put right stays at the point that it was read at."""
    if not called.quantity:
        return old.conditions
    if called.quantity != old.quantity:
        return with_point(called, called.place or old.place, talk)
    point = {key: kept for key, kept in old.conditions.items() if key == "point"}
    return {**called.conditions, **point}


def replace(talk: Conversation, said: Said, desk: Desk, meant: Pending, called: Called) -> Turn:
    """Keep a corrected reading that points at the one it replaces, and say it back."""
    old = meant.reading
    if lacks_quantity(called):
        return refuse(talk, said, UNNAMED)
    reading = Reading(
        place=called.place or old.place,
        quantity=called.quantity or old.quantity,
        value=called.value or old.value,
        unit=_unit(talk, called, old, desk),
        conditions=_conditions(talk, called, old),
    )
    try:
        check(reading, desk)
    except Incomplete as wrong:
        return refuse(talk, said, str(wrong))
    draft = draft_of(EntryKind.CORRECTED, said, reading, desk.judge(reading, desk.record))
    why = "" if reading.place == old.place else reason_at(reading.place, talk)
    turn = say_back(talk, draft.model_copy(update={"refers": meant.number, "reason": why}), desk, called)
    return Turn(turn.talk.having(place=talk.place), turn.acts) if _moved_on(talk, old) else turn


def _moved_on(talk: Conversation, old: Reading) -> bool:
    """Whether another place was taken in hand since: what is called next belongs there. A tour takes its own step."""
    return talk.tour is None and talk.place not in (None, old.place)


def _unit(talk: Conversation, called: Called, old: Reading, desk: Desk) -> str:
    if called.value is None or called.unit:
        return called.unit or old.unit
    return unit_of(talk, old, desk) if called.value.kind == "number" and not called.quantity else ""


def change(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Change circuit six leakage to two point four": replaces what is on the record."""
    called = said.understood.meaning.called
    place = called.place or talk.place
    conditions = with_point(called, place, talk)
    line = desk.record.latest(place, called.quantity, conditions) if place else None
    if line is None:
        return refuse(talk, said, "there is no such reading on the record to change")
    meant = Pending(number=line.entry.number, reading=line.reading, verdict=line.verdict)
    plain = Called(place=place, value=called.value, unit=called.unit)
    return replace(talk, said, desk, meant, plain)


def undo(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Take back the last thing done to the record; again, the one before. A correction not yet answered comes first."""
    pending = talk.pending and desk.record.line(talk.pending.number)
    line = pending or _last_changed(desk, skip={again.refers for again in talk.undone})
    if line is None:
        return speak(talk, "nothing to undo", Tone.ATTENTION)
    back, again = _there_and_back(line)
    return _take_back(talk.having(undone=(*talk.undone, again)), said, desk, back, "undone")


def is_correction(pending: Pending, desk: Desk) -> bool:
    """Whether it stands in the place of a reading that comes back without it."""
    line = desk.record.line(pending.number)
    return line is not None and line.entry.kind is EntryKind.CORRECTED and line.entry.refers is not None


def was_brought_back(talk: Conversation, desk: Desk) -> bool:
    """Whether the pending reading is the one that the last "undo" brought back."""
    if not talk.undone:
        return False
    again = talk.undone[-1].refers
    line = desk.record.line(again)
    return talk.pending.number in (again, line.entry.refers if line else None)


def _last_changed(desk: Desk, skip: set[int]) -> Line | None:
    lines = [line for line in desk.record.lines if line.number not in skip and line.replaced_by is None]
    return max(lines, key=lambda line: line.history[-1].number, default=None)


def _there_and_back(line: Line) -> tuple[Redo, Redo]:
    """What takes the last change of a line back, and what does it again."""
    if line.standing is Standing.WITHDRAWN:
        return Redo(kind=EntryKind.RESTORED, refers=line.number), Redo(kind=EntryKind.WITHDRAWN, refers=line.number)
    if line.entry.kind is EntryKind.CORRECTED and line.entry.refers is not None:
        return Redo(kind=EntryKind.RESTORED, refers=line.entry.refers), Redo(
            kind=EntryKind.RESTORED, refers=line.number
        )
    return Redo(kind=EntryKind.WITHDRAWN, refers=line.number), Redo(kind=EntryKind.RESTORED, refers=line.number)


def redo(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Do again what "undo" took back."""
    if not talk.undone:
        return speak(talk, "nothing to do again", Tone.ATTENTION)
    return _take_back(talk.having(undone=talk.undone[:-1]), said, desk, talk.undone[-1], "done again")


def _take_back(talk: Conversation, said: Said, desk: Desk, change: Redo, what: str) -> Turn:
    line = desk.record.line(change.refers)
    verb = "withdrawn" if change.kind is EntryKind.WITHDRAWN else "back on the record"
    said_back = desk.phrasing.reading(line.reading)
    text = f"{what}. {verb}, {said_back}"
    kept = Keep(
        Draft(kind=change.kind, words=said.understood.words, refers=change.refers, reason=what, speaker=said.speaker)
    )
    if talk.pending and talk.tour is None and talk.place == talk.pending.reading.place:
        talk = talk.having(place=line.reading.place)
    talk = talk.having(pending=None, mode=Mode.LISTENING)
    if change.kind is EntryKind.RESTORED and line.confirmed is Standing.AWAITING:
        text = f"{text}. {ANSWER}"
        talk = awaiting_again(talk, line, said_back)
    elif change.kind is EntryKind.RESTORED:
        last = Pending(number=line.number, reading=line.reading, verdict=line.verdict, said_back=said_back)
        talk = talk.having(last=last)
    return Turn(talk.having(said=text, asked=None), (kept, Speak(text, Tone.ATTENTION)))


def awaiting_again(talk: Conversation, line: Line, said_back: str) -> Conversation:
    """What comes back was never answered, and was challenged: silence must not let it stand now."""
    pending = Pending(number=line.number, reading=line.reading, verdict=line.verdict, said_back=said_back, doubted=True)
    return talk.having(mode=Mode.CONFIRMING, pending=pending, repeated=False)
