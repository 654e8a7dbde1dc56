"""Kills: a process logs readings through the real journal, and dies in the middle, many times over.

Each round a child opens the job, keeps clips and appends entries, sometimes closing and opening again;
it reports down a pipe what it is about to do and what was acknowledged to it. The parent kills it
(SIGKILL) at a random moment and looks: the job verifies as it lies, opens to write, holds every
acknowledged entry with the digest that was acknowledged, and at most one more, which is then equal to
the draft that was under way.

SIGKILL ends a process, not the machine: what the operating system had already taken reaches the disk.
Against a loss of power stand the flushes that come before each acknowledgement (SQLite's
synchronous=EXTRA, fsync of journal.head and of each clip); they are not what is proved here.
"""

import json
import os
import random
import select
import shutil
import signal
import tempfile
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from datetime import UTC, datetime
from decimal import Decimal
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from voicelog.errors import KeepingError, VoicelogError
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.journal import Journal
from voicelog.keeping.storage import Progress, quiet
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, Entry, EntryKind, Noun, Number, Place, Reading

BATCH = 12  # kills on one job folder, so that a journal is killed again and again as it grows
LONGEST_S = 0.060  # a kill comes at latest this long after the child was started, or after its last wanted entry
RATE_HZ = 16000
SOUND = (np.sin(np.arange(800) * 0.2) * 9000).astype(np.int16)  # 0.05 s of a tone


class Kills(Noun):
    """What came of them."""

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

    @property
    def passed(self) -> bool:
        return self.kills > 0 and not (self.lost or self.changed or self.too_many or self.not_whole or self.not_opened)

    @property
    def loss_bound(self) -> float:
        """Upper 95 % bound of the share of kills that lose something, none having done so: 1 - 0.05^(1/n)."""
        return 1 - 0.05 ** (1 / self.kills) if self.kills else 1.0


def run_kills(
    kills: int = 10_000, seed: int = 1, workers: int = 1, folder: Path | None = None, progress: Progress = quiet
) -> Kills:
    """Kill a logging process ``kills`` times. ``folder`` is where the jobs are made; temporary otherwise.

    Raises VoicelogError where processes cannot be forked.
    """
    if not hasattr(os, "fork"):
        raise VoicelogError("this proof forks processes, which this system cannot.", do="Run it on Linux or macOS.")
    started = time.monotonic()
    sizes = [min(BATCH, kills - first) for first in range(0, kills, BATCH)]
    total = Kills()
    with (
        tempfile.TemporaryDirectory(dir=folder) as place,
        ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool,
    ):
        jobs = [pool.submit(_batch, Path(place) / f"job{n}", size, seed + n) for n, size in enumerate(sizes)]
        for job in jobs:
            total = _sum(total, job.result())
            progress(total.kills, kills)
    return total.model_copy(update={"seconds": round(time.monotonic() - started, 3)})


def _sum(one: Kills, other: Kills) -> Kills:
    """Figures added up; of the failures the first ten are kept."""
    figures = {name: getattr(one, name) + getattr(other, name) for name in Kills.model_fields if name not in _OTHERS}
    while_ = dict(Counter(one.killed_while) + Counter(other.killed_while))
    return Kills(**figures, killed_while=while_, failures=(one.failures + other.failures)[:10])


_OTHERS = {"killed_while", "failures"}


# ---------------------------------------------------------------- one job folder, killed a number of times


class _Ledger:
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


def _batch(folder: Path, kills: int, seed: int) -> Kills:
    chance = random.Random(seed)
    folder.mkdir(parents=True)
    known: dict[int, str] = {}
    total = Kills()
    for _ in range(kills):
        ledger = _killed_once(folder, chance)
        total = _sum(total, _judged(folder, known, ledger))
    shutil.rmtree(folder)
    return total


def _killed_once(folder: Path, chance: random.Random) -> _Ledger:
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        _log_until_killed(folder, writer, chance.getrandbits(32))
    os.close(writer)
    ledger, rest = _listen(reader, chance)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while chunk := os.read(reader, 1 << 16):
        rest += chunk
    os.close(reader)
    for line in rest.splitlines():
        ledger.hear(line)
    return ledger


def _listen(reader: int, chance: random.Random) -> tuple[_Ledger, bytes]:
    """Until the moment to kill: some entries acknowledged, or none, and then a random while longer."""
    ledger, rest = _Ledger(), b""
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


def _log_until_killed(folder: Path, writer: int, seed: int) -> None:
    """The child: never comes back."""
    chance = random.Random(seed)
    clips = ClipFolder(folder)

    def tell(phase: str, **more: object) -> None:
        os.write(writer, json.dumps({"phase": phase, **more}).encode() + b"\n")

    try:
        while True:
            tell("opening")
            with Journal.open(folder) as journal:
                for serial in range(chance.randint(1, 30)):
                    draft = _draft(chance, tell, clips)
                    tell("append", serial=serial, figure=_figure(draft))
                    entry = journal.append(draft)
                    tell("acknowledged", number=entry.number, digest=entry.digest)
                tell("closing")
    except BaseException as error:
        tell("failed", error=repr(error))
        raise
    finally:
        os._exit(1)


def _draft(chance: random.Random, tell, clips: ClipFolder) -> Draft:  # noqa: ANN001
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


# ---------------------------------------------------------------- what the kill left


def _judged(folder: Path, known: dict[int, str], ledger: _Ledger) -> Kills:
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
