"""Observations, notes, photo reminders, wander-lead points, points counted.

Free words are kept as sound with the best words that the ear could make of
them, marked unverified, to be put right at review.
"""

from decimal import Decimal

from voicelog.meaning.phrase import first_spelling
from voicelog.model import Called, Draft, EntryKind, Number, Place, Reading
from voicelog.talking import unplugging
from voicelog.talking.calling import say_back
from voicelog.talking.conversation import (
    Asked,
    Conversation,
    Desk,
    Keep,
    Mode,
    Note,
    Said,
    Speak,
    Turn,
    circuit_first,
    speak,
)
from voicelog.talking.tones import Tone

COUNTED, UNCOUNTED = "point counted", "point taken back"  # kinds of note


def observe(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Observation, circuit two, code two": the next words are taken down."""
    meaning = said.understood.meaning
    place = (meaning.called.place if meaning.called else None) or talk.place
    note = Note(kind="observation", code=meaning.arguments.get("code", ""), place=place)
    return _dictate(talk, note, _about(note, desk))


def _about(note: Note, desk: Desk) -> str:
    """The code and the place as they are kept: a code misheard is another danger."""
    code = first_spelling(desk.grammar.places.codes[note.code][0]) if note.code else ""
    place = desk.phrasing.place(note.place, with_name=False) if note.place else ""
    return ", ".join(part for part in ("observation", code, place, "go ahead") if part)


def take_note(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The next words are taken down."""
    return _dictate(talk, Note(kind="note", place=talk.place), "note, go ahead")


def rename(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Rename circuit five": the next words are taken down as its name; the sheet is changed at the desk.

    Typed in the same breath it is kept as it would be after the question.
    """
    meaning = said.understood.meaning
    place, name = meaning.called.place, meaning.arguments.get("name", "")
    note, where = Note(kind="rename", place=place), desk.phrasing.place(place)
    if not name:
        return _dictate(talk, note, f"{where}. say the new name")
    text = f"{where}. noted"
    return Turn(talk.having(said=text), (Keep(_noted(note, said, tuple(name.split()))), Speak(text, Tone.KEPT)))


def _dictate(talk: Conversation, note: Note, text: str) -> Turn:
    return speak(talk.having(mode=Mode.DICTATING, note=note), text, Tone.ASKED)


def take_down(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Free words: kept as they are, unverified. A new name is one utterance."""
    begun = talk.having(note=talk.note.model_copy(update={"begun": True}))
    turn = Turn(begun, (Keep(_noted(talk.note, said, said.understood.words)),))
    if talk.note.kind != "rename":
        return turn
    ended = end_dictation(begun, said, desk)
    return Turn(ended.talk, (*turn.acts, *ended.acts))


def _noted(note: Note, said: Said, words: tuple[str, ...]) -> Draft:
    detail = {"kind": note.kind, "words": "unverified"}
    if note.code:
        detail["code"] = note.code
    return Draft(kind=EntryKind.NOTED, words=words, place=note.place, speaker=said.speaker, detail=detail)


def end_dictation(talk: Conversation, said: object, desk: Desk) -> Turn:
    """The dictation is over: by word, or because nothing more was said. Without words there is nothing to keep."""
    text, tone = ("noted", Tone.KEPT) if talk.note.begun else ("nothing was noted", Tone.ATTENTION)
    return speak(talk.having(mode=Mode.LISTENING, note=None), text, tone)


def photo(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A reminder that a picture belongs here."""
    draft = Draft(
        kind=EntryKind.NOTED,
        words=said.understood.words,
        place=talk.place,
        speaker=said.speaker,
        detail={"kind": "photo"},
    )
    return Turn(talk.having(said="photo noted"), (Keep(draft), Speak("photo noted", Tone.KEPT)))


def _noted_so_far(desk: Desk, kind: str, place: Place | None = None) -> int:
    """How many notes of a kind there are, at a place or anywhere."""
    return sum(note.detail.get("kind") == kind and place in (None, note.place) for note in desk.record.notes)


# ---------------------------------------------------------------- wander lead


def name_point(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Next point": the next words name it freely."""
    return speak(talk.having(mode=Mode.NAMING), "name the point", Tone.ASKED)


def take_name(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The free name of a point, kept as sound; readings of R2 that follow belong to it, a bare value is one."""
    number = _noted_so_far(desk, "point") + 1
    words = said.understood.words
    name = f"point {number}" + (f": {' '.join(words)}" if words else "")
    draft = Draft(
        kind=EntryKind.NOTED,
        words=words,
        place=talk.place,
        speaker=said.speaker,
        detail={"kind": "point", "point": name, "words": "unverified"},
    )
    text = f"point {desk.phrasing.number(number)}"
    asked, due = _at_point(name, talk), talk.tour is not None  # what is gone round says what it asks for still
    meaning, tone = said.understood.meaning, Tone.KEPT
    if isinstance(meaning, Called) and meaning.value is not None:  # "point one" would pass for "nought point one"
        text, tone = f"{text}. that was taken for its name, no value is kept", Tone.ATTENTION
    named = talk.having(mode=Mode.LISTENING, point=name, said=text, asked=asked, due=due)
    return Turn(named, (Keep(draft), Speak(text, tone)))


def back_to_point(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Back to point three": tested once more, where it was."""
    if talk.gone_round:  # a point of another circuit must not be taken for one of its own
        kind = talk.tour.title.split(",")[0] if talk.tour else "watch"
        return speak(talk, f"the {kind} goes on, end it first", Tone.ATTENTION)
    number = int(said.understood.meaning.arguments["count"])
    points = [note for note in desk.record.notes if note.detail.get("kind") == "point"]
    if number > len(points):
        return speak(talk, f"there is no point {desk.phrasing.number(number)}", Tone.ATTENTION)
    note = points[number - 1]
    name, place = note.detail["point"], note.place or talk.place
    if place is None:
        return circuit_first(talk)
    talk = talk.having(place=place, point=name, asked=None)
    asked = _at_point(name, talk)
    asked = asked and asked.model_copy(update={"again": True})
    what = desk.phrasing.quantity("r2_cpc", {"point": name})
    return speak(talk.having(asked=asked), f"{desk.phrasing.place(talk.place)}. {what}?" if asked else what, Tone.ASKED)


def _at_point(name: str, talk: Conversation) -> Asked | None:
    """A bare value is now R2 at the point; but what is gone round or watched keeps its own."""
    if talk.tour or talk.watch or talk.place is None or talk.place.rcd:
        return talk.asked
    return Asked(place=talk.place, quantity="r2_cpc", unit="ohm", conditions={"point": name})


# ---------------------------------------------------------------- points counted


def plus_one(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """One more point on the circuit in hand."""
    if talk.place is None or not talk.place.circuit:
        return circuit_first(talk)
    return _counted(talk, said, desk, talk.place, COUNTED, _points(desk, talk.place) + 1)


def changed_something(desk: Desk) -> bool:
    """Whether the last note is more than words: a count, or a reason of the readings that follow."""
    return desk.record.notes[-1].detail.get("kind") in (COUNTED, UNCOUNTED, unplugging.UNPLUGGED)


def drop(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The last note is called off: a point counted is none, what was unplugged is plugged in. Words stay as said."""
    note = desk.record.notes[-1]
    kind = note.detail.get("kind")
    if kind in (COUNTED, UNCOUNTED) and _points(desk, note.place):
        return _counted(talk, said, desk, note.place, UNCOUNTED, _points(desk, note.place) - 1)
    if kind == unplugging.UNPLUGGED:
        return unplugging.call_off(talk, said, desk, note)
    return speak(talk.having(aside=None), "the note stays, to be put right at review", Tone.ATTENTION)


def _counted(talk: Conversation, said: Said, desk: Desk, place: Place, kind: str, total: int) -> Turn:
    draft = Draft(
        kind=EntryKind.NOTED,
        words=said.understood.words,
        place=place,
        speaker=said.speaker,
        detail={"kind": kind, "total": str(total)},
    )
    text = desk.phrasing.number(total)
    return Turn(talk.having(said=text), (Keep(draft), Speak(text, Tone.KEPT)))


def _points(desk: Desk, place: Place) -> int:
    """How many are counted at a place, less those taken back."""
    return _noted_so_far(desk, COUNTED, place) - _noted_so_far(desk, UNCOUNTED, place)


def count_points(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The total counted becomes a reading, said back like any other."""
    if talk.place is None or not talk.place.circuit:
        return circuit_first(talk)
    count = _points(desk, talk.place)
    if not count:
        return speak(talk, f"no points were counted on {desk.phrasing.place(talk.place)}", Tone.ATTENTION)
    reading = Reading(place=talk.place, quantity="points", value=Number(figure=Decimal(count)))
    draft = Draft(
        kind=EntryKind.CALLED,
        words=said.understood.words,
        place=talk.place,
        reading=reading,
        verdict=desk.judge(reading, desk.record),
        speaker=said.speaker,
    )
    return say_back(talk, draft, desk)


def move_to(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A place alone: it is in hand from now on, and nothing is watched at another any more."""
    place: Place = said.understood.meaning.place
    text = desk.phrasing.place(place)
    draft = Draft(kind=EntryKind.MOVED, words=said.understood.words, place=place, said_back=text, speaker=said.speaker)
    talk = talk.having(place=place, asked=None, watch=None, point="", said=text)
    return Turn(talk, (Keep(draft), Speak(text)))
