"""Observations, notes, photo reminders, wander-lead points, points counted, things unplugged.

Free words are kept as sound with the best words that the ear could make of
them, marked unverified, to be put right at review.
"""

from collections.abc import Iterator
from decimal import Decimal

from voicelog.installation import Sheet
from voicelog.meaning.phrase import first_spelling
from voicelog.model import Draft, EntryKind, Number, Place, Reading
from voicelog.talking.calling import retest, say_back
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
    Unplugged,
    speak,
)
from voicelog.talking.tones import Tone

# Kinds of note that more than one move speaks of.
COUNTED, UNCOUNTED, UNPLUGGED, PLUGGED_IN = "point counted", "point taken back", "unplugged", "plugged in"


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
    """ "Rename circuit five": the next words are taken down as its name; the sheet is changed at the desk."""
    place = said.understood.meaning.called.place
    return _dictate(talk, Note(kind="rename", place=place), f"{desk.phrasing.place(place)}. say the new name")


def _dictate(talk: Conversation, note: Note, text: str) -> Turn:
    return speak(talk.having(mode=Mode.DICTATING, note=note), text, Tone.ASKED)


def take_down(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Free words: kept as they are, unverified. A new name is one utterance."""
    begun = talk.having(note=talk.note.model_copy(update={"begun": True}))
    turn = Turn(begun, (Keep(_noted(talk.note, said)),))
    if talk.note.kind != "rename":
        return turn
    ended = end_dictation(begun, said, desk)
    return Turn(ended.talk, (*turn.acts, *ended.acts))


def _noted(note: Note, said: Said) -> Draft:
    detail = {"kind": note.kind, "words": "unverified"}
    if note.code:
        detail["code"] = note.code
    return Draft(
        kind=EntryKind.NOTED, words=said.understood.words, place=note.place, speaker=said.speaker, detail=detail
    )


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
    named = talk.having(mode=Mode.LISTENING, point=name, said=text, asked=asked, due=due)
    return Turn(named, (Keep(draft), Speak(text, Tone.KEPT)))


def _at_point(name: str, talk: Conversation) -> Asked | None:
    """A bare value is now R2 at the point; but what is gone round or watched keeps its own."""
    if talk.tour or talk.watch or talk.place is None or talk.place.rcd:
        return talk.asked
    return Asked(place=talk.place, quantity="r2_cpc", unit="ohm", conditions={"point": name})


# ---------------------------------------------------------------- points counted


def plus_one(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """One more point on the circuit in hand."""
    if talk.place is None or not talk.place.circuit:
        return speak(talk, "say the circuit first", Tone.ATTENTION)
    return _counted(talk, said, desk, talk.place, COUNTED, _points(desk, talk.place) + 1)


def changed_something(desk: Desk) -> bool:
    """Whether the last note is more than words: a count, or a reason of the readings that follow."""
    return desk.record.notes[-1].detail.get("kind") in (COUNTED, UNCOUNTED, UNPLUGGED)


def drop(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The last note is called off: a point counted is none, what was unplugged is no reason. Its words stay as said."""
    note = desk.record.notes[-1]
    kind = note.detail.get("kind")
    if kind in (COUNTED, UNCOUNTED) and _points(desk, note.place):
        return _counted(talk, said, desk, note.place, UNCOUNTED, _points(desk, note.place) - 1)
    if kind == UNPLUGGED:
        talk = talk.having(unplugged=_without(talk.unplugged, note.detail["item"]))
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
        return speak(talk, "say the circuit first", Tone.ATTENTION)
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


# ---------------------------------------------------------------- unplugged


def unplug(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """What was unplugged is the reason of the readings that follow where it belongs, until it is plugged in again."""
    item = _item(said)
    out = Unplugged(item=item, at=tuple(concerned(item, desk.sheet)))
    others = _without(talk.unplugged, item)
    turn = _told(talk.having(unplugged=(*others, out)), said, UNPLUGGED, f"unplugged {item}")
    if "then" not in said.understood.meaning.arguments:
        return turn
    again = retest(turn.talk, said, desk)
    return Turn(again.talk, (*turn.acts, *again.acts))


def plug_in(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The item is connected again: no reading has it as its reason any more."""
    item = _item(said)
    return _told(talk.having(unplugged=_without(talk.unplugged, item)), said, PLUGGED_IN, f"{item} plugged in")


def _item(said: Said) -> str:
    return said.understood.meaning.arguments.get("item", "")


def _without(unplugged: tuple[Unplugged, ...], item: str) -> tuple[Unplugged, ...]:
    return tuple(one for one in unplugged if one.item != item)


def concerned(item: str, sheet: Sheet) -> Iterator[str]:
    """Keys of the places whose readings change when the item is unplugged."""
    for board in sheet.boards:
        for circuit in board.circuits:
            if item in circuit.items:
                yield Place(board=board.reference, circuit=circuit.number).key
                if circuit.rcd:
                    yield Place(board=board.reference, rcd=circuit.rcd).key
                yield Place(board=board.reference).key


def _told(talk: Conversation, said: Said, kind: str, text: str) -> Turn:
    draft = Draft(
        kind=EntryKind.NOTED,
        words=said.understood.words,
        place=talk.place,
        speaker=said.speaker,
        detail={"kind": kind, "item": _item(said)},
    )
    return Turn(talk.having(said=text), (Keep(draft), Speak(text, Tone.KEPT)))


def move_to(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A place alone: it is in hand from now on, and nothing is watched at another any more."""
    place: Place = said.understood.meaning.place
    text = desk.phrasing.place(place)
    draft = Draft(kind=EntryKind.MOVED, words=said.understood.words, place=place, said_back=text, speaker=said.speaker)
    talk = talk.having(place=place, asked=None, watch=None, point="", said=text)
    return Turn(talk, (Keep(draft), Speak(text)))
