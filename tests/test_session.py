"""The loop from ear to journal: order, what is kept when things go wrong, and what happens after a kill."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from voicelog.errors import StorageFull
from voicelog.hearing.ear import Lost, Pressed, Quiet, ScriptedEar
from voicelog.keeping.clips import read_clip
from voicelog.keeping.job import open_job
from voicelog.keeping.journal import Journal
from voicelog.model import EntryKind, Heard, Hypothesis, Standing, Word
from voicelog.resources import data_folder
from voicelog.session import Session, Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit


@pytest.fixture
def job(tmp_path):
    sheet = data_folder("audio_samples") / "demo" / "job.toml"
    (tmp_path / "job.toml").write_bytes(sheet.read_bytes())
    return tmp_path


class OrderedWatcher(Watcher):
    """Writes down the order in which things happen."""

    def __init__(self):
        self.order = []

    def kept(self, entry, record, talk):
        self.order.append(f"kept {entry.kind.value}")

    def spoke(self, text, tone):
        self.order.append(f"said {text}")

    def lost(self, why):
        self.order.append(f"lost {why}")


class SoundingEar(ScriptedEar):
    """Typed words with a sound behind each: an eighth of a second of a ramp."""

    def sound(self, heard):
        return np.arange(2000, dtype=np.int16)


NOTHING = object()  # in place of a clips folder: no sound is kept


def run(job, ear, policy=Policy.EVERY, watcher=None, clips=None, **options):
    visit = open_visit(job)
    with visit.job.journal() as journal:
        session = Session(
            visit.reader,
            visit.desk(policy),
            ear,
            SilentMouth(),
            journal,
            None if clips is NOTHING else clips or visit.job.clip_folder(),
            watcher or Watcher(),
            visit.versions(),
            **options,
        )
        return session.run()


def test_a_reading_is_kept_before_it_is_said_back(job):
    watcher = OrderedWatcher()
    run(job, ScriptedEar(["circuit one zed s nought point five two", "affirm"]), watcher=watcher)
    assert watcher.order == [
        "kept started",
        "kept called",
        "said circuit one, kitchen sockets. zed s, zero point five two ohms. pass",
        "kept affirmed",
        "said kept",
        "kept stopped",
    ]


def test_the_journal_says_by_what_it_was_understood_and_judged(job):
    run(job, ScriptedEar([]))
    started = open_job(job).entries()[0]
    assert set(started.detail) == {"voicelog", "grammar", "edition", "policy"}


def test_talk_leaves_no_entry(job):
    run(job, ScriptedEar(["pass me the ladder would you", "yes", "no", "fifteen", "..."]))
    assert [entry.kind for entry in open_job(job).entries()] == [EntryKind.STARTED, EntryKind.STOPPED]


def test_silence_never_confirms(job):
    record = run(job, ScriptedEar(["circuit one polarity pass", *["... 30"] * 6]))
    assert [line.standing for line in record.lines] == [Standing.AWAITING]


def test_every_entry_with_words_keeps_their_sound(job):
    run(job, SoundingEar(["circuit one polarity pass", "affirm"]))
    entries = [entry for entry in open_job(job).entries() if entry.words]
    assert [entry.kind for entry in entries] == [EntryKind.CALLED, EntryKind.AFFIRMED]
    for entry in entries:
        samples, rate_Hz = read_clip(job, entry.clip)
        assert rate_Hz == 16_000
        assert samples.tolist() == list(range(2000))


def test_a_visit_whose_sound_is_not_kept_says_so(job):
    run(job, SoundingEar(["circuit one polarity pass", "affirm"]), clips=NOTHING)
    entries = open_job(job).entries()
    assert entries[0].detail["sound"] == "not kept" and not any(entry.clip for entry in entries)
    assert not (job / "clips").exists()


class FullFolder:
    """A clips folder on a full disk."""

    def keep(self, samples, rate_hz, at):
        raise StorageFull("the disk is full.", where="clips")


def test_without_room_for_sounds_the_readings_go_on_and_it_is_said(job):
    watcher = OrderedWatcher()
    record = run(job, SoundingEar(["circuit one polarity pass", "affirm"]), watcher=watcher, clips=FullFolder())
    assert len(record.current) == 1
    assert any("sound of this entry is not kept" in line for line in watcher.order)


class EarWith:
    """Gives exactly these events."""

    def __init__(self, *events):
        self._events = events

    def events(self):
        yield from self._events

    def sound(self, heard):
        return None


def heard(text, **fields):
    return Heard(hypotheses=(Hypothesis(words=tuple(Word(text=word) for word in text.split())),), **fields)


def test_lost_sound_is_said_and_records_nothing(job):
    watcher = OrderedWatcher()
    record = run(job, EarWith(Lost("the computer fell behind and sound was lost")), watcher=watcher)
    assert watcher.order[1] == "lost the computer fell behind and sound was lost"
    assert record.lines == ()


def test_a_loss_is_said_in_its_own_words_and_the_session_goes_on(job):
    mouth, watcher = SilentMouth(), OrderedWatcher()
    visit, lost = open_visit(job), Lost("the microphone gives no sound any more", say="the microphone has gone")
    with visit.job.journal() as journal:
        events = EarWith(heard("circuit one polarity pass"), lost, Quiet(30.0), heard("affirm"))
        desk, clips = visit.desk(Policy.EVERY), visit.job.clip_folder()
        record = Session(visit.reader, desk, events, mouth, journal, clips, watcher).run()
    reading = "circuit one, kitchen sockets. polarity, pass"
    assert [said.text for said in mouth.said] == [reading, "the microphone has gone", reading, "kept"]
    assert [line.standing for line in record.lines] == [Standing.AFFIRMED]


def test_speech_that_fits_no_grammar_about_as_well_is_not_for_the_log(job):
    calls = (heard("circuit one polarity pass", filler_margin=margin) for margin in (-30.0, 30.0))
    record = run(job, EarWith(*calls))
    assert len(record.lines) == 1


def test_a_disk_that_fills_ends_the_visit_aloud_and_keeps_what_was_kept(job, monkeypatch):
    mouth, watcher, honest = SilentMouth(), OrderedWatcher(), Journal._commit

    def full_after_three(journal, row):
        if row[0] > 3:
            raise StorageFull("the disk is full.")
        honest(journal, row)

    monkeypatch.setattr(Journal, "_commit", full_after_three)
    lines = [f"circuit {number} polarity pass" for number in ("one", "two", "three")]
    visit = open_visit(job)
    with visit.job.journal() as journal, pytest.raises(StorageFull):
        desk, clips = visit.desk(Policy.EVERY), visit.job.clip_folder()
        Session(visit.reader, desk, ScriptedEar([lines[0], "affirm", *lines[1:]]), mouth, journal, clips, watcher).run()
    assert mouth.said[-1].text == "stop, nothing more is kept"
    assert watcher.order[-1] == "lost the visit ends, nothing more can be kept: the disk is full."
    assert [line.reading.place.circuit for line in open_job(job).record().current] == ["1"]


def test_two_close_readings_are_both_asked_about(job):
    fifteen, fifty = ("circuit one earth leakage fifteen milliamps", "circuit one earth leakage fifty milliamps")
    both = Heard(
        hypotheses=tuple(
            Hypothesis(words=tuple(Word(text=word) for word in text.split()), cost=cost)
            for text, cost in ((fifteen, 4.0), (fifty, 4.8))
        )
    )
    watcher = OrderedWatcher()
    record = run(job, EarWith(both, heard("five zero milliamps"), heard("affirm")), watcher=watcher)
    assert "said one five milliamps, or five zero milliamps?" in watcher.order
    assert [str(line.reading.value.figure) for line in record.current] == ["50"]


def test_a_whole_reading_that_is_neither_of_two_close_ones_is_taken_as_it_is(job):
    fifteen, fifty = ("circuit one earth leakage fifteen milliamps", "circuit one earth leakage fifty milliamps")
    both = Heard(hypotheses=(heard(fifteen).hypotheses[0], heard(fifty).hypotheses[0]))
    record = run(job, EarWith(both, heard("circuit one earth leakage five milliamps"), heard("affirm")))
    assert [str(line.reading.value.figure) for line in record.current] == ["5"]


def test_two_close_readings_may_differ_in_their_conditions_alone(job):
    one, five = (f"circuit one r c d {multiple} times nine milliseconds" for multiple in ("one", "five"))
    both = Heard(hypotheses=(heard(one).hypotheses[0], heard(five).hypotheses[0]))
    record = run(job, EarWith(both, heard("r c d five times nine milliseconds"), heard("affirm")))
    assert [line.reading.conditions["multiple"] for line in record.current] == ["5"]


def test_neither_of_two_close_readings_keeps_nothing(job):
    fifteen, fifty = ("circuit one earth leakage fifteen milliamps", "circuit one earth leakage fifty milliamps")
    both = Heard(
        hypotheses=tuple(
            Hypothesis(words=tuple(Word(text=word) for word in text.split()), cost=cost)
            for text, cost in ((fifteen, 4.0), (fifty, 4.8))
        )
    )
    record = run(job, EarWith(both, heard("thirteen milliamps"), Quiet(9.0), Quiet(9.0), heard("affirm")))
    assert record.lines == ()


@pytest.mark.parametrize(
    ("other", "kept"),
    [
        ("circuit two zed s nought point nine", [("2", "zs")]),
        ("circuit three zed s nought point five", []),  # nobody knows where
    ],
)
def test_after_neither_of_two_a_value_is_of_what_both_agreed_in(job, other, kept):
    one = "circuit two zed s nought point five"
    both = Heard(hypotheses=(heard(one).hypotheses[0], heard(other).hypotheses[0]))
    record = run(
        job, EarWith(heard("circuit four"), both, heard("negative"), heard("nought point six"), heard("affirm"))
    )
    assert [(line.reading.place.circuit, line.reading.quantity) for line in record.current] == kept


def test_of_everything_left_unplugged_it_is_told_where(job):
    run(job, ScriptedEar(["circuit two", "unplugged everything", "circuit four", "unplugged everything"]))
    watcher = OrderedWatcher()
    again = ["circuit four", "plugged in everything", "circuit two earth leakage nought point two milliamps", "affirm"]
    record = run(job, ScriptedEar(again), watcher=watcher)
    assert "said still unplugged, everything on circuit two, everything on circuit four" in watcher.order
    assert [line.reason for line in record.current] == ["unplugged everything"]


def test_what_was_left_unplugged_is_told_and_is_a_reason_still(job):
    run(job, ScriptedEar(["unplugged the tea urn", "unplugged the panel heater", "plugged in the panel heater"]))
    watcher = OrderedWatcher()
    again = ["circuit two earth leakage nought point two milliamps", "affirm", "plugged in the tea urn"]
    record = run(job, ScriptedEar(again), watcher=watcher)
    assert "said still unplugged, tea urn" in watcher.order
    assert [line.reason for line in record.current] == ["unplugged tea urn"]
    last = OrderedWatcher()
    run(job, ScriptedEar([]), watcher=last)
    assert not any("unplugged" in words for words in last.order)


def broken_off(job, monkeypatch, *said):
    """What a visit leaves that is killed: nothing says that it ended."""
    with monkeypatch.context() as killed:
        killed.setattr(Session, "_finish", lambda self: None)
        run(job, ScriptedEar(said))


def test_a_reading_said_back_when_the_visit_was_broken_off_is_asked_about(job, monkeypatch):
    broken_off(job, monkeypatch, "circuit one zed s nought point five", "correction nought point five two")
    watcher = OrderedWatcher()
    record = run(job, ScriptedEar(["polarity pass", "affirm", "polarity pass"]), watcher=watcher)
    asked = "circuit one, kitchen sockets. zed s, zero point five two ohms. affirm or negative?"
    assert f"said broken off at {asked}" in watcher.order and f"said first, {asked}" in watcher.order
    assert [line.reading.quantity for line in record.current] == ["zs"]
    assert [(line.reading.place.circuit, line.reading.quantity) for line in record.unconfirmed] == [("1", "polarity")]


def test_an_answered_reading_or_a_visit_that_was_ended_asks_nothing(job, monkeypatch):
    broken_off(job, monkeypatch, "circuit one zed s nought point five", "affirm")
    for said in (["circuit one zed s nought point six"], []):
        watcher = OrderedWatcher()
        run(job, ScriptedEar(said), watcher=watcher)
        assert not any("broken off" in words for words in watcher.order)


def test_a_visit_broken_off_on_another_board_goes_on_there(job, monkeypatch):
    """ "Circuit one" means the one that the crew stands at, and not that of the first board."""
    with (job / "job.toml").open("a", encoding="utf-8") as sheet:
        sheet.write('\n[[board]]\nreference = "DB2"\n[[board.circuit]]\nnumber = "1"\n')
    broken_off(job, monkeypatch, "board d b two", "circuit one polarity pass", "affirm")
    watcher = OrderedWatcher()
    record = run(job, ScriptedEar(["circuit one zed s nought point five", "affirm"]), watcher=watcher)
    assert "said in hand, board d b two, circuit one" in watcher.order
    assert record.lines[-1].reading.place.key == "DB2/1"
    watcher = OrderedWatcher()
    run(job, ScriptedEar([]), watcher=watcher)  # the visit before was ended in order: nothing is taken up
    assert not any("in hand" in words for words in watcher.order)


def test_the_record_goes_on_where_the_last_session_ended(job):
    run(job, ScriptedEar(["circuit one polarity pass", "affirm"]))
    record = run(job, ScriptedEar(["circuit two polarity pass", "affirm"]))
    assert [line.reading.place.circuit for line in record.current] == ["1", "2"]


def test_what_was_said_back_as_kept_survives_a_kill(job):
    """The typed session is killed by the system while it runs; every "kept" it printed is on the record."""
    child = subprocess.Popen(
        [sys.executable, "-m", "voicelog", "listen", str(job), "--typed"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=Path(__file__).parent.parent,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
    )
    for circuit in ("one", "two", "three"):
        child.stdin.write(f"circuit {circuit} polarity pass\naffirm\n")
    child.stdin.flush()
    printed, deadline = 0, time.monotonic() + 60
    while printed < 3 and time.monotonic() < deadline:
        printed += child.stdout.readline().strip().endswith("kept")
    child.send_signal(signal.SIGKILL)
    child.wait()
    assert printed == 3
    kept = [line.reading.place.circuit for line in open_job(job).record().current]
    assert kept == ["1", "2", "3"]


def test_an_answer_by_hand_confirms_what_it_is_about(job):
    record = run(job, EarWith(heard("circuit one polarity pass"), Pressed("affirm", about=2)))
    assert [line.standing for line in record.lines] == [Standing.AFFIRMED]
    assert open_job(job).entries()[2].speaker == "by hand"


def test_an_answer_by_hand_that_comes_too_late_does_nothing(job):
    record = run(
        job, EarWith(heard("circuit one polarity pass"), Pressed("affirm", about=1), Pressed("affirm", about=9))
    )
    assert [line.standing for line in record.lines] == [Standing.AWAITING]


def taken_with_attention_word(job, policy, *lines):
    visit = open_visit(job, attention="logbook")
    with visit.job.journal() as journal:
        session = Session(
            visit.reader, visit.desk(policy), ScriptedEar(lines), SilentMouth(), journal, visit.job.clip_folder()
        )
        return [f"{line.reading.place.circuit} {line.reading.quantity}" for line in session.run().lines]


def test_with_an_attention_word_only_what_begins_with_it_is_taken(job):
    lines = ["circuit one polarity pass", "logbook circuit two polarity pass", "affirm", "circuit three polarity pass"]
    assert taken_with_attention_word(job, Policy.EVERY, *lines) == ["2 polarity"]


def test_a_reading_that_may_stand_opens_the_ear_to_its_answers_alone(job):
    """With a second person nothing is asked and talk goes on: a reading needs the word, a correction does not."""
    lines = ["logbook circuit two zed s nought point five", "circuit three polarity pass", "nought point six"]
    assert taken_with_attention_word(job, Policy.SECOND_PERSON, *lines) == ["2 zs"]
    lines += ["correction nought point seven", "logbook start sweep leakage", "one point one"]
    assert taken_with_attention_word(job, Policy.SECOND_PERSON, *lines)[1:] == ["2 zs", "2 zs", "1 earth_leakage"]
