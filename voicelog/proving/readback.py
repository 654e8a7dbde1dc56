"""How much the read-back catches: seeded errors driven through the real dialogue with a stated listener.

    voicelog bench readback [--readings 6000] [--json]

Silent error = recogniser's error x (1 - what is caught). The first factor is measured elsewhere; here every so many
readings are misheard on purpose (see ``mishearing``), and what becomes of each is counted: refused by the grammar,
questioned and caught, caught by the listener, or kept and wrong. Nothing here hears or speaks, except that the length
of a sample of read-backs is measured with the program's own voice.
"""

import itertools
import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from statistics import mean

from scipy.stats import beta

from voicelog.keeping.sheet import load_sheet
from voicelog.keeping.storage import Progress, quiet
from voicelog.meaning.grammar_files import load_grammar
from voicelog.model import Noun, Reading
from voicelog.proving.listener import NOTICES, Listener
from voicelog.proving.mishearing import DOUBTED, NEEDLESS, Utterance, Words, mishear
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
AGAIN_S = 2.5  # a call said again, with its turn (assumption)
SAMPLE = 120  # read-backs whose length is measured


class Way(Noun):
    """How readings are called and said back."""

    style: str  # "full" or "short"
    sweeping: bool  # one quantity round the circuits, values alone; otherwise place, quantity and value are said
    speed: float = 1.0  # of the voice: "speak faster" said (speed - 1) / 0.1 times


WAYS = (
    Way(style="full", sweeping=False),
    Way(style="short", sweeping=False, speed=1.2),
    Way(style="short", sweeping=True, speed=1.2),
)


class Arm(Noun):
    """One policy with one listener and one way of calling."""

    policy: str
    way: Way
    notices: float  # the listener's chance for each cue
    readings: int
    misheard: int  # readings that were misheard at least once
    seeded: int  # utterances misheard so that they mean something else
    refused: int  # of those, by the grammar or as incomplete: nothing was said back
    chosen: int  # of those, asked about beside the right reading, because the two were about as likely
    said_back: int  # of those, said back as a wrong reading
    questioned: int  # of those said back, with a question about the figure
    objected: int  # of those said back, challenged by the listener
    kept_wrong: int
    left_out: int  # readings that are on the record neither right nor wrong
    caught: float  # share of seeded errors that did not stay on the record
    caught_low: float  # lower end of its 95 % interval (Clopper-Pearson)
    kept_wrong_per_10_000: dict[str, float]  # for each recogniser error rate, as text
    repeats: dict[str, float]  # readings that had to be said again, for each error rate
    read_back_s: float = 0.0  # mean length of a read-back
    read_back_p95_s: float = 0.0
    seconds: dict[str, float] = {}  # from the end of a call until it is settled, mean, for each error rate


class Readback(Noun):
    """``voicelog bench readback``."""

    seed: int
    seeded_share: float
    by_kind: dict[str, dict[str, int]]  # kind of error -> seeded, kept wrong; worst listener, every reading confirmed
    arms: tuple[Arm, ...]


@dataclass
class _Course:
    """What one reading took."""

    spoken: list[Speak] = field(default_factory=list)
    answers: int = 0
    calls: int = 0
    waited_s: float = 0.0
    errors: list[str] = field(default_factory=list)


@dataclass
class _Tally:
    """Counts of one arm while it runs."""

    of: Counter = field(default_factory=Counter)
    kinds: dict[str, Counter] = field(default_factory=dict)
    courses: list[_Course] = field(default_factory=list)
    backs: list[Speak] = field(default_factory=list)

    def kind(self, kind: str, what: str) -> None:
        self.kinds.setdefault(kind, Counter())[what] += 1


def bench_readback(
    readings: int = 6000, seed: int = 1, voice: Voice | None = None, progress: Progress = quiet
) -> Readback:
    """Each way, both policies, each listener, ``readings`` readings each; with a voice lengths are measured."""
    sheet = load_sheet(data_folder("audio_samples") / "demo")
    stage = Stage(load_grammar(), sheet)
    ready = Repertoire(voice) if voice else None
    arms, kinds = [], {}
    plans = list(itertools.product(WAYS, Policy, NOTICES))
    for way, policy, notices in plans:
        tally = _Tally()
        _run(stage, policy, way, notices, readings, random.Random(f"{seed} {policy} {way} {notices}"), tally)
        arms.append(_arm(policy, way, notices, tally, ready))
        kinds = kinds or {kind: dict(count) for kind, count in sorted(tally.kinds.items())}
        progress(len(arms), len(plans))
    return Readback(seed=seed, seeded_share=SEEDED, by_kind=kinds, arms=tuple(arms))


