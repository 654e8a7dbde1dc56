"""Kills: a process logs readings through the real journal, and dies in the middle, many times over.

Each round a child opens the job, keeps clips and appends entries, sometimes closing and opening again.
The parent kills it (SIGKILL) at a random moment and lets ``witness`` judge what is left.

SIGKILL ends a process, not the machine: what the operating system had already taken reaches the disk.
That acknowledged entries are on the disk itself is for ``power`` to prove.
"""

import os
import random
import shutil
import signal
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

from pydantic import computed_field

from voicelog.errors import VoicelogError
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import Noun
from voicelog.proving.faults import Case, run_faults
from voicelog.proving.power import can_cut, run_power_cuts
from voicelog.proving.witness import Kills, Ledger, added, judged, listen, logging_child

BATCH = 12  # kills on one job folder, so that a journal is killed again and again as it grows


class Crash(Noun):
    """``voicelog bench crash``: kills, power cuts, and named faults."""

    kills: Kills
    power_cuts: Kills | None = None  # None where this user may not mount a file system: not tried
    faults: tuple[Case, ...]

    @computed_field
    @property
    def passed(self) -> bool:
        cuts = self.power_cuts is None or self.power_cuts.passed
        return self.kills.passed and cuts and all(case.held for case in self.faults)


def bench_crash(
    kills: int = 10_000, cuts: int = 200, seed: int = 1, workers: int = 1, progress: Progress = quiet
) -> Crash:
    """Everything; ``progress`` counts kills and power cuts together. Raises VoicelogError without fork."""
    of = kills + cuts
    killed = run_kills(kills, seed, workers, progress=lambda done, _: progress(done, of))
    wanted = cuts and can_cut()
    cut = run_power_cuts(cuts, seed, progress=lambda done, _: progress(kills + done, of)) if wanted else None
    return Crash(kills=killed, power_cuts=cut, faults=run_faults())


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
    child, reader = logging_child(folder, chance)
    ledger, rest = listen(reader, chance)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    while chunk := os.read(reader, 1 << 16):
        rest += chunk
    os.close(reader)
    for line in rest.splitlines():
        ledger.hear(line)
    return ledger
