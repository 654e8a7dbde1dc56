"""The dialogue as a table: what each kind of utterance does in each mode.

Theory. An utterance has one kind (``kind_of``): a complete reading, a bare
value, a place, the key of a command, words that nearly made sense, other talk,
or silence. The mode says what is awaited. ``TABLE[mode][kind]`` is the move; a
kind that a mode does not list changes nothing, so a stray "yes" never records
and ordinary talk never interrupts. ``ANYWHERE`` holds the moves that ask and
do not answer.

    LISTENING    a reading is kept as awaiting and said back          -> CONFIRMING
                 two readings score close: both are said              -> CHOOSING
    CONFIRMING   affirm keeps; negative withdraws and asks again;
                 a correction replaces and is said back in turn;
                 disregard withdraws; silence repeats once, then
                 leaves the reading unconfirmed: it never confirms     -> LISTENING
                 (second person: the next reading lets it stand,
                 unless it was hard to believe, or of a quantity
                 that is no part of the sweep or sequence)
    CHOOSING     an answer that fits one choice alone takes it        -> CONFIRMING
    NAMING       the next words name a wander-lead point              -> LISTENING
    DICTATING    every utterance is taken down until "end note"
                 or silence                                           -> LISTENING
    STANDING_BY  nothing but "resume"                                 -> LISTENING

A move is a function of the conversation, the event and the desk. It changes
nothing outside: it gives back the conversation after it, and acts for the
session to carry out in order. Entries come before words.
"""

from dataclasses import replace

from voicelog.model import Called, Command, Entry, EntryKind, NotUnderstood
from voicelog.talking import calling, choosing, correcting, noting, refusing, telling, touring, unplugging, watching
from voicelog.talking.conversation import (
    Conversation,
    Desk,
    End,
    Event,
    Keep,
    Mode,
    Move,
    Redo,
    Said,
    Silence,
    Speak,
    Turn,
    speak,
)
from voicelog.talking.shortened import in_full, lacks_quantity
from voicelog.talking.tones import Tone

# Seconds of silence after which a pending reading is said again, and then left; and a dictation ends.
PATIENCE_S = 8.0
DICTATION_S = 4.0

# What is said last and is no reading: whoever takes it back does not mean the reading before it.
_ASIDES = (EntryKind.REFUSED, EntryKind.NOTED)
_NOTHING_KEPT = "nothing of that was kept"


def _ignore(talk: Conversation, said: Said, desk: Desk) -> Turn:
    return Turn(talk)


