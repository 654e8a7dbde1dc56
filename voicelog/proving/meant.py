"""How much margin to demand of each kind of utterance: the figures of ``talking.overhearing.Demands``, chosen.

    voicelog bench meant [--minutes M] [--calls DIR] ... [--talk DIR] ... [--keep FILE] [--json]

Calls and talk are played to the recogniser: in the program's own voices, M minutes of each, and from folders of
recordings (``strings.read_index``), which must be kept out of every score. What is demanded is then the least that
lets through no more talk than ALLOWED, and of all ways to demand it the one that loses the fewest calls heard right.
To be run again whenever the acoustic model changes.
"""

import itertools
import json
import random
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.storage import Progress, quiet
from voicelog.meaning.parsing import Reader
from voicelog.model import Command, Noun
from voicelog.proving.bystanders import OwnVoices, Recorded, Source, recorded
from voicelog.proving.din import CALLS, Minute, Sound, minute
from voicelog.proving.readings import round_of, said
from voicelog.proving.strings import read_index
from voicelog.talking.overhearing import SOON_S, Demands, kind, margin
from voicelog.talking.phrasing import Phrasing

ALLOWED = {"reading": 0.1, "value": 0.3, "answer": 1.0, "place": 2.0}  # of talk, an hour
CHEAP = ("order", "harmless")  # seldom heard in talk, and soon put right: chosen so that calls are not lost
LOST = 0.02  # share of calls that may be lost where talk demands nothing
SLACK = 1.0  # nats beyond the talk that must not pass
ORDERS = 0.4  # share of calls
LONGEST = 12  # words of an order
WITHIN = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
WAYS = {
    "each_word": (0.0, -0.5, -1.0, -1.5, -2.0, -2.5),
    "soon": (0.0, 4.0, 8.0, 12.0),
    "soon_value": (0.0, 8.0, 16.0, 24.0),
}


class Weighed(Noun):
    """One utterance, as the rule sees it."""

    source: str
    minute: int
    meant: bool
    right: bool  # heard as it was called; False for talk
    kind: str
    words: tuple[str, ...]
    margin: float
    soon: bool  # within a breath of what was heard before
    seconds: float = 0.0  # of the minute, on its first line
    rival: float | None = None  # nats to the nearest other meaning
    rival_right: bool = False  # that one was called


class Kind(Noun):
    """One kind of utterance under the demands."""

    demand: float
    talk: int  # utterances of talk that were heard as this kind
    let_through: int
    calls: int  # heard right
    lost: int


class Doubt(Noun):
    """What asking about two close readings would catch, and how often it would be needless."""

    within: float  # nats: both are asked about when they lie nearer
    misheard: int
    caught: int  # of those, with the right reading as the near one
    right: int
    needless: int  # of those, asked about all the same


class Meant(Noun):
    """``voicelog bench meant``."""

    talk_hours: float
    demands: dict[str, float]
    kinds: dict[str, Kind]
    doubts: tuple[Doubt, ...]


class OwnCalls(OwnVoices):
    """Readings and orders in the program's own voices, one at a time."""

    name = "own calls"

    def minute(self, number: int, draw: random.Random) -> Minute:
        return minute(draw, self._talkers, lambda: call(draw, self._reader), self._noises, CALLS)


def call(draw: random.Random, reader: Reader) -> str:
    """An order of the grammar, or a reading as a crew would find it: whole, without its place, or its value alone."""
    if draw.random() < ORDERS:
        return _order(draw, reader)
    utterance = said(draw.choice(round_of(reader.sheet, draw)), Phrasing(reader.grammar, reader.sheet), draw)
    whole, here = utterance.words, (*utterance.quantity, *utterance.value, *utterance.unit)
    return " ".join(draw.choices((whole, here, (*utterance.value, *utterance.unit)), (0.6, 0.25, 0.15))[0])


def _order(draw: random.Random, reader: Reader) -> str:
    while True:
        words = reader.network.sample(draw)
        if len(words) <= LONGEST and isinstance(_read(words, reader), Command):
            return " ".join(words)


def _read(words: Sequence[str], reader: Reader) -> object:
    return reader.read(tuple(words), reader.at_first)


# ---------------------------------------------------------------- playing


def bench_meant(
    reader: Reader,
    recogniser: Recogniser,
    calls: Sequence[Source],
    talk: Sequence[Source],
    keep: Path | None = None,
    progress: Progress = quiet,
) -> Meant:
    """``keep`` is a file of JSON lines: minutes in it are not played again."""
    weighed = list(_kept(keep))
    done = {(one.source, one.minute) for one in weighed}
    wanted = [(source, number, source in calls) for source in (*calls, *talk) for number in range(len(source))]
    for count, (source, number, meant) in enumerate(wanted, 1):
        if (source.name, number) not in done:
            new = list(_weighed(source, number, meant, reader, recogniser))
            weighed += new
            if keep:
                _write(keep, new)
        progress(count, len(wanted))
    return chosen(weighed)


