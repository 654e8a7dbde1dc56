"""How often talk that is not meant for it becomes a reading: chatter through the real ear and the real dialogue.

    voicelog bench chatter [--hours H] [--recorded DIR] ... [--babble H] [--noise DIR] [--keep FILE] [--json]

Talk is made of sentences that call no reading (``talk``) in the program's own voices, and comes from folders of
recordings, each used once; several people of those at once make a babble as on a radio; and there is noise alone.
Nobody listens and nobody answers: the worst case. Minutes take turns in five stances (``stances``), each made to be
fooled: a circuit is in hand and readings are awaited; a sweep is on, so that a bare value would do; a reading was said
back, so that a stray "yes" would confirm it; sweep and reading of Zs, of which a whole number is hard to believe, and
of leakage, of which it is not. The second-person policy, which lets a reading stand when the next one comes, is that
of the sweeps. *Offered* is a reading that the program would say back, *asked* one of two between which it would ask
(the rate counts both), *kept* one that stands on the record at the end of the minute.

A recording that is a bare value or an answer in itself ("eight", "yes") is played only where none is awaited.

Each minute is made from the seed and its number, so a run that was cut short goes on where it stopped, and FILE tells
what has been found so far.
"""

import json
import random
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from scipy.stats import chi2

from voicelog.hearing.audio import RATE_HZ
from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.record import Line
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import EntryKind, Heard, NotUnderstood, Noun, Reading, Standing
from voicelog.proving.bystanders import Source
from voicelog.proving.din import Minute
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.proving.stances import STANCES, placed
from voicelog.talking.conversation import Mode, Said
from voicelog.talking.overhearing import Demands, Overhearing

QUIET_S = 8.0  # the dialogue is told of a silence of this length before each minute ends


class Offer(Noun):
    """A reading that nobody called."""

    source: str
    minute: int
    stance: str
    heard: str
    reading: str  # place, quantity, value
    kept: bool  # stands on the record
    affirmed: bool  # by talk that sounded like "affirm"
    margin: float | None  # of the words over talk outside the grammar, where a judge listens
    at_s: float  # in its minute
    said: str  # what was being said
    where: str  # the recording and the second in it; empty for made talk


class Minutes(Noun):
    """What one minute gave."""

    source: str
    number: int
    stance: str
    seconds: float
    sentences: int
    utterances: int  # that the ear gave
    understood: int  # of those, with a meaning of any kind
    offers: tuple[Offer, ...]
    asked: int = 0  # which of two readings it was, and neither was called
    confirmed_by_chance: int  # readings said back before the minute that its talk affirmed
    snr_dB: float
    decode_s: float


class Chatter(Noun):
    """``voicelog bench chatter``."""

    hours: float
    sentences: int
    utterances: int
    understood: int
    offered: int
    asked: int
    kept: int
    affirmed: int
    offered_per_hour: float  # and asked
    kept_per_hour: float
    at_most_per_hour: float  # upper end of the 95 % interval of the one before, for as many hours
    kept_at_most_per_hour: float  # the same of ``kept``
    confirmed_by_chance: int
    by_source: dict[str, dict[str, float]]
    by_stance: dict[str, dict[str, float]]
    speed: float  # seconds of decoding for each second of sound
    offers: tuple[Offer, ...]


def bench_chatter(
    stage: Stage,
    recogniser: Recogniser,
    sources: Sequence[Source],
    seed: int = 1,
    demands: Demands | None = None,
    keep: Path | None = None,
    progress: Progress = quiet,
) -> Chatter:
    """``keep`` is a file of JSON lines: minutes in it are not run again."""
    done = {(one.source, one.number): one for one in _kept(keep)} if keep else {}
    wanted = [(source, number) for source in sources for number in range(len(source))]
    for count, (source, number) in enumerate(wanted, 1):
        key = source.name, number
        if key not in done:
            done[key] = _run(source, number, seed, stage, recogniser, demands or Demands())
            if keep:
                _write(keep, done[key])
        progress(count, len(wanted))
    return summed([done[source.name, number] for source, number in wanted])


def _run(source: Source, number: int, seed: int, stage: Stage, recogniser: Recogniser, demands: Demands) -> Minutes:
    made = source.minute(number, random.Random(f"chatter {seed} {source.name} {number}"))
    stances = ["awaiting"] if source.meant else list(STANCES)
    stance = stances[number % len(stances)]
    rehearsal = placed(stage, stance)
    before, began, started_s = rehearsal.entries, time.process_time(), recogniser.taken_s
    heard = [*recogniser.hear(made.samples), *recogniser.finish()]
    spent_s = time.process_time() - began
    listening = Listening(rehearsal, demands, started_s)
    for one in heard:
        listening.take(one)
    rehearsal.wait(QUIET_S)
    lines = rehearsal.desk.record.lines
    return Minutes(
        source=source.name,
        number=number,
        stance=stance,
        seconds=len(made.samples) / RATE_HZ,
        sentences=len(made.parts),
        utterances=len(heard),
        understood=listening.understood,
        offers=tuple(
            _offer(source.name, number, stance, made, line, *listening.came[line.entry.number])
            for line in lines
            if line.entry.number in listening.came
        ),
        asked=listening.asked,
        confirmed_by_chance=sum(line.stands for line in lines if line.entry.number <= before),
        snr_dB=round(made.snr_dB, 1),
        decode_s=round(spent_s, 3),
    )


