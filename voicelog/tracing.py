"""The path of one reading, step by step, as a table: what each room takes and gives."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.markup import escape
from rich.table import Table

from voicelog.hearing.ear import ScriptedEar
from voicelog.meaning.parsing import Context
from voicelog.model import Heard, Meaning, NotUnderstood, Place, Understood
from voicelog.talking.conversation import Conversation, Desk, Keep, Policy, Said, Speak, Turn
from voicelog.talking.dialogue import kind_of, step
from voicelog.visit import Visit


@dataclass(frozen=True)
class Step:
    """One room on the path."""

    room: str  # the file that does it
    gives: str


def trace(utterances: Iterable[Heard], visit: Visit, spoken: bool) -> list[Step]:
    """The path of each utterance, typed or spoken, with the first circuit of the sheet in hand."""
    desk = visit.desk(Policy.EVERY)
    talk = Conversation(place=_first_circuit(visit))
    steps = [one for heard in utterances for one in _path(heard, talk, desk, visit, spoken)]
    return steps or [Step("hearing/recogniser.py", "nothing was heard")]


def typed(words: str) -> list[Heard]:
    """A typed sentence as an utterance."""
    return [event for event in ScriptedEar([words]).events() if isinstance(event, Heard)]


def _first_circuit(visit: Visit) -> Place:
    board = visit.sheet.boards[0]
    return Place(board=board.reference, circuit=board.circuits[0].number if board.circuits else "")


def _path(heard: Heard, talk: Conversation, desk: Desk, visit: Visit, spoken: bool) -> Iterator[Step]:
    yield _heard(heard, spoken)
    understood = visit.reader.understand(heard, Context(board=talk.place.board))
    yield from _understood(understood)
    said = Said(understood, heard.end_s)
    yield from _answered(step(talk, said, desk), said, desk)


def _heard(heard: Heard, spoken: bool) -> Step:
    room = "hearing/recogniser.py" if spoken else "hearing/ear.py"
    took = f" ({heard.start_s:.2f} to {heard.end_s:.2f} s, {heard.decode_s:.2f} s of computing)" if spoken else ""
    return Step(room, " ".join(heard.texts) + took)


def _understood(understood: Understood) -> Iterator[Step]:
    meaning = understood.meaning
    if isinstance(meaning, NotUnderstood):
        yield Step("meaning/parsing.py", f"not understood: {meaning.why}")
        return
    yield Step("meaning/parsing.py", _short(meaning))
    if understood.rival is not None:
        yield Step("meaning/parsing.py", f"rival: {_short(understood.rival)}, {understood.margin:.1f} nats behind")


def _short(meaning: Meaning) -> str:
    shown = meaning.model_dump(mode="json", exclude_defaults=True)
    return ", ".join(f"{key} {value}" for key, value in shown.items())


def _answered(turn: Turn, said: Said, desk: Desk) -> Iterator[Step]:
    yield Step("talking/dialogue.py", f"{kind_of(said, desk)} -> {turn.talk.mode.value}")
    for act in turn.acts:
        match act:
            case Keep(draft):
                if draft.verdict:
                    yield Step("checking/verdicts.py", f"{draft.verdict.outcome.value}: {draft.verdict.sentence}")
                yield Step("keeping/journal.py", f"entry: {draft.kind.value}")
            case Speak(text, tone):
                yield Step("talking/phrasing.py", text)
                yield Step("talking/voice.py", f"tone: {tone.value}" if tone else "no tone")
    if not turn.acts:
        yield Step("talking/dialogue.py", "nothing is kept and nothing is said")


def table(steps: list[Step]) -> Table:
    """The path for a terminal."""
    shown = Table(box=None, pad_edge=False)
    shown.add_column("")
    shown.add_column("room")
    shown.add_column("gives", overflow="fold")
    for number, one in enumerate(steps, start=1):
        shown.add_row(str(number), one.room, escape(one.gives))
    return shown
