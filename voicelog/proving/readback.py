"""How much the read-back catches: seeded errors driven through the real dialogue with a stated listener.

    voicelog bench readback [--readings 6000] [--json]

Silent error = recogniser's error x (1 - what is caught). The first factor is measured elsewhere; here every so many
readings are misheard on purpose (see ``mishearing``), and what becomes of each is counted: refused by the grammar,
questioned and caught, caught by the listener, or kept and wrong. Nothing here hears or speaks, except that the length
of a sample of read-backs is measured with the program's own voice.
"""

import random
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import mean

from scipy.stats import beta

from voicelog.keeping.sheet import load_sheet
from voicelog.keeping.storage import Progress, quiet
from voicelog.meaning.grammar import load_grammar
from voicelog.model import Noun, Reading
from voicelog.proving.listener import NOTICES, Listener
from voicelog.proving.mishearing import Utterance, Words, mishear
from voicelog.proving.readings import round_of, said
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.resources import data_folder
from voicelog.talking.clauses import clauses
from voicelog.talking.conversation import Mode, Policy, Speak
from voicelog.talking.dialogue import PATIENCE_S
from voicelog.talking.loudspeaker import RATE_HZ
from voicelog.talking.repertoire import Repertoire, Voice
from voicelog.talking.tones import tone_sound

SEEDED = 0.15  # share of utterances misheard on purpose: high, so that few readings give many errors
AT_RATES = (0.009, 0.05, 0.15)  # recogniser errors for which kept-and-wrong is worked out: the mark, and worse
MOST_TRIES = 6  # after so many the reading is left out
ANSWER_S = 0.8  # "affirm" after a turn of 0.2 s (Stivers and others, PNAS 2009); its 0.6 s is an assumption
SAMPLE = 120  # read-backs whose length is measured


class Arm(Noun):
    """One policy with one listener."""

    policy: str
    notices: float  # the listener's chance for each cue
    readings: int
    misheard: int  # readings that were misheard at least once
    seeded: int  # utterances misheard so that they mean something else
    refused: int  # of those, by the grammar or as incomplete: nothing was said back
    said_back: int  # of those, said back as a wrong reading
    questioned: int  # of those said back, with a question about the figure
    objected: int  # of those said back, challenged by the listener
    kept_wrong: int
    left_out: int  # readings that are on the record neither right nor wrong
    caught: float  # share of seeded errors that did not stay on the record
    caught_low: float  # lower end of its 95 % interval (Clopper-Pearson)
    kept_wrong_per_10_000: dict[str, float]  # for each recogniser error rate, as text
    repeats: float  # further utterances for each reading
    read_back_s: float = 0.0  # mean length of a read-back
    read_back_p95_s: float = 0.0
    voice_s: float = 0.0  # all that the program says for one reading, mean
    settled_s: float = 0.0  # the same with the answers


class Readback(Noun):
    """``voicelog bench readback``."""

    seed: int
    seeded_share: float
    by_kind: dict[str, dict[str, int]]  # kind of error -> seeded, kept wrong; worst listener, every reading confirmed
    arms: tuple[Arm, ...]


@dataclass
class _Tally:
    """Counts of one arm while it runs."""

    of: Counter = field(default_factory=Counter)
    kinds: dict[str, Counter] = field(default_factory=dict)
    prompts: list[tuple[Speak, ...]] = field(default_factory=list)  # for each reading
    backs: list[Speak] = field(default_factory=list)

    def kind(self, kind: str, what: str) -> None:
        self.kinds.setdefault(kind, Counter())[what] += 1


