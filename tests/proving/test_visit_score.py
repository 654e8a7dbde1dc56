"""The score of the recorded visit sees script and journal alike; the visit itself is heard by ``bench visit``."""

import shutil

from tests.test_visit import LINES
from voicelog.hearing.ear import ScriptedEar
from voicelog.keeping.job import open_job
from voicelog.proving.script import shown, without_chance
from voicelog.proving.visit import differences
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import run

WANTED = [without_chance(text) for line in LINES for text in line["gives"]]


def test_the_typed_visit_is_as_scripted(tmp_path):
    shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", tmp_path)
    said = [f"{line['who']}: {line['says']}" if line["who"] else line["says"] for line in LINES]
    run(open_visit(tmp_path), ScriptedEar(said), SilentMouth(), Policy.EVERY, Watcher())
    found = [without_chance(shown(entry)) for entry in open_job(tmp_path).entries()[1:-1]]
    assert differences(WANTED, found) == ((), ())


def test_every_difference_is_told():
    found = [*WANTED[:3], "called DB1 ze 0.12 ohm", *WANTED[4:]]
    missing, unexpected = differences(WANTED, found)
    assert (missing, unexpected) == ((WANTED[3],), ("called DB1 ze 0.12 ohm",))
