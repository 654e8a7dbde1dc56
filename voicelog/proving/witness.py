"""The witness of a crash: what a logging process was told, held against what lies in the folder.

A child process logs readings through the real journal and the real clips, and says down a pipe what it
is about to do and what was acknowledged to it. However it ended, the folder must then verify as it
lies, open to write, and hold every acknowledged entry with the digest that was acknowledged; at most
one more, which is the one that was under way.
"""

import json
import os
import random
import select
import time
from collections import Counter
from collections.abc import Callable
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import numpy as np
from pydantic import computed_field

from voicelog.errors import KeepingError
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.journal import Journal
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, Entry, EntryKind, Noun, Number, Place, Reading

RATE_HZ = 16000
SOUND = (np.sin(np.arange(800) * 0.2) * 9000).astype(np.int16)  # 0.05 s of a tone

LONGEST_S = 0.060  # a kill comes at latest this long after the child was started, or after its last wanted entry

Tell = Callable[..., None]  # tell(phase, **more)


class Kills(Noun):
    """What came of ending a logging process, once or many times."""

    kills: int = 0
    acknowledged: int = 0
    lost: int = 0  # acknowledged, and not there afterwards
    changed: int = 0  # there, and not as acknowledged
    unacknowledged_kept: int = 0  # under way when the kill came, whole afterwards
    unacknowledged_discarded: int = 0  # under way when the kill came, gone without a trace
    too_many: int = 0  # entries that were neither acknowledged nor the one under way
    not_whole: int = 0  # verification as it lay found something
    not_opened: int = 0
    killed_while: dict[str, int] = {}  # what the child last said it was about to do
    seconds: float = 0.0
    failures: tuple[str, ...] = ()  # the first few, in words

    @computed_field
    @property
    def passed(self) -> bool:
        return self.kills > 0 and not (self.lost or self.changed or self.too_many or self.not_whole or self.not_opened)

    @computed_field
    @property
    def loss_bound(self) -> float:
        """Upper 95 % bound of the share of kills that lose something, none having done so: 1 - 0.05^(1/n)."""
        return 1 - 0.05 ** (1 / self.kills) if self.kills else 1.0


def added(one: Kills, other: Kills) -> Kills:
    """Figures added up; of the failures the first ten are kept."""
    figures = {name: getattr(one, name) + getattr(other, name) for name in Kills.model_fields if name not in _OTHERS}
    while_ = dict(Counter(one.killed_while) + Counter(other.killed_while))
    return Kills(**figures, killed_while=while_, failures=(one.failures + other.failures)[:10])


_OTHERS = {"killed_while", "failures"}


class Ledger:
    """What the child was told, and what it was about to do: the only truth besides the folder."""

    def __init__(self) -> None:
        self.acknowledged: dict[int, str] = {}  # entry number -> digest
        self.under_way: tuple[int, str] | None = None  # what the child was appending: its sequence, its figure
        self.phase = "starting"

    def hear(self, line: bytes) -> None:
        told = json.loads(line)
        self.phase = told["phase"]
        if self.phase == "append":
            self.under_way = (told["serial"], told["figure"])
        elif self.phase == "acknowledged":
            self.acknowledged[told["number"]] = told["digest"]
            self.under_way = None


def teller(pipe: int) -> Tell:
    """How the child speaks: one line of JSON for each thing, in one write."""

    def tell(phase: str, **more: object) -> None:
        os.write(pipe, json.dumps({"phase": phase, **more}).encode() + b"\n")

    return tell


def log_one(journal: Journal, clips: ClipFolder, chance: random.Random, serial: int, tell: Tell) -> None:
    """Log one reading, with a clip half the time, telling each step."""
    draft = _draft(chance, tell, clips)
    tell("append", serial=serial, figure=_figure(draft))
    entry = journal.append(draft)
    tell("acknowledged", number=entry.number, digest=entry.digest)


