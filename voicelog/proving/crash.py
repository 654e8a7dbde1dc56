"""Kills: a process logs readings through the real journal, and dies in the middle, many times over.

Each round a child opens the job, keeps clips and appends entries, sometimes closing and opening again.
The parent kills it (SIGKILL) at a random moment and lets ``witness`` judge what is left.

SIGKILL ends a process, not the machine: what the operating system had already taken reaches the disk.
Against a loss of power stand the flushes that come before each acknowledgement (SQLite's
synchronous=EXTRA, fsync of journal.head and of each clip); they are not what is proved here.
"""

import os
import random
import select
import shutil
import signal
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from voicelog.errors import VoicelogError
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.journal import Journal
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import Noun
from voicelog.proving.faults import Case, run_faults
from voicelog.proving.witness import Kills, Ledger, added, judged, log_one, teller

BATCH = 12  # kills on one job folder, so that a journal is killed again and again as it grows
LONGEST_S = 0.060  # a kill comes at latest this long after the child was started, or after its last wanted entry


class Crash(Noun):
    """``voicelog bench crash``: the kills, and the named faults."""

    kills: Kills
    faults: tuple[Case, ...]

    @property
    def passed(self) -> bool:
        return self.kills.passed and all(case.held for case in self.faults)


def bench_crash(kills: int = 10_000, seed: int = 1, workers: int = 1, progress: Progress = quiet) -> Crash:
    """Everything: the kills, counted by ``progress``, then the faults. Raises VoicelogError without fork."""
    killed = run_kills(kills, seed, workers, progress=progress)
    return Crash(kills=killed, faults=run_faults())


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
            total = added(total, job.result())
            progress(total.kills, kills)
    return total.model_copy(update={"seconds": round(time.monotonic() - started, 3)})


# ---------------------------------------------------------------- one job folder, killed a number of times


def _batch(folder: Path, kills: int, seed: int) -> Kills:
    chance = random.Random(seed)
    folder.mkdir(parents=True)
    known: dict[int, str] = {}
    total = Kills()
    for _ in range(kills):
        ledger = _killed_once(folder, chance)
        total = added(total, judged(folder, known, ledger))
    shutil.rmtree(folder)
    return total


def _killed_once(folder: Path, chance: random.Random) -> Ledger:
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


def _listen(reader: int, chance: random.Random) -> tuple[Ledger, bytes]:
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


def _log_until_killed(folder: Path, writer: int, seed: int) -> None:
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