def _run(
    stage: Stage, policy: Policy, way: Way, notices: float, readings: int, draw: random.Random, tally: _Tally
) -> None:
    """Visits, one after another, until so many readings were called."""
    while tally.of["readings"] < readings:
        visit = _Visit(stage, policy, way, Listener(notices, draw), draw, tally)
        plan = round_of(stage.sheet, draw)
        visit.run(plan[: readings - tally.of["readings"]])


class _Visit:
    """One round of the installation, called by one person and listened to by another."""

    def __init__(
        self, stage: Stage, policy: Policy, way: Way, listener: Listener, draw: random.Random, tally: _Tally
    ) -> None:
        self._stage, self._policy, self._way = stage, policy, way
        self._listener, self._draw, self._tally = listener, draw, tally
        self._rehearsal = Rehearsal(stage, policy)
        self._course = _Course()
        self._meant: Reading | None = None
        self._back: Speak | None = None  # the last words said back the pending reading

    def run(self, plan: Sequence[Reading]) -> None:
        if self._way.style == "short":
            self._rehearsal.say(("short", "read", "back"))
        if self._way.sweeping:
            plan = sorted(plan, key=lambda reading: (reading.quantity, sorted(reading.conditions.items())))
        steps = [(reading, *self._one(reading)) for reading in plan]
        if self._policy is Policy.SECOND_PERSON:  # the next call lets the last reading stand: moving on does too
            self._rehearsal.say(("finish", "sweep"))
            self._rehearsal.say(steps[0][3].place)
        for reading, entries, errors, _ in steps:
            self._judge(reading, entries, errors)

    # ------------------------------------------------------------ one reading

    def _one(self, meant: Reading) -> tuple[range, list[str], Utterance]:
        """Call it until it is settled: the entries that this took, and the errors on the way."""
        self._course, self._meant = _Course(), meant
        whole = said(meant, self._stage.phrasing, self._draw)
        call = Utterance((), (), whole.value) if self._swept(meant, whole) else whole
        before = self._rehearsal.entries
        self._call(call)
        while not self._settled(meant, call) and self._course.calls < MOST_TRIES:
            pass
        course = self._course
        self._tally.of.update(readings=1, misheard=bool(course.errors))
        self._tally.courses.append(course)
        return range(before + 1, self._rehearsal.entries + 1), course.errors, whole

    def _swept(self, meant: Reading, whole: Utterance) -> bool:
        """Whether the value alone will do: the sweep is begun, or moved on, until it asks for this reading."""
        if not self._way.sweeping or self._stage.phrasing.grammar.quantities[meant.quantity].value != "number":
            return False
        for words in (("start", "sweep", *whole.quantity), whole.place):
            if not self._asks_for(meant):
                self._rehearsal.say(words)
        return self._asks_for(meant)

    def _asks_for(self, meant: Reading) -> bool:
        asked = self._rehearsal.talk.asked
        return asked is not None and asked.is_met_by(meant)

    def _call(self, call: Utterance, before: Words = ()) -> None:
        """Say it; now and then something else is heard, or something else seems about as likely."""
        self._course.calls += 1
        right = (*before, *call.words)
        error = mishear(call, self._draw)
        if error is None or self._draw.random() >= SEEDED:
            doubted = error is not None and self._draw.random() < NEEDLESS
            return self._say(right, (*before, *error[1].words) if doubted else ())
        kind, heard = error
        self._say((*before, *heard.words), right if self._draw.random() < DOUBTED else ())
        pending = self._rehearsal.talk.pending if self._back else None
        if pending and pending.reading == self._meant:  # "point five two" for "zero point five two": no error
            return None
        self._course.errors.append(kind)
        asked = self._rehearsal.talk.mode is Mode.CHOOSING
        self._tally.of.update(seeded=1, said_back=bool(pending), chosen=asked, refused=not pending and not asked)
        return None

    def _say(self, words: Words, rival: Words = ()) -> None:
        spoken = self._rehearsal.say(words, rival)
        pending = self._rehearsal.talk.pending
        backs = [speak for speak in spoken if pending is not None and pending.said_back in speak.text]
        self._back = backs[0] if backs else None
        self._course.spoken += spoken
        self._tally.backs += backs[:1]

    def _settled(self, meant: Reading, call: Utterance) -> bool:
        """What the listener does about what was said last; True when nothing more is to be said."""
        if self._rehearsal.talk.mode is not Mode.CONFIRMING or not self._back:
            if self._rehearsal.talk.mode is Mode.CHOOSING and self._course.calls > 1:
                self._answer(("negative",))  # neither: begin anew
            self._call(call)
            return False
        if not self._objects(meant):
            return self._accepted()
        self._object(meant, call)
        return False

    def _objects(self, meant: Reading) -> bool:
        pending, text = self._rehearsal.talk.pending, self._back.text
        expected = self._rehearsal.desk.judge(meant, self._rehearsal.desk.record)
        asked = "?" in text
        objects = self._listener.objects(meant, expected, pending, asked, self._is_told(meant, pending.reading, text))
        if pending.reading != meant:
            self._tally.of.update(wrong_backs=1, questioned=asked, objected=objects)
        return objects

    def _is_told(self, meant: Reading, back: Reading, text: str) -> bool:
        """Whether a part that is wrong was said at all."""
        phrasing = self._stage.phrasing
        parts = (
            (back.place != meant.place, phrasing.place(back.place, with_name=False)),
            (
                (back.quantity, back.conditions) != (meant.quantity, meant.conditions),
                phrasing.quantity(back.quantity, back.conditions),
            ),
            (
                (back.value, back.unit) != (meant.value, meant.unit),
                phrasing.value(back.value, back.unit, back.quantity),
            ),
        )
        return any(differs and words in text for differs, words in parts)

    def _accepted(self) -> bool:
        if not self._rehearsal.desk.awaits_answer(self._rehearsal.talk):
            return True
        while not self._listener.reaches():  # said again after the program has asked again
            self._course.waited_s += PATIENCE_S
            self._course.spoken += self._rehearsal.wait(PATIENCE_S)
            if self._rehearsal.talk.mode is not Mode.CONFIRMING:
                return True
        self._answer(("affirm",))
        return True

    def _object(self, meant: Reading, call: Utterance) -> None:
        words, again = self._listener.objection(meant, self._rehearsal.talk.pending.reading, call)
        if words == ("correction",):
            return self._call(again, before=words)
        self._answer(words)
        return self._call(again)

    def _answer(self, words: Words) -> None:
        self._course.answers += 1
        self._say(words)

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


