"""Calls in which the quantity is left out, and yet told by what stands before the value.

"Five times nine point one", in a sequence that asks for the times of an RCD: what is asked for, and in a correction or
retest the reading that it concerns, has the quantity. Where nothing has it the words are ordinary talk.
"""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from voicelog.model import Called, Command, Meaning, Reading
from voicelog.talking.conversation import Asked, Conversation, Said


def in_full(said: Said, talk: Conversation) -> Said:
    """The same with the quantity, and the unit that it is asked for in, put where they were left out."""
    understood = said.understood
    told = {"meaning": _in_full(understood.meaning, talk), "rival": _in_full(understood.rival, talk)}
    return replace(said, understood=understood.model_copy(update=told))


def lacks_quantity(called: Called) -> bool:
    """Whether the value was told apart from others of a quantity that nobody said or asks for."""
    return bool(called.conditions) and not called.quantity


def _in_full(meaning: Meaning | None, talk: Conversation) -> Meaning | None:
    match meaning:
        case Called():
            return _named(meaning, _asked_for(talk))
        case Command(called=Called()):
            named = _named(meaning.called, (*_said_before(talk), *_asked_for(talk)))
            return meaning.model_copy(update={"called": named})
    return meaning


def _named(called: Called, known: Iterable[Asked | Reading]) -> Called:
    if not lacks_quantity(called):
        return called
    alike = next((one for one in known if one.conditions.keys() == called.conditions.keys()), None)
    if alike is None:
        return called
    unit = called.unit or (alike.unit if called.value.kind == "number" else "")
    return called.model_copy(update={"quantity": alike.quantity, "unit": unit})


def _asked_for(talk: Conversation) -> Iterator[Asked]:
    """What is asked for now, and then by the steps of what is gone round."""
    if talk.asked:
        yield talk.asked
    if talk.tour:
        yield from talk.tour.steps


def _said_before(talk: Conversation) -> Iterator[Reading]:
    """The reading that a correction or a retest concerns."""
    meant = talk.pending or talk.last
    if meant:
        yield meant.reading