def bench_readback(
    readings: int = 6000, seed: int = 1, voice: Voice | None = None, progress: Progress = quiet
) -> Readback:
    """Both policies with each listener, ``readings`` readings each; lengths are measured when a voice is given."""
    sheet = load_sheet(data_folder("audio_samples") / "demo")
    stage = Stage(load_grammar(), sheet)
    ready = Repertoire(voice) if voice else None
    arms, kinds = [], {}
    for policy in (Policy.EVERY, Policy.SECOND_PERSON):
        for notices in NOTICES:
            tally = _Tally()
            _run(stage, policy, notices, readings, random.Random(f"{seed} {policy} {notices}"), tally)
            arms.append(_arm(policy, notices, tally, ready))
            kinds = kinds or {kind: dict(count) for kind, count in sorted(tally.kinds.items())}
            progress(len(arms), 2 * len(NOTICES))
    return Readback(seed=seed, seeded_share=SEEDED, by_kind=kinds, arms=tuple(arms))


def _run(stage: Stage, policy: Policy, notices: float, readings: int, draw: random.Random, tally: _Tally) -> None:
    """Visits, one after another, until so many readings were called."""
    while tally.of["readings"] < readings:
        visit = _Visit(stage, policy, Listener(notices, draw), draw, tally)
        plan = round_of(stage.sheet, draw)
        visit.run(plan[: readings - tally.of["readings"]])


class _Visit:
    """One round of the installation, called by one person and listened to by another."""

    def __init__(self, stage: Stage, policy: Policy, listener: Listener, draw: random.Random, tally: _Tally) -> None:
        self._stage, self._policy, self._listener, self._draw, self._tally = stage, policy, listener, draw, tally
        self._rehearsal = Rehearsal(stage, policy)
        self._spoken: list[Speak] = []
        self._errors: list[str] = []
        self._meant: Reading | None = None
        self._fresh = False  # the last words said back the pending reading

    def run(self, plan: Iterable[Reading]) -> None:
        steps = [(reading, *self._one(reading)) for reading in plan]
        if self._policy is Policy.SECOND_PERSON:  # the next call lets the last reading stand: moving on does too
            self._rehearsal.say(steps[0][3].place)
        for reading, entries, errors, _ in steps:
            self._judge(reading, entries, errors)

    # ------------------------------------------------------------ one reading

    def _one(self, meant: Reading) -> tuple[range, list[str], Utterance]:
        """Call it until it is settled: the entries that this took, and the errors on the way."""
        self._spoken, self._errors, self._meant = [], [], meant
        call = said(meant, self._stage.phrasing, self._draw)
        before, tries = self._rehearsal.entries, 1
        self._call(call)
        while not self._settled(meant, call) and tries < MOST_TRIES:
            tries += 1
        self._tally.of.update(readings=1, tries=tries, misheard=bool(self._errors))
        self._tally.prompts.append(tuple(self._spoken))
        return range(before + 1, self._rehearsal.entries + 1), self._errors, call

    def _call(self, call: Utterance, before: Words = ()) -> None:
        """Say it; now and then something else is heard."""
        error = mishear(call, self._draw) if self._draw.random() < SEEDED else None
        if error is None:
            return self._say((*before, *call.words))
        kind, heard = error
        self._say((*before, *heard.words))
        pending = self._rehearsal.talk.pending if self._fresh else None
        if pending and pending.reading == self._meant:  # "point five two" for "zero point five two": no error
            return None
        self._errors.append(kind)
        self._tally.of.update(seeded=1, said_back=bool(pending), refused=not pending)
        return None

    def _say(self, words: Words) -> None:
        self._fresh = False
        spoken = self._rehearsal.say(words)
        pending = self._rehearsal.talk.pending
        self._fresh = bool(spoken) and pending is not None and pending.said_back in spoken[-1].text
        self._spoken += spoken
        if self._fresh:
            self._tally.backs.append(spoken[-1])

    def _settled(self, meant: Reading, call: Utterance) -> bool:
        """What the listener does about what was said last; True when nothing more is to be said."""
        talk = self._rehearsal.talk
        if talk.mode is not Mode.CONFIRMING or not self._fresh:
            self._call(call)
            return False
        if not self._objects(meant):
            return self._accepted()
        self._object(meant, call)
        return False

    def _objects(self, meant: Reading) -> bool:
        pending, text = self._rehearsal.talk.pending, self._spoken[-1].text
        expected = self._rehearsal.desk.judge(meant, self._rehearsal.desk.record)
        asked = "?" in text
        objects = self._listener.objects(meant, expected, pending, asked)
        if pending.reading != meant:
            self._tally.of.update(wrong_backs=1, questioned=asked, objected=objects)
        return objects

    def _accepted(self) -> bool:
        if self._policy is Policy.SECOND_PERSON:
            return True
        while not self._listener.reaches():  # said again after the program has asked again
            self._spoken += self._rehearsal.wait(PATIENCE_S)
            if self._rehearsal.talk.mode is not Mode.CONFIRMING:
                return True
        self._say(("affirm",))
        return True

    def _object(self, meant: Reading, call: Utterance) -> None:
        words, again = self._listener.objection(meant, self._rehearsal.talk.pending.reading, call)
        if words == ("correction",):
            return self._call(again, before=words)
        self._say(words)
        return self._call(again)

    # ------------------------------------------------------------ what became of it

    def _judge(self, meant: Reading, entries: range, errors: list[str]) -> None:
        lines = [
            line for line in self._rehearsal.desk.record.lines if line.number in entries or line.entry.number in entries
        ]
        standing = [line.reading for line in lines if line.stands]
        wrong = any(reading != meant for reading in standing)
        self._tally.of.update(kept_wrong=wrong, left_out=not standing)
        for kind in errors:
            self._tally.kind(kind, "seeded")
        if wrong and errors:
            self._tally.kind(errors[-1], "kept_wrong")


