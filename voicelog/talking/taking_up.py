"""A job taken up again: what the visit before left open is told, and asked about.

What was unplugged then is unplugged still. A reading that was said back when the visit was broken off is said back once
more: nobody can answer what nobody hears. Where it was broken off on another board than the first, that is in hand
again: "circuit one" means the one there. A visit that was ended in order left its readings as they are.
"""

from voicelog.keeping.record import Line
from voicelog.model import Entry, EntryKind, Place, Standing
from voicelog.talking.calling import ANSWER
from voicelog.talking.conversation import Conversation, Desk, Turn, speak
from voicelog.talking.correcting import awaiting_again
from voicelog.talking.tones import Tone
from voicelog.talking.unplugging import left_unplugged, named


def taken_up(talk: Conversation, desk: Desk) -> Turn:
    """The conversation to begin with, once the beginning is on the record; nothing is said where nothing is open."""
    parts = []
    if out := left_unplugged(desk):
        parts.append(f"still unplugged, {', '.join(named(one.item, one.place, desk) for one in out)}")
        talk = talk.having(unplugged=out)
    if line := _broken_off(desk):
        said_back = desk.phrasing.reading(line.reading)
        parts.append(f"broken off at {said_back}. {ANSWER}")
        talk = awaiting_again(talk.having(place=line.reading.place), line, said_back)
    elif place := _left_at(desk):
        parts.append(f"in hand, {desk.phrasing.place(place)}")
        talk = talk.having(place=place)
    return speak(talk, ". ".join(parts), Tone.ATTENTION) if parts else Turn(talk)


def _broken_off(desk: Desk) -> Line | None:
    """The last reading of a visit without an end, where it awaits its answer."""
    began, lines = _began(desk), desk.record.lines
    if began is None or not lines or lines[-1].number < began.number:
        return None
    return lines[-1] if lines[-1].standing is Standing.AWAITING else None


def _left_at(desk: Desk) -> Place | None:
    """The last place of a visit without an end, where a number alone would now mean another board's circuit."""
    began = _began(desk)
    if began is None:
        return None
    moved = ((entry.number, entry.place) for entry in desk.record.others if entry.kind is EntryKind.MOVED)
    called = ((line.number, line.reading.place) for line in desk.record.lines)
    places = {number: place for number, place in (*moved, *called) if number > began.number}
    last = places[max(places)] if places else None
    return last if last and last.board != desk.sheet.boards[0].reference else None


def _began(desk: Desk) -> Entry | None:
    """Where the visit before this one began, if it has no end."""
    marks = [entry for entry in desk.record.others if entry.kind in (EntryKind.STARTED, EntryKind.STOPPED)]
    before = marks[-2] if len(marks) > 1 else None
    return before if before and before.kind is EntryKind.STARTED else None
