"""Whole conversations, run through the real reader, dialogue, limits and record; no sound, no disk, no clock."""

from datetime import UTC, datetime
from pathlib import Path

import pytest

from voicelog.checking.editions import load_edition
from voicelog.keeping.record import fold
from voicelog.model import Entry, Understood
from voicelog.proving.script import shown
from voicelog.talking.conversation import Adjust, Conversation, Desk, End, Keep, Policy, Said, Silence, Speak
from voicelog.talking.dialogue import numbered, onward, step
from voicelog.talking.phrasing import Phrasing
from voicelog.visit import doubting, judging

FOLDER = Path(__file__).parent / "conversations"
FILES = sorted(FOLDER.glob("*.txt"))


class Rehearsal:
    """A dialogue at a desk: says lines to it and writes down all that it does."""

    def __init__(self, grammar, sheet, reader, policy):
        self.reader, self.entries, self.done = reader, [], []
        self.talk = Conversation()
        judged = judging(sheet, load_edition(sheet.limits))
        phrasing = Phrasing(grammar, sheet)
        self.desk = Desk(grammar, sheet, phrasing, fold(()), judged, doubting(sheet, None, phrasing), policy)

    def say(self, text):
        self.done.append(f"> {text}")
        if text == "...":
            event = Silence(10.0)
        else:
            words = tuple(text.split())
            understood = Understood(meaning=self.reader.read(words, self.desk.context(self.talk)), words=words)
            event = Said(understood, at_s=20.0 * len(self.done))
        self._take(step(self.talk, event, self.desk))
        self._take(onward(self.talk, self.desk))

    def _take(self, turn):
        self.talk = turn.talk
        for act in turn.acts:
            self._carry_out(act)

    def _carry_out(self, act):
        match act:
            case Keep(draft):
                number = len(self.entries) + 1
                entry = Entry(**dict(draft), number=number, at=datetime.now(UTC), previous="", digest="")
                self.entries.append(entry)
                self.desk = Desk(**{**self.desk.__dict__, "record": fold(self.entries)})
                self.talk = numbered(self.talk, entry)
                self.done.append(f"[ {shown(entry)}")
            case Speak(text, tone):
                self.done.append(f"< ({tone.value if tone else ''}) {text}".rstrip())
            case Adjust(how):
                self.done.append(f"~ {how}")
            case End():
                self.done.append("~ end")


def written(path):
    lines = [line.rstrip() for line in path.read_text(encoding="utf-8").splitlines()]
    return [line for line in lines if line and not line.startswith("#")]


def rehearse(path, grammar, sheet, reader):
    policy, *lines = written(path)
    rehearsal = Rehearsal(grammar, sheet, reader, Policy(policy.removeprefix("policy: ")))
    for line in lines:
        if line.startswith("> "):
            rehearsal.say(line[2:])
    return rehearsal, lines


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_conversation(path, grammar, sheet, reader):
    rehearsal, lines = rehearse(path, grammar, sheet, reader)
    assert rehearsal.done == lines