def listen(reader: int, chance: random.Random) -> tuple[Ledger, bytes]:
    """Until the moment to kill: some entries acknowledged, or none, and then a random while longer."""
    ledger, rest = Ledger(), b""
    wanted = chance.choice((0, 0, 1, 2, 3, 5, 8, 13))
    while len(ledger.acknowledged) < wanted and select.select([reader], [], [], 5.0)[0]:
        chunk = os.read(reader, 1 << 16)
        if not chunk:
            break
        *lines, rest = (rest + chunk).split(b"\n")
        for line in lines:
            ledger.hear(line)
    time.sleep(chance.random() ** 2 * LONGEST_S)
    return ledger, rest


def logging_child(folder: Path, chance: random.Random) -> tuple[int, int]:
    """Fork a process that logs into ``folder`` until it is killed: its number, and the pipe down which it tells."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        log_until_killed(folder, writer, chance.getrandbits(32))
    os.close(writer)
    return child, reader


def log_until_killed(folder: Path, writer: int, seed: int) -> None:
    """The child: never comes back."""
    chance, tell, clips = random.Random(seed), teller(writer), ClipFolder(folder)
    try:
        while True:
            tell("opening")
            with Journal.open(folder) as journal:
                for serial in range(chance.randint(1, 30)):
                    log_one(journal, clips, chance, serial, tell)
                tell("closing")
    except BaseException as error:
        tell("failed", error=repr(error))
    finally:
        os._exit(1)


def _draft(chance: random.Random, tell: Tell, clips: ClipFolder) -> Draft:
    figure = Decimal(chance.randrange(10**9)).scaleb(-3)
    place = Place(board="DB1", circuit=str(chance.randint(1, 40)))
    reading = Reading(place=place, quantity="zs", value=Number(figure=figure), unit="ohm")
    words = ("circuit", place.circuit, "zed", "s", *str(figure))
    if chance.random() < 0.5:
        return Draft(kind=EntryKind.CALLED, words=words, place=place, reading=reading)
    tell("clip")
    clip = clips.keep(SOUND, RATE_HZ, datetime.now(UTC))
    return Draft(
        kind=EntryKind.CALLED, words=words, place=place, reading=reading, clip=clip.name, clip_sha256=clip.sha256
    )


def _figure(entry: Draft) -> str:
    value = entry.reading.value if entry.reading else None
    return str(value.figure) if isinstance(value, Number) else ""


def judged(folder: Path, known: dict[int, str], ledger: Ledger) -> Kills:
    """Verify as it lies, open to write, compare. ``known`` takes on what must be there from now on."""
    failures: list[str] = []
    if ledger.phase == "failed":
        failures.append("the child itself failed before it was killed")
    as_it_lies = verify_job(folder) if ledger.acknowledged or known else None
    if as_it_lies and as_it_lies.exit_code:
        failures += as_it_lies.findings
    entries = _opened(folder, failures)
    before = max(known, default=0)
    known |= ledger.acknowledged
    found = {entry.number: entry for entry in entries or ()}
    more = [entry for number, entry in found.items() if number not in known]
    kept = [entry for entry in more if ledger.under_way and _figure(entry) == ledger.under_way[1]]
    known |= {entry.number: entry.digest for entry in more}
    lost = [number for number in known if number not in found]
    changed = [number for number in known if number in found and found[number].digest != known[number]]
    failures += [f"entry {number} was acknowledged and is lost" for number in lost]
    return Kills(
        kills=1,
        acknowledged=len(ledger.acknowledged),
        lost=len(lost),
        changed=len(changed),
        unacknowledged_kept=len(kept),
        unacknowledged_discarded=int(ledger.under_way is not None and not kept),
        too_many=len(more) - len(kept) + max(0, len(kept) - 1),
        not_whole=int(bool(as_it_lies and as_it_lies.exit_code) or ledger.phase == "failed"),
        not_opened=int(entries is None),
        killed_while={ledger.phase: 1},
        failures=tuple(f"after entry {before}: {words}" for words in failures),
    )


def _opened(folder: Path, failures: list[str]) -> tuple[Entry, ...] | None:
    try:
        with Journal.open(folder) as journal:
            return journal.entries()
    except KeepingError as error:
        failures.append(f"does not open: {error}")
        return None
