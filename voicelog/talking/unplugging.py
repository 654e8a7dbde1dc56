"""What is unplugged: the reason of the readings that follow, where it belongs, until it is plugged in again."""

from collections.abc import Iterator

from voicelog.installation import Sheet
from voicelog.model import EVERYTHING, Draft, Entry, EntryKind, Place
from voicelog.talking.calling import retest
from voicelog.talking.conversation import Conversation, Desk, Keep, Said, Speak, Turn, Unplugged, circuit_first
from voicelog.talking.tones import Tone

UNPLUGGED, PLUGGED_IN = "unplugged", "plugged in"  # kinds of note


def unplug(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Unplugged the tea urn", "unplugged everything": of the circuit in hand. "Retest" may follow at once."""
    item = _item(said)
    if item == EVERYTHING and talk.place is None:
        return circuit_first(talk)
    turn = _noted(talk, said, desk, UNPLUGGED, item, f"unplugged {named(item, talk.place, desk)}")
    if "then" not in said.understood.meaning.arguments:
        return turn
    again = retest(turn.talk, said, desk)
    return Turn(again.talk, (*turn.acts, *again.acts))


def plug_in(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The item is connected again: no reading has it as its reason any more."""
    item = _item(said)
    if item == EVERYTHING and talk.place is None:
        return circuit_first(talk)
    return _noted(talk, said, desk, PLUGGED_IN, item, f"{named(item, talk.place, desk)} plugged in")


def call_off(talk: Conversation, said: Said, desk: Desk, note: Entry) -> Turn:
    """What the note says was never unplugged."""
    item = note.detail["item"]
    text = f"{named(item, note.place, desk)} plugged in"
    turn = _noted(talk.having(place=note.place), said, desk, PLUGGED_IN, item, text)
    return Turn(turn.talk.having(place=talk.place), turn.acts)


def left_unplugged(desk: Desk) -> tuple[Unplugged, ...]:
    """What the notes say was unplugged and not plugged in again."""
    out: tuple[Unplugged, ...] = ()
    for note in desk.record.notes:
        out = _after(out, note.detail.get("kind", ""), note.detail.get("item", ""), note.place, desk.sheet)
    return out


def named(item: str, place: Place | None, desk: Desk) -> str:
    """Of "everything" it is said on which circuit: a sweep may have named its next one since."""
    return f"{item} on {desk.phrasing.place(place, with_name=False)}" if item == EVERYTHING and place else item


def _item(said: Said) -> str:
    return said.understood.meaning.arguments.get("item", "")


def _noted(talk: Conversation, said: Said, desk: Desk, kind: str, item: str, text: str) -> Turn:
    draft = Draft(
        kind=EntryKind.NOTED,
        words=said.understood.words,
        place=talk.place,
        speaker=said.speaker,
        detail={"kind": kind, "item": item},
    )
    out = _after(talk.unplugged, kind, item, talk.place, desk.sheet)
    return Turn(talk.having(unplugged=out, said=text), (Keep(draft), Speak(text, Tone.KEPT)))


def _after(
    out: tuple[Unplugged, ...], kind: str, item: str, in_hand: Place | None, sheet: Sheet
) -> tuple[Unplugged, ...]:
    """What is unplugged after one note more."""
    of_circuit = in_hand if item == EVERYTHING else None
    if kind == UNPLUGGED:
        one = Unplugged(item=item, at=tuple(_concerned(item, in_hand, sheet)), place=of_circuit)
        return (*(other for other in out if other != one), *((one,) if one.at else ()))
    if kind == PLUGGED_IN and of_circuit:
        return tuple(other for other in out if of_circuit.key not in other.at)
    return tuple(other for other in out if other.item != item) if kind == PLUGGED_IN else out


def _concerned(item: str, in_hand: Place | None, sheet: Sheet) -> Iterator[str]:
    """Keys of the places whose readings change when it is unplugged."""
    if item == EVERYTHING and in_hand:
        yield in_hand.key
    for board in sheet.boards:
        for circuit in board.circuits:
            place = Place(board=board.reference, circuit=circuit.number)
            if item in circuit.items or item == EVERYTHING and place == in_hand:
                yield place.key
                if circuit.rcd:
                    yield Place(board=board.reference, rcd=circuit.rcd).key
                yield Place(board=board.reference).key