class Listening:
    """The session's part: what is not meant for the log is passed over, and what came of the rest is noted."""

    def __init__(self, rehearsal: Rehearsal, demands: Demands, started_s: float = 0.0) -> None:
        self._rehearsal, self._overhearing, self._started_s = rehearsal, Overhearing(demands), started_s
        self.understood = self.asked = 0
        self.came: dict[int, tuple[Heard, float]] = {}  # entry -> what was heard, and when in this minute

    def take(self, heard: Heard) -> None:
        understood = self._rehearsal.understand(heard)
        said = Said(understood, heard.end_s)
        if self._overhearing.is_talk(heard, understood, self._rehearsal.foreseen(said).suspect):
            return
        self.understood += not isinstance(understood.meaning, NotUnderstood)
        before = self._rehearsal.entries
        choosing = self._rehearsal.talk.mode is Mode.CHOOSING
        self._rehearsal.take(said)
        self.asked += not choosing and self._rehearsal.talk.mode is Mode.CHOOSING
        for line in self._rehearsal.desk.record.lines:
            if line.entry.number > before and line.entry.kind in (EntryKind.CALLED, EntryKind.CORRECTED):
                self.came[line.entry.number] = heard, heard.start_s - self._started_s


def _offer(source: str, number: int, stance: str, made: Minute, line: Line, heard: Heard, at_s: float) -> Offer:
    part = made.part_at(at_s)
    return Offer(
        source=source,
        minute=number,
        stance=stance,
        heard=" ".join(line.entry.words),
        reading=_in_short(line.reading),
        kept=line.stands,
        affirmed=line.standing is Standing.AFFIRMED,
        margin=None if heard.filler_margin is None else round(heard.filler_margin, 1),
        at_s=round(at_s, 2),
        said=part.text if part else "",
        where=f"{part.where} {at_s - part.start_s:.1f}" if part and part.where else "",
    )


def _in_short(reading: Reading) -> str:
    value = reading.value.model_dump(mode="json")
    return f"{reading.place.key} {reading.quantity} {value.get('figure', value['kind'])} {reading.unit}".rstrip()


def summed(minutes: Sequence[Minutes]) -> Chatter:
    """The figures of so many minutes."""
    hours = sum(one.seconds for one in minutes) / 3600
    offers = tuple(offer for one in minutes for offer in one.offers)
    kept = sum(offer.kept for offer in offers)
    asked = sum(one.asked for one in minutes)
    return Chatter(
        hours=round(hours, 3),
        sentences=sum(one.sentences for one in minutes),
        utterances=sum(one.utterances for one in minutes),
        understood=sum(one.understood for one in minutes),
        offered=len(offers),
        asked=asked,
        kept=kept,
        affirmed=sum(offer.affirmed for offer in offers),
        offered_per_hour=(len(offers) + asked) / hours,
        kept_per_hour=kept / hours,
        at_most_per_hour=_at_most(len(offers) + asked, hours),
        kept_at_most_per_hour=_at_most(kept, hours),
        confirmed_by_chance=sum(one.confirmed_by_chance for one in minutes),
        by_source=_parted(minutes, lambda one: one.source),
        by_stance=_parted(minutes, lambda one: one.stance),
        speed=sum(one.decode_s for one in minutes) / (3600 * hours),
        offers=offers,
    )


def _at_most(count: int, hours: float) -> float:
    return round(float(chi2.ppf(0.975, 2 * count + 2)) / 2 / hours, 3)


def _parted(minutes: Sequence[Minutes], by: Callable[[Minutes], str]) -> dict[str, dict[str, float]]:
    return {name: _counts([one for one in minutes if by(one) == name]) for name in dict.fromkeys(map(by, minutes))}


def _counts(minutes: list[Minutes]) -> dict[str, float]:
    offers = [offer for one in minutes for offer in one.offers]
    return {
        "hours": round(sum(one.seconds for one in minutes) / 3600, 3),
        "offered": len(offers),
        "asked": sum(one.asked for one in minutes),
        "kept": sum(offer.kept for offer in offers),
        "confirmed_by_chance": sum(one.confirmed_by_chance for one in minutes),
    }


# ---------------------------------------------------------------- going on


def _kept(file: Path) -> Iterator[Minutes]:
    """Minutes already run; a last line that was cut short is run again."""
    for line in file.read_text(encoding="utf-8").splitlines() if file.is_file() else ():
        try:
            yield Minutes(**json.loads(line))
        except ValueError:
            continue


def _write(file: Path, one: Minutes) -> None:
    with open(file, "a", encoding="utf-8") as lines:
        lines.write(f"\n{one.model_dump_json()}\n")  # a line that was cut short before it stays a line of its own
