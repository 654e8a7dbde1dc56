"""How much margin to demand of each kind of utterance: the figures of ``talking.overhearing.Demands``, chosen.

    voicelog bench meant [--minutes M] [--calls DIR] ... [--talk DIR] ... [--keep FILE] [--json]

Calls and talk are played to the recogniser: in the program's own voices, M minutes of each, and from folders of
recordings (``strings.read_index``), which must be kept out of every score of talk or of visits. Of all ways to demand
it the one is chosen that costs a crew the least time: calls to be made again, and talk that was let through to be put
right.
To be run again whenever the acoustic model changes.
"""

import json
import random
from collections.abc import Iterable, Iterator, Sequence
from functools import reduce
from operator import or_
from pathlib import Path

from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.storage import Progress, quiet
from voicelog.meaning.parsing import Reader
from voicelog.model import Command, Noun
from voicelog.proving.bystanders import OwnVoices, Recorded, Source, recorded
from voicelog.proving.din import CALLS, Minute, Sound, minute
from voicelog.proving.readings import round_of, said
from voicelog.proving.rehearsal import Stage
from voicelog.proving.stances import SWEEPS, placed
from voicelog.proving.strings import read_index
from voicelog.talking.conversation import Said
from voicelog.talking.overhearing import SOON_S, Demands, kind, margin
from voicelog.talking.phrasing import Phrasing

PRICE_S = {"reading": 20.0, "value": 20.0, "answer": 60.0, "place": 10.0, "order": 10.0, "harmless": 3.0}
# of talk that is let through: said back, noticed, disregarded; assumed, as all of these
AGAIN_S = 5.0  # to make a call that was taken for talk again
CALLS_AN_HOUR = {"reading": 60.0, "value": 60.0, "answer": 30.0, "place": 10.0, "order": 30.0, "harmless": 10.0}
AFTER_TALK = 0.1  # share of calls that follow talk in the same breath; none does in these recordings
SUSPECT = {"reading": 0.03, "value": 0.03}  # share of those rightly called: two of seventy in the recorded visit
TALK = 0.5  # share of a visit in which somebody talks
TRIED = tuple(half / 2 for half in range(-24, 41))  # nats
ORDERS = 0.4  # share of calls
LONGEST = 12  # words of an order
WITHIN = (0.5, 1.0, 1.5, 2.0, 3.0, 4.0)
BREATHS = tuple({"soon": nats} for nats in (0.0, 4.0, 8.0, 12.0, 16.0, 20.0, 24.0))  # of all but values
VALUES = tuple(
    {"each_word": each, "soon_value": soon}
    for each in (0.0, 0.5, 1.0, 1.5, 2.0, 2.5)
    for soon in (0.0, 8.0, 16.0, 24.0, 32.0)
)
DOUBTS = (0.0, 4.0, 8.0, 12.0, 16.0, 24.0)  # of the suspect


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
    suspect: bool = False  # hard to believe, or a word that fits any quantity; in a sweep for talk
    seconds: float = 0.0  # of the minute, on its first line
    rival: float | None = None  # nats to the nearest other meaning
    rival_right: bool = False  # that one was called


class Kind(Noun):
    """One kind of utterance under the demands."""

    demand: float
    talk: int  # utterances of talk that were heard as this kind
    let_through: int
    calls: int  # heard right
    lost: int  # of those, none in the same breath as talk
    cost_s: float  # an hour


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


Trial = tuple[dict[str, float], dict[str, Kind]]  # a way to demand it, and what each kind of utterance costs then


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
    stage: Stage,
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
            new = list(_weighed(source, number, meant, stage, recogniser))
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