def _arm(policy: Policy, way: Way, notices: float, tally: _Tally, ready: Repertoire | None) -> Arm:
    of = tally.of
    seeded, wrong = of["seeded"], of["kept_wrong"]
    escaped = wrong / seeded if seeded else 0.0
    return Arm(
        policy=policy.value,
        way=way,
        notices=notices,
        readings=of["readings"],
        misheard=of["misheard"],
        seeded=seeded,
        refused=of["refused"],
        chosen=of["chosen"],
        said_back=of["said_back"],
        questioned=of["questioned"],
        objected=of["objected"],
        kept_wrong=wrong,
        left_out=of["left_out"],
        caught=1 - escaped,
        caught_low=_low(seeded - wrong, seeded),
        kept_wrong_per_10_000={f"{rate:g}": round(10_000 * rate * escaped, 2) for rate in AT_RATES},
        repeats=_at_rates(tally, lambda course: course.calls - 1.0),
        **(_lengths(policy, way, tally, ready) if ready else {}),
    )


def _at_rates(tally: _Tally, of: Callable[[_Course], float]) -> dict[str, float]:
    """The mean over readings heard right and misheard, each as often as at that rate of error."""
    right = mean([of(course) for course in tally.courses if not course.errors] or [0.0])
    wrong = mean([of(course) for course in tally.courses if course.errors] or [0.0])
    return {f"{rate:g}": round((1 - rate) * right + rate * wrong, 4) for rate in AT_RATES}


def _low(right: int, of: int) -> float:
    """Lower end of the exact two-sided 95 % interval of a share."""
    return float(beta.ppf(0.025, right, of - right + 1)) if right else 0.0


def _lengths(policy: Policy, way: Way, tally: _Tally, ready: Repertoire) -> dict:
    """Measured with the voice on every so many readings, as many misheard as not."""
    backs = [_length(spoken, ready, way.speed) for spoken in _some(tally.backs)]
    right = _some([course for course in tally.courses if not course.errors])
    wrong = _some([course for course in tally.courses if course.errors])
    sample = _Tally(courses=[*right, *wrong])
    return {
        "read_back_s": round(mean(backs), 2),
        "read_back_p95_s": round(sorted(backs)[int(0.95 * len(backs))], 2),
        "seconds": _at_rates(sample, lambda course: _seconds(course, ready, way.speed)),
    }


def _seconds(course: _Course, ready: Repertoire, speed: float) -> float:
    voice = sum(_length(spoken, ready, speed) for spoken in course.spoken)
    return voice + ANSWER_S * course.answers + AGAIN_S * (course.calls - 1) + course.waited_s


def _some(items: list) -> list:
    return items[:: max(1, len(items) // SAMPLE)]


def _length(spoken: Speak, ready: Repertoire, speed: float) -> float:
    """Seconds from the first sample to the last, as the mouth would play it."""
    parts = clauses(spoken.text)
    sound = sum(len(ready.sound(part.text, speed)) for part in parts) / RATE_HZ
    tone = len(tone_sound(spoken.tone, RATE_HZ)) / RATE_HZ + 0.05 if spoken.tone else 0.0
    return tone + sound + sum(part.rest_s for part in parts[:-1])