def _value(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A bare value counts only where the quantity and the place are known."""
    if talk.asked is None:
        return Turn(talk)
    if watching.awaits(talk):
        return watching.take(talk, said, desk)
    return touring.look_ahead(calling.call(talk, said, desk), desk, advance=touring.on_course(talk))


def _value_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """In a watch, and with a second person what was asked for since; otherwise another for the one said back."""
    if watching.awaits(talk) and not talk.pending.doubted:
        return watching.take(talk, said, desk)
    if not desk.awaits_answer(talk) and talk.asked:
        turn = calling.call_while_confirming(talk, said, desk)
        return touring.look_ahead(turn, desk, advance=touring.on_course(talk))
    return _correct(talk, said, desk)


def _reading_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The same quantity called again, its answer still open, is its right value; any other reading is the next one."""
    called = said.understood.meaning
    if not (desk.awaits_answer(talk) and calling.is_same(called, talk)):
        return calling.call_while_confirming(talk, said, desk)
    value = Called(value=called.value, unit=called.unit, repaired=called.repaired)
    return _correct(talk, replace(said, understood=said.understood.model_copy(update={"meaning": value})), desk)


def _wrong_place(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "That was circuit seven": a correction of the place alone."""
    return _correct(talk, said, desk)


def _correct(talk: Conversation, said: Said, desk: Desk) -> Turn:
    if not desk.awaits_answer(talk) and _call_was_refused(talk) and not refusing.of_pending(said.called, talk):
        return _call_again(talk, said, desk)
    turn, meant = correcting.correct(talk, said, desk), talk.pending or talk.last
    return watching.corrected(turn, meant.reading, said.at_s) if talk.watch and meant else turn


def _call_was_refused(talk: Conversation) -> bool:
    """Whether what was said last made no reading, and was no correction of the one before it."""
    return talk.aside is EntryKind.REFUSED and not talk.open_correction


def _call_again(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """A correction of what was refused is a call of its own; the reading before it stays as it is."""
    called = said.called
    if called is None or called.value is None or not (called.quantity or talk.asked):
        return speak(talk.having(aside=None), f"{_NOTHING_KEPT}, say it in full", Tone.ATTENTION)
    plain = replace(said, understood=said.understood.model_copy(update={"meaning": called}))
    if called.quantity:
        return calling.call_while_confirming(talk, plain, desk)
    return (_value_while_confirming if talk.pending else _value)(talk, plain, desk)


def _affirm(talk: Conversation, said: Said, desk: Desk) -> Turn:
    turn = calling.affirm(talk, said, desk)
    if talk.tour is None:
        return turn
    shown = [act for act in turn.acts if not (talk.terse and isinstance(act, Speak))]  # the next question tells it
    return Turn(turn.talk.having(due=True), tuple(shown))


def _negate(talk: Conversation, said: Said, desk: Desk) -> Turn:
    turn = calling.negate(talk, said, desk)
    return watching.dropped(turn, talk.pending.reading) if talk.watch else turn


def _disregard(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """In a tour the step is asked for again. What is no reading leaves the one before it alone, once."""
    if talk.pending is None and talk.aside is EntryKind.NOTED:
        return noting.drop(talk, said, desk)
    if talk.pending is None and talk.aside:
        return speak(talk.having(aside=None), _NOTHING_KEPT, Tone.ATTENTION)
    turn, meant = calling.disregard(talk, said, desk), talk.pending or talk.last
    if not _keeps(turn):
        return turn
    if talk.watch:
        return watching.dropped(turn, meant.reading)
    if turn.talk.tour is None:
        return turn
    if turn.talk.tour.here is None:  # its last step: once the withdrawal is kept, that is open again
        return Turn(turn.talk.having(due=True), turn.acts)
    asked = touring.ask_step(turn.talk, desk)
    return Turn(asked.talk, (*turn.acts, *asked.acts))


def _keeps(turn: Turn) -> bool:
    return any(isinstance(act, Keep) for act in turn.acts)


def _undo(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """What awaits its answer is disregarded, and may be done again; otherwise the last thing done is taken back."""
    if talk.pending is None and talk.aside is EntryKind.NOTED and noting.changed_something(desk):
        return noting.drop(talk, said, desk)
    if talk.pending is None or correcting.is_correction(talk.pending, desk) and talk.watch is None:
        return _retraced(correcting.undo(talk, said, desk), desk)
    again = Redo(kind=EntryKind.RESTORED, refers=talk.pending.number)
    return _disregard(talk.having(undone=(*talk.undone, again)), said, desk)


def _redo(talk: Conversation, said: Said, desk: Desk) -> Turn:
    return _retraced(correcting.redo(talk, said, desk), desk)


def _redo_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Only of what the last "undo" brought back to be answered."""
    return _redo(talk, said, desk) if correcting.was_brought_back(talk, desk) else Turn(talk)


def _retraced(turn: Turn, desk: Desk) -> Turn:
    """A tour asks for its step again, which may be another one now; what was taken back counts no more in a watch."""
    if turn.talk.tour is not None:
        return Turn(turn.talk.having(due=_keeps(turn) and turn.talk.pending is None), turn.acts)
    if turn.talk.watch is None:
        return turn
    drafts = [act.draft for act in turn.acts if isinstance(act, Keep) and act.draft.kind is EntryKind.WITHDRAWN]
    line = desk.record.line(drafts[0].refers) if drafts else None
    return watching.dropped(turn, line.reading) if line else turn


def _place(talk: Conversation, said: Said, desk: Desk) -> Turn:
    if talk.tour is None:
        return noting.move_to(talk, said, desk)
    if not touring.leads_out(said.understood.meaning.place, talk, desk):
        return touring.go_to(talk, said, desk)
    closed = touring.close(talk, desk)
    moved = noting.move_to(closed.talk, said, desk)
    return Turn(moved.talk, (*closed.acts, *moved.acts))


def _place_while_confirming(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """Second person: moving on lets the reading stand. Otherwise it must be answered first."""
    return calling.after_standing(_place)(talk, said, desk)


def _stand_by(talk: Conversation, said: Said, desk: Desk) -> Turn:
    return speak(talk.having(mode=Mode.STANDING_BY), "standing by", Tone.KEPT)


def _resume(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """What was awaited before is awaited again, and said: nobody remembers it after a pause."""
    open_question = desk.awaits_answer(talk)
    talk = talk.having(due=talk.tour is not None and not open_question, repeated=False)
    if talk.pending:
        answer = f". {calling.ANSWER}" if open_question else ""
        text = f"listening. {talk.pending.said_back}{answer}"
        return speak(talk.having(mode=Mode.CONFIRMING), text, Tone.ASKED)
    again = ", say the reading again" if talk.choices else ""
    return speak(choosing.without_choices(talk, desk), f"listening{again}", Tone.ASKED)


def _leave_unnamed(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The point gets no name."""
    return speak(talk.having(mode=Mode.LISTENING), "listening", Tone.ASKED)


def _stop(talk: Conversation, said: Said, desk: Desk) -> Turn:
    turn = telling.status(talk, said, desk)
    text = f"stopped. {turn.talk.said}"
    return Turn(talk.having(mode=Mode.ENDED, said=text), (Speak(text, Tone.KEPT), End()))


# Questions and settings: they answer and leave everything as it is, in any mode but standing by.
ANYWHERE: dict[str, Move] = {
    "say_again": telling.say_again,
    "read_back": telling.read_back,
    "status": telling.status,
    "where_am_i": telling.where_am_i,
    "what_failed": telling.what_failed,
    "what_is_left": telling.what_is_left,
    "time_left": telling.time_left,
    "read_board": telling.read_board,
    "running_total": touring.running_total,
    "terse": telling.terse,
    "full": telling.full,
    "louder": telling.adjust,
    "quieter": telling.adjust,
    "faster": telling.adjust,
    "slower": telling.adjust,
    "stand_by": _stand_by,
    "stop": _stop,
}

# Orders that begin something: welcome while listening, and with a second person while confirming.
BEGINNING: dict[str, Move] = {
    "retest": calling.retest,
    "change": correcting.change,
    "start_sweep": touring.start_sweep,
    "start_sequence": touring.start_sequence,
    "next": touring.take_next,
    "skip": touring.take_next,
    "back": touring.go_back,
    "finish": touring.finish,
    "observation": noting.observe,
    "note": noting.take_note,
    "rename": noting.rename,
    "photo": noting.photo,
    "watch": watching.start,
    "name_point": noting.name_point,
    "back_to_point": noting.back_to_point,
    "plus_one": noting.plus_one,
    "count_points": noting.count_points,
    "unplugged": unplugging.unplug,
    "plugged_in": unplugging.plug_in,
}

TABLE: dict[Mode, dict[str, Move]] = {
    Mode.LISTENING: {
        **ANYWHERE,
        **BEGINNING,
        "reading": calling.call,
        "doubtful": choosing.ask_which,
        "value": _value,
        "place": _place,
        "nearly": refusing.explain,
        "correction": _correct,
        "wrong_place": _wrong_place,
        "disregard": _disregard,
        "stop_watching": watching.stop,
        "undo": _undo,
        "redo": _redo,
    },
    Mode.CONFIRMING: {
        **ANYWHERE,
        **{kind: calling.after_standing(move) for kind, move in BEGINNING.items()},
        "affirm": _affirm,
        "negative": _negate,
        "reading": _reading_while_confirming,
        "doubtful": calling.call_while_confirming,
        "value": _value_while_confirming,
        "place": _place_while_confirming,
        "nearly": refusing.explain_while_confirming,
        "correction": _correct,
        "wrong_place": _wrong_place,
        "disregard": _disregard,
        "stop_watching": watching.stop,
        "undo": _undo,
        "redo": _redo_while_confirming,
    },
    Mode.CHOOSING: {
        **ANYWHERE,
        "reading": choosing.choose,
        "value": choosing.choose,
        "doubtful": choosing.choose,
        "place": choosing.choose,
        "negative": choosing.drop_choices,
        "disregard": choosing.drop_choices,
    },
    Mode.NAMING: {"disregard": _leave_unnamed, "else": noting.take_name},
    Mode.DICTATING: {"end_observation": noting.end_dictation, "stop": _stop, "else": noting.take_down},
    Mode.STANDING_BY: {"resume": _resume, "stop": _stop},
    Mode.ENDED: {},
}


# What is said of a reading said back, be it awaited or not.
ANSWERS = frozenset({"affirm", "negative", "correction", "wrong_place", "disregard", "undo", "redo"})


def kind_of(said: Said, desk: Desk) -> str:
    """The one kind of an utterance."""
    meaning = said.understood.meaning
    match meaning:
        case Command(name=name):
            return name
        case NotUnderstood(nearly=nearly):
            return "nearly" if nearly else "talk"
        case Called(value=None):
            return "place"
        case Called() if lacks_quantity(meaning):
            return "talk"
        case Called():
            if _in_doubt(said, desk):
                return "doubtful"
            return "reading" if meaning.quantity else "value"
    raise TypeError(f"not a meaning: {meaning!r}")


def _in_doubt(said: Said, desk: Desk) -> bool:
    """Two readings that differ and score close."""
    understood = said.understood
    rival = understood.rival
    if not isinstance(rival, Called) or rival.value is None:
        return False
    return understood.margin is not None and understood.margin < desk.close


def step(talk: Conversation, event: Event, desk: Desk) -> Turn:
    """One event: the conversation after it, and what is to be done."""
    if isinstance(event, Silence):
        return _silence(talk, event, desk)
    talk = talk.having(suspect=None)
    event, moves = in_full(event, talk), TABLE[talk.mode]
    move = moves.get(kind_of(event, desk)) or moves.get("else", _ignore)
    turn = _with_next_step(move(talk, event, desk), desk)
    after = _still_asking(turn.talk).having(
        aside=_aside(turn), open_correction=_open_correction(talk, event, turn, desk)
    )
    return Turn(after, turn.acts)


def _with_next_step(turn: Turn, desk: Desk) -> Turn:
    """Second person: whatever was said back within a tour, its step is named after it; a watch awaits its next."""
    talk = turn.talk
    if talk.pending is None or talk.pending.number or talk.due:
        return turn
    if talk.watch and not desk.awaits_answer(talk):
        return Turn(talk.having(asked=talk.watch.asked), turn.acts)
    return touring.look_ahead(turn, desk, advance=False)


def _aside(turn: Turn) -> EntryKind | None:
    """What was said last, if it is no reading: "disregard" is about that, and not about the reading before it."""
    kept = [act.draft.kind for act in turn.acts if isinstance(act, Keep)]
    if not kept:
        return turn.talk.aside
    return kept[-1] if kept[-1] in _ASIDES else None


def _open_correction(talk: Conversation, said: Said, turn: Turn, desk: Desk) -> bool:
    """Whether a correction of the last reading was refused: the next one is not of the refusal, but of that reading."""
    if not _keeps(turn):
        return turn.talk.open_correction
    if _aside(turn) is not EntryKind.REFUSED or _call_was_refused(talk):
        return False
    meaning = said.understood.meaning
    again = isinstance(meaning, NotUnderstood) and refusing.of_pending(meaning.called, talk)
    return again or correcting.is_meant(said, desk.grammar)


def _still_asking(talk: Conversation) -> Conversation:
    """While nothing else is awaited, a bare value is one of what is watched or gone round."""
    if talk.mode is not Mode.LISTENING or talk.asked:
        return talk
    if talk.watch:
        return talk.having(asked=talk.watch.asked)
    return talk.having(asked=talk.tour.here) if talk.tour else talk


def _silence(talk: Conversation, silence: Silence, desk: Desk) -> Turn:
    """Silence repeats a question once and then leaves it; it never confirms."""
    if talk.mode is Mode.DICTATING and silence.seconds >= DICTATION_S:
        return noting.end_dictation(talk, silence, desk)
    if not _waits(talk, desk) or silence.seconds < PATIENCE_S:
        return Turn(talk)
    if not talk.repeated:
        return Turn(talk.having(repeated=True), (Speak(_question(talk), Tone.ASKED),))
    left = talk.having(mode=Mode.LISTENING, last=talk.pending or talk.last, pending=None, choices=(), asked=None)
    asking = _still_asking(left).having(due=talk.tour is not None)
    return speak(asking, "left unconfirmed", Tone.ATTENTION)


def _question(talk: Conversation) -> str:
    """What was said last, unless that was of something else: a status asked for in between."""
    if talk.pending is None or talk.pending.said_back in talk.said:
        return talk.said
    return f"{talk.pending.said_back}. {calling.ANSWER}"


def _waits(talk: Conversation, desk: Desk) -> bool:
    """Whether a question is open."""
    return desk.must_be_answered(talk) if talk.mode is Mode.CONFIRMING else talk.mode is Mode.CHOOSING


def onward(talk: Conversation, desk: Desk) -> Turn:
    """What the dialogue does by itself once the entries of a turn are kept: a tour asks for its next step."""
    return touring.move_on(talk.having(due=False), desk) if talk.due else Turn(talk)


def numbered(talk: Conversation, entry: Entry) -> Conversation:
    """The conversation once the journal has numbered the entry of its pending reading."""
    brings = entry.kind in (EntryKind.CALLED, EntryKind.CORRECTED)
    if talk.pending is None or not brings or talk.pending.number:
        return talk
    return talk.having(pending=talk.pending.model_copy(update={"number": entry.number}))