def sources(
    reader: Reader, minutes: int, calls: Iterable[Path], talk: Iterable[Path], noises: tuple[Sound, ...] = ()
) -> tuple[list[Source], list[Source]]:
    """Calls and talk. Raises InputError for a folder without an index."""
    calling = [Recorded(f"calls {folder.name}", read_index(folder), False, noises, CALLS) for folder in calls]
    talking = [one for folder in talk for one in recorded(folder, reader, noises) if not one.meant]
    return [OwnCalls(reader, minutes, noises), *calling], [OwnVoices(reader, minutes, noises), *talking]


def _weighed(source: Source, number: int, meant: bool, reader: Reader, recogniser: Recogniser) -> Iterator[Weighed]:
    made = source.minute(number, random.Random(f"meant {source.name} {number}"))
    context = reader.at_first
    called = [_read(part.text.replace(",", " ").split(), reader) for part in made.parts] if meant else []
    before_s, seconds = float("-inf"), len(made.samples) / 16_000
    for heard in (*recogniser.hear(made.samples), *recogniser.finish()):
        understood = reader.understand(heard, context)
        yield Weighed(
            source=source.name,
            minute=number,
            meant=meant,
            right=understood.meaning in called,
            kind=kind(understood),
            words=understood.words,
            margin=round(margin(heard, understood), 2),
            soon=heard.start_s - before_s < SOON_S,
            seconds=seconds,
            rival=understood.margin,
            rival_right=understood.rival in called,
        )
        before_s, seconds = heard.end_s, 0.0


def _kept(file: Path | None) -> Iterator[Weighed]:
    lines = file.read_text(encoding="utf-8").splitlines() if file and file.is_file() else ()
    return (Weighed(**json.loads(line)) for line in lines)


def _write(file: Path, weighed: list[Weighed]) -> None:
    with open(file, "a", encoding="utf-8") as lines:
        lines.writelines(f"{one.model_dump_json()}\n" for one in weighed)


# ---------------------------------------------------------------- choosing


def chosen(weighed: Sequence[Weighed]) -> Meant:
    """The demands that lose the fewest calls, of those that let through no more talk than is allowed."""
    hours = sum(one.seconds for one in weighed if not one.meant) / 3600
    ways = [dict(zip(WAYS, values, strict=True)) for values in itertools.product(*WAYS.values())]
    trials = [_trial(weighed, Demands(**way), hours) for way in ways]
    demands, kinds = min(trials, key=lambda trial: _lost(trial[1]))
    return Meant(talk_hours=round(hours, 3), demands=vars(demands), kinds=kinds, doubts=tuple(_doubts(weighed)))


def _doubts(weighed: Sequence[Weighed]) -> Iterator[Doubt]:
    readings = [one for one in weighed if one.meant and one.kind in ("reading", "value")]
    for within in WITHIN:
        near = [one for one in readings if one.rival is not None and one.rival < within]
        yield Doubt(
            within=within,
            misheard=sum(not one.right for one in readings),
            caught=sum(one.rival_right for one in near),
            right=sum(one.right for one in readings),
            needless=sum(one.right for one in near),
        )


def _lost(kinds: dict[str, Kind]) -> int:
    return sum(one.lost for one in kinds.values())


def _trial(weighed: Sequence[Weighed], way: Demands, hours: float) -> tuple[Demands, dict[str, Kind]]:
    names = (*ALLOWED, *CHEAP)
    kinds = {name: _least(name, [one for one in weighed if one.kind == name], way, hours) for name in names}
    bases = {name: one.demand for name, one in kinds.items()}
    return Demands(**{**vars(way), **bases}), kinds


def _least(name: str, weighed: list[Weighed], way: Demands, hours: float) -> Kind:
    """The least demand of one kind that bars talk beyond what is allowed, and no lower than calls need it."""
    talk = sorted((_over(one, way) for one in weighed if not one.meant), reverse=True)
    calls = sorted(_over(one, way) for one in weighed if one.right)
    needed = calls[int(LOST * len(calls))] if calls else 0.0
    barred = talk[int(ALLOWED[name] * hours) :] if name in ALLOWED else []
    demand = round(max([needed - SLACK, *(over + SLACK for over in barred[:1])]), 1)
    return Kind(
        demand=demand,
        talk=len(talk),
        let_through=sum(over >= demand for over in talk),
        calls=len(calls),
        lost=sum(over < demand for over in calls),
    )


def _over(one: Weighed, way: Demands) -> float:
    """The margin less all that is demanded beside the kind's own figure."""
    return one.margin - way.beside(one.kind, len(one.words), one.soon and not one.meant)
