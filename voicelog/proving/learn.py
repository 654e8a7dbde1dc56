"""What learning a voice is worth: whole strings wrong before and after, speaker by speaker.

    voicelog bench learn DIR [--json]

A folder holds sound files and ``index.jsonl``, one recording a line:

    {"file": "a.flac", "text": "zed s one point two ohms", "speaker": "1", "role": "enrol"}

Recordings with the role ``enrol`` are learnt from, in their order, up to so many
seconds; those with the role ``test`` are heard by stock Vosk, first with the
general model and then with the speaker's own. Where all of these are sentences
of the trade, and not mere digits, they are heard as the program would hear them, and
what means the same counts as said; otherwise through a loop over all their words
(words that sound the same count as one). Where a person's speech is
too little to be divided, the role ``both`` has each quarter of it heard after
learning from the other three. A narrow band lies over both kinds of recording (one person,
one headset); noise is added to the test recordings alone (learnt in the
office, used on site).
"""

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from rich.table import Table

from voicelog.errors import InputError
from voicelog.hearing.audio import read_sound
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.graph import WordGraph, loop
from voicelog.hearing.lexicon import Lexicon, bundled_lexicon
from voicelog.hearing.model_folder import ACOUSTIC, BUNDLED
from voicelog.hearing.network import AcousticModel
from voicelog.hearing.nnet3 import read_model
from voicelog.hearing.phones import Pronunciation
from voicelog.hearing.word_graph import FILLER
from voicelog.keeping.storage import Progress, quiet
from voicelog.learning.adaptation import Kind, Recipe, Spoken
from voicelog.learning.alignment import Pronounce
from voicelog.learning.person import learn_person
from voicelog.learning.trial import heard_by
from voicelog.learning.variation import Variation, varied
from voicelog.model import Noun
from voicelog.proving.accuracy import kind_of, mean_the_same
from voicelog.proving.strings import INDEX, index_lines, mistakes_between
from voicelog.visit import Visit
from voicelog.visiting import open_visit_or_demo, word_graph

SECONDS = (15.0, 30.0, 60.0, 90.0, 180.0)
MAIN_S = 90.0  # the length whose figures stand at the top of the answer
PARTS = 4  # of recordings that are both learnt from and heard
ENOUGH = 0.85  # of the seconds asked for; with less enrolment speech than that a point is left out
PAUSE_S = 0.4  # of faint noise around each recording


@dataclass(frozen=True)
class Condition:
    """Through what the speech comes."""

    name: str
    enrol: Variation
    test: Variation


CONDITIONS = (
    Condition("clean", Variation(), Variation()),
    Condition("3.4 kHz band", Variation(narrow_band=True), Variation(narrow_band=True)),
    Condition("10 dB noise", Variation(), Variation(noise_db=10.0)),
)


class Point(Noun):
    """One speaker, one condition, so many seconds of speech."""

    speaker: str
    condition: str
    asked_s: float
    speech_s: float  # learnt from
    computing_s: float  # processor seconds
    kind: str  # "general" when nothing better was found
    strings: int
    words: int
    strings_wrong_before: float  # share
    strings_wrong_after: float
    words_wrong_before: float
    words_wrong_after: float


class Mean(Noun):
    """The mean over speakers for one condition and length."""

    condition: str
    asked_s: float
    speakers: int
    strings_wrong_before: float
    strings_wrong_after: float
    words_wrong_before: float
    words_wrong_after: float
    worse: tuple[str, ...]  # speakers with more strings wrong than before
    computing_s: float

    @property
    def times_fewer(self) -> float:
        """How many times fewer strings are wrong; infinite when none is."""
        return self.strings_wrong_before / self.strings_wrong_after if self.strings_wrong_after else float("inf")


class LearnScore(Noun):
    """``voicelog bench learn``."""

    strings_wrong_before: float  # means over speakers, clean, at 90 s or the most there is
    strings_wrong_after: float
    words_wrong_before: float
    words_wrong_after: float
    speech_s: float
    computing_s: float
    speakers: dict[str, dict[str, float]]
    worse: tuple[str, ...]
    curve: tuple[Mean, ...]
    points: tuple[Point, ...]

    def as_json(self) -> dict:
        """What ``--json`` prints."""
        return self.model_dump(mode="json")


@dataclass(frozen=True, eq=False)
class Division:
    """What is learnt from and what is heard after."""

    enrol: tuple[Spoken, ...]
    test: tuple[Spoken, ...]


