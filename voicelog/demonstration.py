"""A recorded visit, run through the real recogniser, dialogue, limits and journal.

The recording and its script lie in audio_samples/demo; every name and figure in
them is made up.
"""

import shutil
from pathlib import Path

from rich.console import Console

from voicelog.errors import KeepingError
from voicelog.handing_over import write_all
from voicelog.keeping.record import Record
from voicelog.keeping.storage import refusal
from voicelog.resources import data_folder
from voicelog.screen import Screen
from voicelog.talking.conversation import Policy
from voicelog.talking.phrasing import Phrasing
from voicelog.visit import open_visit
from voicelog.visiting import Options, closing_words, open_ear, open_the_mouth, run

SILENT = "silent"


def run_demo(out: Path, voice: str, console: Console) -> Record:
    """Run the visit into ``out/job`` and write its documents to ``out``.

    Raises KeepingError when ``out`` already holds a job, and the errors of the rooms.
    """
    job = lay_out(out)
    console.print(f"An invented village hall whose RCD keeps tripping; the recording is {recording()}.\n", markup=False)
    visit = open_visit(job)
    options = Options(source=recording(), silent=voice == SILENT, voice=voice)
    with open_the_mouth(options, Phrasing(visit.grammar, visit.sheet)) as mouth, open_ear(visit, options) as ear:
        record = run(visit, ear, mouth, Policy.EVERY, Screen(console))
    console.print(f"\n{closing_words(record)}")
    for path in write_all(job, out):
        console.print(f"wrote {path}", markup=False)
    return record


def recording() -> Path:
    return data_folder("audio_samples") / "demo" / "visit.flac"


def lay_out(out: Path) -> Path:
    """A fresh job folder with the sheet of the demonstration."""
    job = out / "job"
    if job.exists():
        raise KeepingError("there is a job here already.", where=str(job), do="Name another folder with --out.")
    try:
        job.mkdir(parents=True)
        shutil.copyfile(data_folder("audio_samples") / "demo" / "job.toml", job / "job.toml")
    except OSError as error:
        shutil.rmtree(job, ignore_errors=True)  # else the next try would find a job here already
        raise refusal(error, job) from None
    return job
