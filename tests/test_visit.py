"""A whole visit, entry by entry: typed here in seconds, and from its recording where that lies beside it."""

import shutil
import tomllib

import pytest

from voicelog.hearing.ear import ScriptedEar
from voicelog.keeping.job import open_job
from voicelog.model import EntryKind
from voicelog.proving.script import shown
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import run

VISIT = data_folder("audio_samples") / "visit" / "script.toml"
LINES = tomllib.loads(VISIT.read_text(encoding="utf-8"))["visit"]["line"]


@pytest.fixture
def job(tmp_path):
    shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", tmp_path)
    return tmp_path


def without_numbers(entry):
    """An entry as the script shows it; numbers count the entry that began the session."""
    text = shown(entry)
    return text.replace(f"#{entry.refers}", f"#{entry.refers - 1}") if entry.refers else text


def test_the_script_is_a_whole_visit():
    assert sum(line["says"] != "..." for line in LINES) >= 120
    assert {line["who"] for line in LINES} >= {"T", "M"}
    assert sum(not line["gives"] for line in LINES) >= 20  # talk, questions, answers that keep nothing


def test_typed_the_journal_is_the_expected_one(job):
    said = [f"{line['who']}: {line['says']}" if line["who"] else line["says"] for line in LINES]
    run(open_visit(job), ScriptedEar(said), SilentMouth(), Policy.EVERY, Watcher())
    entries = open_job(job).entries()
    assert (entries[0].kind, entries[-1].kind) == (EntryKind.STARTED, EntryKind.STOPPED)
    found = [without_numbers(entry) for entry in entries[1:-1]]
    assert found == [text for line in LINES for text in line["gives"]]


def test_the_log_says_who_spoke(job):
    run(
        open_visit(job),
        ScriptedEar(["T: circuit one polarity pass", "M: affirm"]),
        SilentMouth(),
        Policy.EVERY,
        Watcher(),
    )
    assert [entry.speaker for entry in open_job(job).entries()[1:-1]] == ["T", "M"]
