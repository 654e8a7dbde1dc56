"""Watching one value over minutes: an element warming up, a leakage climbing.

Each value called is a reading like any other, said back, standing unless
challenged before the next one whatever the policy, and every few of them the
slope and the time to the limit are said. The times are those of the sound.
"""

from decimal import Decimal

from voicelog.checking.trend import FEWEST, Slope, plateau, slope, time_to
from voicelog.checking.units import convert
from voicelog.checking.weighing import Unknown
from voicelog.keeping.watches import WATCHED
from voicelog.model import Comparison, Number, Reading
from voicelog.talking import calling
from voicelog.talking.conversation import (
    Act,
    Asked,
    Conversation,
    Desk,
    Keep,
    Mode,
    Said,
    Speak,
    Turn,
    Watch,
    circuit_first,
    speak,
)
from voicelog.talking.tones import Tone

EVERY = 3  # readings between two words about the slope


def start(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """ "Watch leakage on circuit three": from now on bare values are readings of it."""
    called = said.understood.meaning.called
    place = called.place or talk.place
    if place is None:
        return circuit_first(talk)
    quantity = desk.grammar.quantities[called.quantity]
    asked = Asked(place=place, quantity=quantity.key, unit=quantity.units[0], conditions=called.conditions)
    talk = talk.having(mode=Mode.LISTENING, place=place, asked=asked, tour=None, watch=Watch(asked=asked))
    return speak(talk, f"watching {quantity.says} on {desk.phrasing.place(place)}", Tone.ASKED)


def take(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The next value: the one before stands, this one is said back, and now and then the slope with it."""
    stood = calling.let_stand(talk)
    turn = calling.call(stood.talk.having(asked=talk.watch.asked), said, desk.once_stood(talk.pending))
    if turn.talk.pending is None:
        return Turn(turn.talk.having(asked=talk.watch.asked), (*stood.acts, *turn.acts))
    watch = _with(talk.watch, said.at_s, turn.talk.pending.reading)
    if watch is talk.watch:
        return Turn(turn.talk.having(asked=watch.asked), (*stood.acts, *turn.acts))
    told, timed = _told(watch, turn.talk, desk), _timed(turn.acts, watch)
    acts = (*stood.acts, *timed, *((Speak(told),) if told else ()))
    return Turn(turn.talk.having(watch=watch, asked=watch.asked), acts)


def awaits(talk: Conversation) -> bool:
    """Whether a bare value is the next of the watch, and not another reading asked for again."""
    return talk.watch is not None and talk.asked == talk.watch.asked


def _with(watch: Watch, at_s: float, reading: Reading) -> Watch:
    """One more point in the unit that is watched, when the value is a plain figure."""
    if not _is_point(reading):
        return watch
    figure = format(convert(reading.value.figure, reading.unit, watch.asked.unit), "f")
    return watch.model_copy(update={"times_s": (*watch.times_s, at_s), "values": (*watch.values, figure)})


def _is_point(reading: Reading) -> bool:
    """Neither a word nor a bound ("greater than"): of these there is no slope."""
    return isinstance(reading.value, Number) and reading.value.comparison is Comparison.EQUAL


def _timed(acts: tuple[Act, ...], watch: Watch) -> tuple[Act, ...]:
    """The reading among the acts with its seconds from the first value of the watch."""
    mark = {WATCHED: f"{watch.times_s[-1] - watch.times_s[0]:.2f}"}
    return tuple(
        Keep(act.draft.model_copy(update={"detail": act.draft.detail | mark}))
        if isinstance(act, Keep) and act.draft.reading
        else act
        for act in acts
    )


def corrected(turn: Turn, replaced: Reading, at_s: float) -> Turn:
    """The last value of the watch was put right, or belongs elsewhere; watching goes on.

    ``at_s``: when, for what was no figure before; a figure keeps its own time.
    """
    talk = turn.talk
    if talk.pending is None or talk.pending.number or not talk.watches(replaced):
        return turn
    before, counted = talk.watch, _is_point(replaced) and bool(talk.watch.values)
    if counted:
        before, at_s = _without_last(before), before.times_s[-1]
    moved = not talk.watches(talk.pending.reading)
    watch = before if moved else _with(before, at_s, talk.pending.reading)
    timed = turn.acts if watch is before else _timed(turn.acts, watch)
    return Turn(talk.having(watch=watch, asked=watch.asked), timed)


def dropped(turn: Turn, withdrawn: Reading) -> Turn:
    """A value was withdrawn: if it was the last of the watch it counts no more. Watching goes on."""
    if not turn.talk.watches(withdrawn):
        return turn
    watch = _without_last(turn.talk.watch) if _is_point(withdrawn) else turn.talk.watch
    return Turn(turn.talk.having(watch=watch, asked=watch.asked), turn.acts)


def _without_last(watch: Watch) -> Watch:
    return Watch(asked=watch.asked, times_s=watch.times_s[:-1], values=watch.values[:-1])


def _told(watch: Watch, talk: Conversation, desk: Desk) -> str:
    behind = len(watch.values) - FEWEST
    if behind < 0 or behind % EVERY:
        return ""
    return in_words(watch, _limit(talk), desk)


def _limit(talk: Conversation) -> Decimal | None:
    """The limit of the pending reading, in the unit that is watched; none when that is of something else."""
    if talk.pending is None or not talk.watches(talk.pending.reading):
        return None
    verdict = talk.pending.verdict
    return None if verdict.limit is None else convert(verdict.limit, verdict.unit, talk.watch.asked.unit)


def in_words(watch: Watch, limit: Decimal | None, desk: Desk) -> str:
    """ "rising zero point four zero milliamps a minute. limit in five minutes"; empty when it cannot be told yet."""
    values = [float(value) for value in watch.values]
    found = slope(watch.times_s, values)
    if isinstance(found, Unknown):
        return ""
    resolution = 10.0 ** min(Decimal(value).as_tuple().exponent for value in watch.values)
    if plateau(watch.times_s, values, resolution):
        return "steady"
    way = "rising" if found.per_minute > 0 else "falling"
    rate = Number(figure=_two_figures(abs(found.per_minute)))
    said = f"{way} {desk.phrasing.value(rate, watch.asked.unit)} a minute"
    return f"{said}{_arrival(limit, found, desk)}"


def _two_figures(rate: float) -> Decimal:
    """As many digits as a slope is worth: 14, 1.4, 0.14."""
    return Decimal(f"{rate:.{0 if rate >= 9.95 else 1 if rate >= 0.995 else 2}f}")


def _arrival(limit: Decimal | None, found: Slope, desk: Desk) -> str:
    arrival = Unknown(why="no limit") if limit is None else time_to(float(limit), found)
    if isinstance(arrival, Unknown):
        return ""
    minutes = max(1, round(arrival.minutes))
    return f". limit in {desk.phrasing.count(minutes, 'minute', 'minutes')}" if minutes < 100 else ""


def stop(talk: Conversation, said: Said, desk: Desk) -> Turn:
    """The last value stands, unless it must be answered first. What the values did is said."""
    if talk.watch is None:
        return speak(talk, "nothing is being watched", Tone.ATTENTION)
    if desk.must_be_answered(talk):
        return calling.ask_first(talk, desk)
    stood = calling.let_stand(talk)
    limit = _limit(talk)
    told = in_words(talk.watch, limit, desk)
    ended = stood.talk.having(watch=None, asked=None)
    turn = speak(ended, ". ".join(part for part in ("stopped watching", told) if part), Tone.KEPT)
    return Turn(turn.talk, (*stood.acts, *turn.acts))