@dataclass(frozen=True, eq=False)
class Person:
    """One speaker's recordings, divided once, or so that each part is heard after learning from the others."""

    name: str
    divisions: tuple[Division, ...]

    @property
    def test(self) -> tuple[Spoken, ...]:
        """Every phrase that is heard."""
        return tuple(phrase for division in self.divisions for phrase in division.test)


def bench_learn(
    folder: Path,
    seconds: tuple[float, ...] = SECONDS,
    conditions: tuple[Condition, ...] = CONDITIONS,
    model: Path = BUNDLED,
    recipe: Recipe | None = None,
    progress: Progress = quiet,
    kept: Path | None = None,
) -> LearnScore:
    """Learn every speaker of ``folder`` and count.

    ``kept``: a file of points already found, one JSON object a line, that grows speaker by speaker; those in it are
    not found again. Raises InputError naming file and line, SoundError, ModelError.
    """
    people = read_people(folder)
    lexicon = bundled_lexicon()
    bench = _Bench(read_model(model / ACOUSTIC), _hearing(people, lexicon.pronounce), lexicon, recipe or Recipe())
    points = _points_in(kept)
    for number, person in enumerate(people):
        progress(number, len(people))
        done = {point.condition for point in points if point.speaker == person.name}
        for line in dict.fromkeys(condition.enrol for condition in conditions if condition.name not in done):
            found = list(bench.points(person, [one for one in conditions if one.enrol == line], seconds))
            points += found
            _add_points(kept, found)
    progress(len(people), len(people))
    return summary(tuple(points))


def _points_in(kept: Path | None) -> list[Point]:
    try:
        lines = kept.read_text(encoding="utf-8").splitlines() if kept and kept.exists() else []
        return [Point.model_validate_json(line) for line in lines]
    except (OSError, ValueError) as error:
        raise InputError(f"the points found so far cannot be read: {error}.", where=str(kept)) from None


def _add_points(kept: Path | None, points: list[Point]) -> None:
    if kept:
        with kept.open("a", encoding="utf-8") as file:
            file.writelines(point.model_dump_json() + "\n" for point in points)


def read_people(folder: Path) -> tuple[Person, ...]:
    """The speakers of a folder, in the order in which they first appear. Raises InputError naming the line."""
    found: dict[str, dict[str, list[Spoken]]] = defaultdict(lambda: {"enrol": [], "test": [], "both": []})
    for line, where in index_lines(folder):
        speaker, role, phrase = _recording(folder, line, where)
        found[speaker][role].append(phrase)
    people = tuple(Person(name, tuple(_divisions(**roles))) for name, roles in found.items())
    lacking = [person.name for person in people if not all(one.enrol and one.test for one in person.divisions)]
    if lacking or not people:
        who = f"of {', '.join(lacking)}" if lacking else "at all"
        raise InputError(f"there are not both kinds of recordings (enrol, test) {who}.", where=str(folder / INDEX))
    return people


def _divisions(enrol: list[Spoken], test: list[Spoken], both: list[Spoken]) -> Iterator[Division]:
    """Once; or as many times as there are parts, each heard after learning from the others."""
    if not both:
        yield Division(tuple(enrol), tuple(test))
    for part in range(PARTS if both else 0):
        others = tuple(phrase for number, phrase in enumerate(both) if number % PARTS != part)
        yield Division((*enrol, *others), tuple(both[part::PARTS]))


def _recording(folder: Path, line: str, where: str) -> tuple[str, str, Spoken]:
    try:
        row = json.loads(line)
        file, words = folder / row["file"], tuple(row["text"].lower().split())
        speaker, role = str(row["speaker"]), row["role"]
        if role not in ("enrol", "test", "both") or not words:
            raise ValueError(role)
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError(
            'expected {"file": ..., "text": ..., "speaker": ..., "role": "enrol", "test" or "both"}.', where=where
        ) from None
    return speaker, role, Spoken(read_sound(file), words)


# ---------------------------------------------------------------- what may be heard


@dataclass(frozen=True, eq=False)
class Loop:
    """Any word after any other."""

    alike: dict[str, str]  # word -> the one of its sound that is in the graph
    graph: WordGraph

    def mistakes(self, said: tuple[str, ...], heard: tuple[str, ...]) -> int:
        """Words put in, left out or changed."""
        return mistakes_between(tuple(self.alike[word] for word in said), heard)


