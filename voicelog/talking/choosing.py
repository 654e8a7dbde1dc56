"""Two readings score close: both are said, and the answer chooses."""

from voicelog.model import Called, Reading
from voicelog.talking.calling import Incomplete, asked_again, call, reading_from, take_call
from voicelog.talking.conversation import Conversation, Desk, Mode, Said, Turn, speak
from voicelog.talking.refusing import awaiting
from voicelog.talking.tones import Tone


def ask_which(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The two best readings score close: say both, digit by digit, and ask."""
    meant = (said.understood.meaning, said.understood.rival)
    readings = []
    for called in meant:
        try:
            readings.append(reading_from(called, talk, desk))
        except Incomplete:
            return call(talk, said, desk)
    first, second = (_apart(reading, readings, desk) for reading in readings)
    text = f"{first}, or {second}?"
    suspect = call(talk, said, desk).talk.suspect
    asking = talk.having(mode=Mode.CHOOSING, choices=meant, repeated=False, suspect=suspect)
    return speak(asking, text, Tone.ASKED)


def _apart(reading: Reading, readings: list[Reading], desk: Desk) -> str:
    """Only what tells the two apart."""
    first, second = readings
    if first.place != second.place:
        return desk.phrasing.reading(reading)
    if (first.quantity, first.conditions) != (second.quantity, second.conditions):
        return desk.phrasing.measured(reading)
    return desk.phrasing.value(reading.value, reading.unit, reading.quantity)


def choose(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """An answer that fits one of the two choices alone is taken, and said back as any reading; so is a third."""
    answer = said.understood.meaning
    fits = [choice for choice in talk.choices if _fits(answer, choice)]
    if not fits and answer.quantity and answer.value:
        fits = [answer]
    if len(fits) == 1:
        return take_call(talk.having(mode=Mode.LISTENING, choices=()), said, desk, fits[0])
    return speak(talk, talk.said, Tone.ASKED)


def _fits(answer: Called, choice: Called) -> bool:
    """Whether every part that was said agrees with the choice; the conditions are said with the quantity."""
    parts = ("place", "quantity", "value", "unit", *(("conditions",) if answer.quantity else ()))
    return all(not getattr(answer, part) or getattr(answer, part) == getattr(choice, part) for part in parts)


def drop_choices(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Neither: nothing was kept."""
    return speak(without_choices(talk, desk), "disregarded, say the reading again", Tone.ATTENTION)


def without_choices(talk: Conversation, desk: Desk) -> Conversation:
    """Neither is meant; where both were of one quantity and place, its value is awaited there still."""
    readings = [reading_from(choice, talk, desk) for choice in talk.choices]
    talk = talk.having(mode=Mode.LISTENING, choices=())
    if not readings or len({(r.place, r.quantity, tuple(r.conditions.items())) for r in readings}) > 1:
        return talk
    return awaiting(talk, asked_again(talk, readings[0], desk))
