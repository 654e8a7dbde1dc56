"""How often talk that is not meant for it becomes a reading: chatter through the real ear and the real dialogue.

    voicelog bench chatter [--hours H] [--json]

Nobody listens and nobody answers: the worst case. Minutes take turns in three stances, each made to be fooled: a
circuit is in hand and readings are awaited; a sweep is on, so that a bare value would do; a reading was said back, so
that a stray "yes" would confirm it. *Offered* is a reading that the program would say back; *kept* is one that stands
on the record at the end of the minute. The second-person policy, which lets a reading stand when the next one comes,
is that of the sweep.

Each minute is made from the seed and its number, so a run that was cut short goes on where it stopped.
"""

import json
import random
import time
from collections.abc import Iterator
from pathlib import Path

from scipy.stats import chi2

from voicelog.hearing.recogniser import Recogniser
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import EntryKind, Heard, Noun, Reading
from voicelog.proving.din import Minute, Talkers, minute, recordings
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.proving.talk import sentence
from voicelog.talking.conversation import Policy

QUIET_S = 8.0  # the dialogue is told of a silence of this length before each minute ends


class Offer(Noun):
    """A reading that nobody called."""

    minute: int
    stance: str
    heard: str
    reading: str  # place, quantity, value
    kept: bool
    margin: float | None  # of the reading over talk outside the grammar, where a judge listens


class Minutes(Noun):
    """What one minute gave."""

    number: int
    stance: str
    sentences: int
    utterances: int  # that the ear gave
    understood: int  # of those, with a meaning of any kind
    offers: tuple[Offer, ...]
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
    kept: int
    offered_per_hour: float
    kept_per_hour: float
    at_most_per_hour: float  # upper end of the 95 % interval of ``offered``, for as many hours
    confirmed_by_chance: int
    by_stance: dict[str, dict[str, int]]
    speed: float  # seconds of decoding for each second of sound
    offers: tuple[Offer, ...]


STANCES = {
    "awaiting": (Policy.EVERY, ("circuit five",)),
    "sweep": (Policy.SECOND_PERSON, ("circuit one", "start sweep zed s")),
    "confirming": (Policy.EVERY, ("circuit five zed s zero point five two ohms",)),
}


def bench_chatter(
    stage: Stage,
    recogniser: Recogniser,
    hours: float = 1.0,
    seed: int = 1,
    filler_margin: float = 0.0,
    noise: Path | None = None,
    keep: Path | None = None,
    progress: Progress = quiet,
) -> Chatter:
    """``keep`` is a file of JSON lines: minutes in it are not run again. ``noise`` is a folder of recordings."""
    done = dict(_kept(keep)) if keep else {}
    talkers, noises = Talkers(), recordings(noise) if noise else ()
    count = max(1, round(60 * hours))
    for number in range(count):
        if number not in done:
            made = _made(number, seed, stage, talkers, noises)
            done[number] = _run(number, made, stage, recogniser, filler_margin)
            if keep:
                _write(keep, done[number])
        progress(number + 1, count)
    return _summed([done[number] for number in range(count)])


def _made(number: int, seed: int, stage: Stage, talkers: Talkers, noises: tuple) -> Minute:
    draw = random.Random(f"chatter {seed} {number}")
    return minute(draw, talkers, lambda: sentence(draw, stage.reader), noises)


def _run(number: int, made: Minute, stage: Stage, recogniser: Recogniser, filler_margin: float) -> Minutes:
    stance = list(STANCES)[number % len(STANCES)]
    policy, opening = STANCES[stance]
    rehearsal = Rehearsal(stage, policy)
    for words in opening:
        rehearsal.say(tuple(words.split()))
    before, began = rehearsal.entries, time.process_time()
    heard = [*recogniser.hear(made.samples), *recogniser.finish()]
    spent_s = time.process_time() - began
    understood = sum(_take(rehearsal, one, filler_margin) for one in heard)
    rehearsal.wait(QUIET_S)
    return Minutes(
        number=number,
        stance=stance,
        sentences=len(made.sentences),
        utterances=len(heard),
        understood=understood,
        offers=tuple(_offers(number, stance, rehearsal, before)),
        confirmed_by_chance=sum(line.stands for line in rehearsal.desk.record.lines if line.entry.number <= before),
        snr_dB=round(made.snr_dB, 1),
        decode_s=round(spent_s, 3),
    )


def _take(rehearsal: Rehearsal, heard: Heard, filler_margin: float) -> bool:
    """As the session does: what other talk explains as well is passed over."""
    if heard.filler_margin is not None and heard.filler_margin < filler_margin:
        return False
    return rehearsal.hear(heard)


def _offers(number: int, stance: str, rehearsal: Rehearsal, before: int) -> Iterator[Offer]:
    for line in rehearsal.desk.record.lines:
        if line.entry.number <= before or line.entry.kind not in (EntryKind.CALLED, EntryKind.CORRECTED):
            continue
        yield Offer(
            minute=number,
            stance=stance,
            heard=" ".join(line.entry.words),
            reading=_in_short(line.reading),
            kept=line.stands,
            margin=line.entry.margin,
        )


def _in_short(reading: Reading) -> str:
    value = reading.value.model_dump(mode="json")
    return f"{reading.place.key} {reading.quantity} {value.get('figure', value['kind'])} {reading.unit}".rstrip()


def _summed(minutes: list[Minutes]) -> Chatter:
    hours = len(minutes) / 60
    offers = tuple(offer for one in minutes for offer in one.offers)
    kept = sum(offer.kept for offer in offers)
    return Chatter(
        hours=round(hours, 3),
        sentences=sum(one.sentences for one in minutes),
        utterances=sum(one.utterances for one in minutes),
        understood=sum(one.understood for one in minutes),
        offered=len(offers),
        kept=kept,
        offered_per_hour=len(offers) / hours,
        kept_per_hour=kept / hours,
        at_most_per_hour=round(float(chi2.ppf(0.975, 2 * len(offers) + 2)) / 2 / hours, 3),
        confirmed_by_chance=sum(one.confirmed_by_chance for one in minutes),
        by_stance={stance: _of_stance(stance, minutes) for stance in STANCES},
        speed=sum(one.decode_s for one in minutes) / (60 * len(minutes)),
        offers=offers,
    )


def _of_stance(stance: str, minutes: list[Minutes]) -> dict[str, int]:
    ours = [one for one in minutes if one.stance == stance]
    offers = [offer for one in ours for offer in one.offers]
    return {"minutes": len(ours), "offered": len(offers), "kept": sum(offer.kept for offer in offers)}


# ---------------------------------------------------------------- going on


def _kept(file: Path) -> Iterator[tuple[int, Minutes]]:
    """Minutes already run; a last line that was cut short is run again."""
    for line in file.read_text(encoding="utf-8").splitlines() if file.is_file() else ():
        try:
            one = Minutes(**json.loads(line))
        except ValueError:
            continue
        yield one.number, one


def _write(file: Path, one: Minutes) -> None:
    with open(file, "a", encoding="utf-8") as lines:
        lines.write(f"\n{one.model_dump_json()}\n")  # a line that was cut short before it stays a line of its own