@dataclass(frozen=True, eq=False)
class Sentences:
    """What the program listens for on the demonstration's job, talk outside it let through."""

    visit: Visit
    graph: WordGraph

    def mistakes(self, said: tuple[str, ...], heard: tuple[str, ...]) -> int:
        """None where the meaning is the same; otherwise words put in, left out or changed."""
        words = tuple(word for word in heard if word != FILLER)
        return 0 if mean_the_same(said, words, self.visit) else mistakes_between(said, words)


def _hearing(people: tuple[Person, ...], pronounce: Pronounce) -> Loop | Sentences:
    visit = open_visit_or_demo(None)
    said = [phrase.words for person in people for phrase in person.test]
    if kind_of(said, visit) == "trade":
        return Sentences(visit, word_graph(visit))
    alike = sounding_alike({word for words in said for word in words}, pronounce)
    return Loop(alike, loop(set(alike.values())))


# ---------------------------------------------------------------- learning and hearing


@dataclass(frozen=True, eq=False)
class Trial:
    """One division, learnt from so many seconds and heard in one condition."""

    condition: str
    asked_s: float
    speech_s: float
    computing_s: float
    kind: Kind
    before: tuple[int, ...]  # words wrong in each phrase
    after: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class _Bench:
    general: AcousticModel
    hearing: Loop | Sentences
    lexicon: Lexicon
    recipe: Recipe

    def points(self, person: Person, alike: list[Condition], seconds: tuple[float, ...]) -> Iterator[Point]:
        """Every length in conditions that are learnt alike; where a division has too little, it is left out."""
        trials = [trial for division in person.divisions for trial in self._trials(division, alike, seconds)]
        for condition in alike:
            for asked in seconds:
                same = [trial for trial in trials if (trial.condition, trial.asked_s) == (condition.name, asked)]
                if len(same) == len(person.divisions):
                    yield _point(person, same)

    def _trials(self, division: Division, alike: list[Condition], seconds: tuple[float, ...]) -> list[Trial]:
        """Every length learnt once, and heard in every condition."""
        tests = {condition.name: _through(division.test, condition.test) for condition in alike}
        before = {name: self.mistakes(self.general, test, self.lexicon) for name, test in tests.items()}
        found = []
        for asked, phrases in lengths(_through(division.enrol, alike[0].enrol), seconds):
            learnt, own = learn_person(self.general, phrases, self.lexicon.pronounce, self.recipe)
            unchanged = learnt.kind is Kind.GENERAL and not own
            lexicon = self.lexicon.with_own(own)
            for name, test in tests.items():
                after = before[name] if unchanged else self.mistakes(learnt.model, test, lexicon)
                facts = (
                    asked,
                    learnt.speech_s,
                    learnt.computing_s,
                    learnt.kind,
                )  # not the network: fifty megabytes each
                found.append(Trial(name, *facts, tuple(before[name]), tuple(after)))
        return found

    def mistakes(self, model: AcousticModel, phrases: tuple[Spoken, ...], lexicon: Lexicon) -> list[int]:
        """Words wrong in each phrase, heard by stock Vosk."""
        heard = heard_by(model, phrases, self.hearing.graph, lexicon)
        return [self.hearing.mistakes(phrase.words, words) for phrase, words in zip(phrases, heard, strict=True)]


def sounding_alike(words: Iterable[str], pronounce: Pronounce) -> dict[str, str]:
    """Each word and the first, in alphabetical order, that sounds the same: no ear tells "two" from "to"."""
    first: dict[Pronunciation, str] = {}
    return {word: first.setdefault(pronounce(word)[0], word) for word in sorted(words)}


def _point(person: Person, trials: list[Trial]) -> Point:
    """What the trials of a person's divisions come to together."""
    words = sum(len(phrase.words) for phrase in person.test)
    before = [count for trial in trials for count in trial.before]
    after = [count for trial in trials for count in trial.after]
    return Point(
        speaker=person.name,
        condition=trials[0].condition,
        asked_s=trials[0].asked_s,
        speech_s=round(float(np.mean([trial.speech_s for trial in trials])), 1),
        computing_s=round(float(np.mean([trial.computing_s for trial in trials])), 1),
        kind=", ".join(dict.fromkeys(str(trial.kind) for trial in trials)),
        strings=len(before),
        words=words,
        strings_wrong_before=_share_wrong(before),
        strings_wrong_after=_share_wrong(after),
        words_wrong_before=sum(before) / words,
        words_wrong_after=sum(after) / words,
    )