def _weighed(source: Source, number: int, meant: bool, stage: Stage, recogniser: Recogniser) -> Iterator[Weighed]:
    made = source.minute(number, random.Random(f"meant {source.name} {number}"))
    reader, context = stage.reader, stage.reader.at_first
    here = placed(stage, "awaiting" if meant else SWEEPS[number % len(SWEEPS)])
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
            suspect=here.foreseen(Said(understood, heard.end_s)).suspect is not None,
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
    """The demands that cost the least time. What a breath and a word cost a value concerns no other kind."""
    hours = sum(one.seconds for one in weighed if not one.meant) / 3600
    by_kind = {name: [one for one in weighed if one.kind == name] for name in PRICE_S}
    values = {"value": by_kind.pop("value")}
    trials = [
        _joined({"suspect": nats}, _best(by_kind, BREATHS, nats, hours), _best(values, VALUES, nats, hours))
        for nats in DOUBTS
    ]
    way, found = min(trials, key=_cost_s)
    kinds = {name: found[name] for name in PRICE_S}
    demands = Demands(**{name: kind.demand for name, kind in kinds.items()}, **way)
    return Meant(talk_hours=round(hours, 3), demands=vars(demands), kinds=kinds, doubts=tuple(_doubts(weighed)))


def _joined(way: dict[str, float], *trials: Trial) -> Trial:
    """Trials of different kinds of utterance as one."""
    ways, kinds = zip(*trials, strict=True)
    return reduce(or_, ways, way), reduce(or_, kinds)


def _best(by_kind: dict[str, list[Weighed]], ways: Sequence[dict[str, float]], suspect: float, hours: float) -> Trial:
    """The way to demand it that costs the least over some kinds."""
    demands = ((way, Demands(**way, suspect=suspect)) for way in ways)
    trials = ((way, {name: _cheapest(name, one, d, hours) for name, one in by_kind.items()}) for way, d in demands)
    return min(trials, key=_cost_s)


def _cost_s(trial: Trial) -> float:
    return sum(kind.cost_s for kind in trial[1].values())


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


def _cheapest(name: str, weighed: list[Weighed], way: Demands, hours: float) -> Kind:
    """The demand of one kind that costs the least; of several, the one in their middle. Never called: it stays."""
    called = any(one.right for one in weighed)
    tried = [_at(demand, name, weighed, way, hours) for demand in (TRIED if called else (getattr(way, name),))]
    least = min(kind.cost_s for kind in tried)
    best = [kind for kind in tried if kind.cost_s == least]
    return best[len(best) // 2]


def _at(demand: float, name: str, weighed: list[Weighed], way: Demands, hours: float) -> Kind:
    talk = [one for one in weighed if not one.meant]
    calls = [one for one in weighed if one.right]
    let_through = len(talk) - _under(demand, talk, way)
    lost = _under(demand, calls, way, soon=False)
    share = _share_lost(lost, demand, calls, way)
    cost_s = TALK * PRICE_S[name] * let_through / max(hours, 1e-9) + AGAIN_S * CALLS_AN_HOUR[name] * share
    return Kind(
        demand=demand,
        talk=len(talk),
        let_through=let_through,
        calls=len(calls),
        lost=lost,
        cost_s=round(cost_s, 2),
    )


def _share_lost(plain: int, demand: float, calls: list[Weighed], way: Demands) -> float:
    """Of calls as they come in a visit: now and then after talk, and now and then with a value hard to believe.

    ``plain``: how many are lost that come neither way.
    """
    after, hard = _under(demand, calls, way, soon=True), _under(demand, calls, way, soon=False, suspect=True)
    doubted = SUSPECT.get(calls[0].kind, 0.0) if calls else 0.0
    return ((1 - AFTER_TALK - doubted) * plain + AFTER_TALK * after + doubted * hard) / max(1, len(calls))


def _under(
    demand: float, weighed: list[Weighed], way: Demands, soon: bool | None = None, suspect: bool | None = None
) -> int:
    """How many would be taken for talk; ``soon`` and ``suspect`` in place of their own."""

    def beside(one: Weighed) -> float:
        in_a_breath = one.soon if soon is None else soon
        return way.beside(one.kind, len(one.words), in_a_breath, one.suspect if suspect is None else suspect)

    return sum(one.margin < demand + beside(one) for one in weighed)
