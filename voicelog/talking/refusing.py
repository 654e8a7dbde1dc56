"""Words that nearly made a reading: why they did not, and what they leave behind.

A call may be refused for its value alone: the unit is missing, no instrument shows so much. Then its value is awaited
where it was called: whoever says no more than the value again means that circuit, and not the one in hand before.
"""

from voicelog.model import Called
from voicelog.talking.calling import Incomplete, ask_first, asked_for, is_same, refuse
from voicelog.talking.conversation import Asked, Conversation, Desk, Said, Turn


def explain(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Why it is no reading; where only the value is wanting, whose."""
    meaning = said.understood.meaning
    try:
        asked = asked_for(meaning.called, talk, desk) if meaning.called else None
    except Incomplete:
        asked = None
    if asked is None:
        return refuse(talk, said, meaning.why)
    where = "" if asked.place == talk.place else f"{desk.phrasing.place(asked.place)}. "
    turn = refuse(talk, said, meaning.why, f"{where}{meaning.why}")
    return Turn(awaiting(turn.talk, asked), turn.acts)


def awaiting(talk: Conversation, asked: Asked) -> Conversation:
    """Nothing but a value is wanted now; its place is in hand, unless a tour goes on from where it was."""
    return talk.at(talk.place if talk.tour else asked.place).having(asked=asked)


def explain_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """What was said back is not touched: a call of anything else lets it stand only once that has its value."""
    meaning = said.understood.meaning
    if meaning.called is None or is_same(meaning.called, talk):
        return refuse(talk, said, meaning.why)
    if desk.awaits_answer(talk):
        return refuse(talk, said, meaning.why, f"{meaning.why}. {ask_first(talk, desk).talk.said}")
    return explain(talk, said, desk)


def of_pending(called: Called | None, talk: Conversation) -> bool:
    """Whether it calls the reading that was said back once more."""
    return called is not None and bool(called.quantity) and talk.pending is not None and is_same(called, talk)