def _share_wrong(mistakes: list[int]) -> float:
    return sum(count > 0 for count in mistakes) / len(mistakes)


def _through(phrases: tuple[Spoken, ...], variation: Variation) -> tuple[Spoken, ...]:
    """The phrases with faint noise around them, through a line or in noise."""
    found = []
    for number, phrase in enumerate(phrases):
        rng = np.random.default_rng(number)
        pause = np.rint(rng.normal(0, 3, (2, round(PAUSE_S * RATE_HZ)))).astype(np.int16)
        sound = np.concatenate([pause[0], phrase.sound, pause[1]])
        found.append(replace(phrase, sound=_to_int16(varied(sound, variation, number))))
    return tuple(found)


def _to_int16(samples: NDArray[np.float32]) -> NDArray[np.int16]:
    return np.rint(samples).clip(-32768, 32767).astype(np.int16)


def lengths(phrases: tuple[Spoken, ...], seconds: tuple[float, ...]) -> Iterator[tuple[float, tuple[Spoken, ...]]]:
    """For each number of seconds, so many phrases from the start; left out where there is not enough."""
    ends = np.cumsum([phrase.seconds for phrase in phrases])
    for asked in seconds:
        count = int(np.searchsorted(ends, asked)) + 1
        if ends[-1] >= ENOUGH * asked:
            yield asked, phrases[:count]


# ---------------------------------------------------------------- counting


def summary(points: tuple[Point, ...]) -> LearnScore:
    """Means over speakers, and the figures at 90 s (or the most there is), clean, at the top."""
    groups: dict[tuple[str, float], list[Point]] = defaultdict(list)
    for point in points:
        groups[point.condition, point.asked_s].append(point)
    curve = tuple(_mean(group) for group in groups.values())
    if not points:
        raise InputError("no speaker has enough enrolment speech.")
    first = points[0].condition
    most = max((asked for condition, asked in groups if condition == first and asked <= MAIN_S), default=None)
    top = groups[first, most if most is not None else min(asked for condition, asked in groups if condition == first)]
    mean = _mean(top)
    return LearnScore(
        **mean.model_dump(
            include={"strings_wrong_before", "strings_wrong_after", "words_wrong_before", "words_wrong_after"}
        ),
        speech_s=round(float(np.mean([point.speech_s for point in top])), 1),
        computing_s=mean.computing_s,
        speakers={
            point.speaker: {
                "strings_wrong_before": point.strings_wrong_before,
                "strings_wrong_after": point.strings_wrong_after,
                "words_wrong_before": point.words_wrong_before,
                "words_wrong_after": point.words_wrong_after,
                "speech_s": point.speech_s,
                "computing_s": point.computing_s,
            }
            for point in top
        },
        worse=mean.worse,
        curve=curve,
        points=points,
    )


def _mean(points: list[Point]) -> Mean:
    def over(field: str) -> float:
        return round(float(np.mean([getattr(point, field) for point in points])), 4)

    return Mean(
        condition=points[0].condition,
        asked_s=points[0].asked_s,
        speakers=len(points),
        strings_wrong_before=over("strings_wrong_before"),
        strings_wrong_after=over("strings_wrong_after"),
        words_wrong_before=over("words_wrong_before"),
        words_wrong_after=over("words_wrong_after"),
        worse=tuple(point.speaker for point in points if point.strings_wrong_after > point.strings_wrong_before),
        computing_s=over("computing_s"),
    )


def table(score: LearnScore) -> Table:
    """For people: one line a condition and length."""
    found = Table(
        "", "speech", "speakers", "strings wrong before", "after", "times fewer", "worse", "computing", box=None
    )
    for before, mean in pairwise((None, *score.curve)):
        name = "" if before is not None and before.condition == mean.condition else mean.condition
        found.add_row(
            name,
            f"{mean.asked_s:.0f} s",
            str(mean.speakers),
            f"{mean.strings_wrong_before:.1%}",
            f"{mean.strings_wrong_after:.1%}",
            f"{mean.times_fewer:.1f}",
            ", ".join(mean.worse) or "nobody",
            f"{mean.computing_s:.0f} s",
        )
    return found