def _arm(policy: Policy, notices: float, tally: _Tally, ready: Repertoire | None) -> Arm:
    of = tally.of
    seeded, wrong, readings = of["seeded"], of["kept_wrong"], of["readings"]
    escaped = wrong / seeded if seeded else 0.0
    return Arm(
        policy=policy.value,
        notices=notices,
        readings=readings,
        misheard=of["misheard"],
        seeded=seeded,
        refused=of["refused"],
        said_back=of["said_back"],
        questioned=of["questioned"],
        objected=of["objected"],
        kept_wrong=wrong,
        left_out=of["left_out"],
        caught=1 - escaped,
        caught_low=_low(seeded - wrong, seeded),
        kept_wrong_per_10_000={f"{rate:g}": round(10_000 * rate * escaped, 2) for rate in AT_RATES},
        repeats=of["tries"] / readings - 1,
        **(_lengths(policy, tally, ready) if ready else {}),
    )


def _low(right: int, of: int) -> float:
    """Lower end of the exact two-sided 95 % interval of a share."""
    return float(beta.ppf(0.025, right, of - right + 1)) if right else 0.0


def _lengths(policy: Policy, tally: _Tally, ready: Repertoire) -> dict[str, float]:
    """Measured with the voice on every so many readings."""
    backs = [_length(spoken, ready) for spoken in _some(tally.backs)]
    totals = [sum(_length(spoken, ready) for spoken in prompts) for prompts in _some(tally.prompts)]
    answers = ANSWER_S if policy is Policy.EVERY else 0.0
    return {
        "read_back_s": round(mean(backs), 2),
        "read_back_p95_s": round(sorted(backs)[int(0.95 * len(backs))], 2),
        "voice_s": round(mean(totals), 2),
        "settled_s": round(mean(totals) + answers, 2),
    }


def _some(items: list) -> list:
    return items[:: max(1, len(items) // SAMPLE)]


def _length(spoken: Speak, ready: Repertoire) -> float:
    """Seconds from the first sample to the last, as the mouth would play it."""
    parts = clauses(spoken.text)
    sound = sum(len(ready.sound(part.text)) for part in parts) / RATE_HZ
    tone = len(tone_sound(spoken.tone, RATE_HZ)) / RATE_HZ + 0.05 if spoken.tone else 0.0
    return tone + sound + sum(part.rest_s for part in parts[:-1])
