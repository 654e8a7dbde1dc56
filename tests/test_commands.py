"""The commands as a person meets them: what they print, and bad input with exit code 2 and never a traceback."""

import json
import os
import shutil
import signal
import sqlite3
import subprocess
import sys
from datetime import UTC, datetime
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
import soundfile
from rich.console import Console

from voicelog.cli import main
from voicelog.keeping.job import open_job
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, EntryKind
from voicelog.resources import data_folder
from voicelog.tracing import Step, table

ROOT = Path(__file__).parent.parent


def voicelog(*arguments, typed="", cwd=None, env=None, before=None):
    return subprocess.run(
        [sys.executable, "-m", "voicelog", *map(str, arguments)],
        input=typed,
        capture_output=True,
        text=True,
        timeout=120,
        cwd=cwd or ROOT,
        env={**os.environ, "COLUMNS": "200", **(env or {})},
        preexec_fn=before,
    )


@pytest.fixture
def job(tmp_path):
    folder = tmp_path / "job"
    folder.mkdir()
    shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", folder)
    return folder


def refused(done, *parts):
    """One clear message on standard error, exit code 2, no traceback."""
    assert done.returncode == 2, done.stderr
    assert "Traceback" not in done.stderr
    assert done.stderr.startswith("voicelog: ")
    for part in parts:
        assert part in done.stderr


def test_a_new_job_reads_as_it_stands(tmp_path):
    folder = tmp_path / "hall"
    done = voicelog("new", folder)
    assert done.returncode == 0
    assert open_job(folder).sheet.job.reference
    refused(voicelog("new", folder), "job.toml")


def test_brackets_in_a_name_are_signs_like_any(tmp_path):
    for name in ("hall [draft]", "hall [", "[/b]"):
        done = voicelog("new", name, cwd=tmp_path)
        assert done.returncode == 0 and f"Made {name}/job.toml" in done.stdout, done.stderr


def test_a_job_without_an_edition_says_which_there_are(tmp_path):
    voicelog("new", tmp_path / "hall")
    refused(voicelog("listen", tmp_path / "hall", "--typed"), "limit edition", "A2:2022+A3:2024")


def test_a_typed_visit(job):
    done = voicelog("listen", job, "--typed", typed="circuit one zed s point five two\naffirm\nend of visit\n")
    assert done.returncode == 0
    assert "zed s, zero point five two ohms. pass" in done.stdout
    assert "1 reading on the record." in done.stdout
    done = voicelog("report", job, "--out", job / "papers")
    assert done.returncode == 0
    assert {path.name for path in (job / "papers").iterdir()} >= {"schedule.csv", "schedule.json", "log.html"}
    assert "0.52" in (job / "papers" / "schedule.csv").read_text(encoding="utf-8-sig")


def test_the_path_of_a_sentence():
    done = voicelog("trace", "circuit nine zed s nought point seven two ohms")
    assert done.returncode == 0
    for room in ("meaning/parsing.py", "talking/dialogue.py", "checking/verdicts.py", "keeping/journal.py"):
        assert room in done.stdout


def test_a_path_shows_brackets_as_they_are():
    console = Console(file=StringIO())
    console.print(table([Step("meaning/parsing.py", "board DB[a]")]))
    assert "board DB[a]" in console.file.getvalue()


def test_the_cheat_sheet_names_every_quantity(grammar):
    shown = voicelog("words").stdout
    for quantity in grammar.quantities.values():
        assert quantity.says in shown


def test_the_cheat_sheet_names_what_must_follow_an_order(job):
    shown = voicelog("words", "--job", job).stdout
    for row in ("rename … place", "observation … code", "unplugged | unplugged the … item", "start sequence | begin"):
        assert row in shown
    following = shown.split("WHAT FOLLOWS AN ORDER")[1]
    for said in ("ring", "c two", "further investigation", "limitation", "tea urn", "piano heater", "everything"):
        assert said in following


def test_the_cheat_sheet_names_each_of_several_boards(job):
    sheet = job / "job.toml"
    assert "board d b one" not in voicelog("words", "--job", job).stdout
    sheet.write_text(sheet.read_text(encoding="utf-8") + '\n[[board]]\nreference = "DB2"\nname = "Stage"\n')
    shown = voicelog("words", "--job", job).stdout
    assert "board d b one" in shown and "board d b two: stage" in shown


@pytest.mark.parametrize("kept", ["job.toml", "journal.sqlite", "journal.head", "clips/000001.flac"])
@pytest.mark.parametrize("command", [("report", "--format", "csv", "--out"), ("pack",)])
def test_what_a_job_keeps_is_never_written_over(job, kept, command):
    (job / "clips").mkdir()
    (job / "clips" / "000001.flac").write_bytes(b"sound")
    with open_job(job).journal() as journal:
        journal.append(Draft(kind=EntryKind.NOTED, words=("a",)))
    before = (job / kept).read_bytes()
    refused(voicelog(command[0], job, *command[1:], job / kept), "what a job keeps")
    assert (job / kept).read_bytes() == before


@pytest.mark.parametrize("port", ["-1", "65536", "lots"])
def test_a_port_that_cannot_be(job, port):
    done = voicelog("review", job, "--port", port)
    assert done.returncode == 2 and "--port" in done.stderr and "Traceback" not in done.stderr


SHEETS = [
    ("rating_A = 32", "rating_A = 'lots'", "rating_A"),
    ("rating_A = 32", "rating_kA = 32", "rating_kA"),
    ('number = "2"', 'number = "1"', "1"),
    ('rcd = "RCD2"', 'rcd = "RCD7"', "RCD7"),
    ("[supply]", "[supply", "line"),
    ('earthing = "TN-C-S"', 'earthing = "TN"', "earthing"),
    ('limits = "a2-a3"', 'limits = "a9"', "a9"),
]


@pytest.mark.parametrize(("right", "wrong", "named"), SHEETS)
def test_a_sheet_that_breaks_its_rules(job, right, wrong, named):
    sheet = job / "job.toml"
    text = sheet.read_text(encoding="utf-8")
    assert right in text
    sheet.write_text(text.replace(right, wrong, 1), encoding="utf-8")
    refused(voicelog("listen", job, "--typed"), named)


def test_no_such_job(tmp_path):
    refused(voicelog("listen", tmp_path / "nowhere", "--typed"), "nowhere", "voicelog new")


def test_a_journal_of_another_version(job):
    voicelog("listen", job, "--typed", typed="circuit one polarity pass\naffirm\n")
    with sqlite3.connect(job / "journal.sqlite") as database:
        database.execute("PRAGMA user_version = 999")
    refused(voicelog("listen", job, "--typed"), "schema 999")


def test_a_tampered_journal(job):
    voicelog("listen", job, "--typed", typed="circuit one zed s point five two\naffirm\n")
    path = job / "journal.sqlite"
    path.write_bytes(path.read_bytes().replace(b"0.52", b"0.25"))
    refused(voicelog("listen", job, "--typed"), "entry")
    assert voicelog("verify", job).returncode == 1


def test_verify_of_a_whole_journal_and_of_none(job, tmp_path):
    voicelog("listen", job, "--typed", typed="circuit one zed s point five two\naffirm\n")
    assert voicelog("verify", job).returncode == 0
    assert voicelog("verify", tmp_path / "nowhere").returncode == 2


def test_missing_typed_words(job, tmp_path):
    refused(voicelog("listen", job, "--typed", "--from", tmp_path / "none.txt"), "none.txt")


def _broken_sounds(folder):
    soundfile.write(folder / "empty.wav", np.zeros(0, np.int16), 16_000)
    (folder / "noise.flac").write_bytes(os.urandom(5000))
    (folder / "cut.flac").write_bytes((data_folder("audio_samples") / "demo" / "visit.flac").read_bytes()[:40_000])


@pytest.mark.parametrize("name", ["missing.wav", "empty.wav", "noise.flac", "cut.flac"])
def test_sound_that_cannot_be_used(name, tmp_path):
    _broken_sounds(tmp_path)
    refused(voicelog("hear", tmp_path / name), name)


def test_a_model_folder_that_cannot_be_used(tmp_path):
    sound = tmp_path / "second.wav"
    soundfile.write(sound, np.zeros(16_000, np.int16), 16_000)
    refused(voicelog("hear", sound, "--model", tmp_path / "none"), "no such model folder")
    (tmp_path / "graph").mkdir()
    refused(voicelog("hear", sound, "--model", tmp_path), "am/final.mdl is missing")


def test_stereo_at_another_rate_simply_works(tmp_path):
    sound = tmp_path / "stereo.wav"
    soundfile.write(sound, np.zeros((44_100, 2)), 44_100)
    done = voicelog("hear", sound, "--json")
    assert done.returncode == 0
    assert [json.loads(line) for line in done.stdout.splitlines()] == []


def test_no_microphone_says_what_to_do(job):
    """Where there is no sound device; where there is one, the listing names it."""
    done = voicelog("devices")
    if done.returncode:
        refused(done)
        assert "PortAudio" in done.stderr or "device" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no device that is always full")
def test_a_full_disk(job):
    (job / "papers").mkdir()
    (job / "papers" / "schedule.csv").symlink_to("/dev/full")
    refused(voicelog("report", job, "--out", job / "papers"), "schedule.csv")


@pytest.mark.skipif(os.name != "posix", reason="the system limits no file")
def test_a_disk_that_fills_leaves_nothing_half(job, tmp_path):
    """Files of more than 1000 bytes are refused, as a full disk refuses them."""
    import resource

    full = lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))  # noqa: E731
    refused(voicelog("new", tmp_path / "hall", before=full), "the disk is full")
    assert list((tmp_path / "hall").iterdir()) == []
    refused(voicelog("demo", "--out", tmp_path / "demo", before=full), "the disk is full")
    assert list((tmp_path / "demo").iterdir()) == []
    voicelog("report", job)
    earlier = (job / "schedule.json").read_bytes()
    refused(voicelog("report", job, before=full), "the disk is full")
    assert (job / "schedule.json").read_bytes() == earlier and not list(job.glob("*.part"))


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may write anywhere")
def test_a_read_only_job_folder(job):
    job.chmod(0o555)
    refused(voicelog("listen", job, "--typed"), str(job))


def test_a_job_travels_as_one_file(job, tmp_path):
    voicelog("listen", job, "--typed", typed="circuit one zed s point five two\naffirm\n")
    assert voicelog("pack", job, tmp_path / "job.pack").returncode == 0
    assert voicelog("unpack", tmp_path / "job.pack", tmp_path / "there").returncode == 0
    assert open_job(tmp_path / "there").entries() == open_job(job).entries()
    refused(voicelog("unpack", tmp_path / "job.pack", tmp_path / "there"), "there")
    refused(voicelog("unpack", job / "job.toml", tmp_path / "elsewhere"), "job.toml")


def test_two_journals_become_one(job, tmp_path):
    other = tmp_path / "other"
    shutil.copytree(job, other)
    voicelog("listen", job, "--typed", typed="circuit one zed s point five two\naffirm\n")
    voicelog("listen", other, "--typed", typed="circuit one zed s point five three\naffirm\n")
    done = voicelog("merge", job, other, tmp_path / "both")
    assert done.returncode == 0
    assert "conflict, DB1/1 zs" in done.stdout


def test_diagnosis_and_plan(job):
    said = (
        "tea urn earth leakage six point eight milliamps\naffirm\nr c d one leakage nine point nine milliamps\naffirm\n"
    )
    voicelog("listen", job, "--typed", typed=said)
    explained = voicelog("explain", job).stdout
    assert "9.9 mA" in explained
    assert "A verdict is an aid" in explained
    assert "Tea urn" in voicelog("plan", job, "--rcds", "3").stdout
    refused(voicelog("plan", job, "--rcds", "0"), "1 to 9")
    refused(voicelog("plan", job, "--rcds", "1000000000000"), "1 to 9")


BAD = [
    (("report", "JOB", "--out", "FILE"), "a file stands where a folder is needed"),
    (("report", "JOB", "--format", "csv", "--out", "none/x.csv"), "no such folder"),
    (("words", "--job", "none"), "`voicelog new none`"),
    (("words", "--job", "two words"), "`voicelog new 'two words'`"),
    (("hear", "."), "a folder, not a recording"),
    (("unpack", "JOB", "there"), "job: this is a folder, not a pack"),
    (("verify", "JOB", "--head", "12"), "16 to 64 digits"),
    (("listen", "JOB", "--typed", "--attention", "two words"), "one word"),
    (("listen", "JOB", "--typed", "--attention", "five"), "begins something that is called"),  # "five point two"
    (("listen", "JOB", "--typed", "--attention", "Negative"), "begins something that is called"),
    (("listen", "JOB", "--typed", "--from", "FILE"), "not UTF-8"),
    (("learn", "ann", "--from", "none.wav"), "no such recording"),
    (("learn", "ann", "--from", "FILE", "--from-job", "JOB"), "two ways"),
    (("voices", "import", "none"), "no such file"),
]


@pytest.mark.parametrize(("command", "told"), BAD)
def test_what_cannot_be_is_told_with_its_name(job, tmp_path, command, told):
    (tmp_path / "file").write_bytes(b"\xff\xfe")
    words = {"JOB": job, "FILE": tmp_path / "file"}
    refused(voicelog(*(words.get(word, word) for word in command), cwd=tmp_path), told)


SENSELESS = [
    ("chatter", "--hours", "0"),
    ("chatter", "--hours", "-1"),
    ("chatter", "--hours", "nan"),
    ("chatter", "--hours", "inf"),
    ("meant", "--minutes", "0"),
    ("readback", "--readings", "0"),
    ("crash", "--workers", "0"),
    ("tampering", "--every", "0"),
    ("load", "--most", "99"),
    ("endurance", "--hours", "0"),
    ("strings", "none"),
]


@pytest.mark.parametrize("command", SENSELESS, ids=" ".join)
def test_a_figure_of_nothing_is_refused(command, capsys):
    with pytest.raises(SystemExit) as left:
        main(["bench", *command])
    told = capsys.readouterr().err
    assert left.value.code == 2 and command[1].lstrip("-") in told and "Errno" not in told


def test_a_terminal_that_lacks_a_sign_and_a_byte_that_is_none_end_no_visit(job):
    typed = "circuit one zed s point five two\naffirm\ncaf\udce9\nstatus\n"
    done = subprocess.run(
        [sys.executable, "-m", "voicelog", "listen", job, "--typed"],
        input=typed.encode("utf-8", "surrogateescape"),
        capture_output=True,
        timeout=60,
        cwd=ROOT,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 0, done.stderr
    assert b"one reading" in done.stdout and b"\\u2713" in done.stdout


def test_a_stream_that_came_closed_ends_in_order_and_leaves_the_files_of_the_job_alone(job):
    """Its number would go to the next file that is opened: words printed would land in the lock or in journal.head."""
    listen = f"exec {sys.executable} -m voicelog listen {job} --typed"
    typed = "circuit one zed s point five two\naffirm\n"
    for closed, rest in (("<&-", ""), ("1>&-", typed), ("2>&-", typed)):
        done = subprocess.run(["sh", "-c", f"{listen} {closed}"], input=rest, text=True, timeout=60, cwd=ROOT)
        assert done.returncode == 0 and (job / "journal.lock").read_bytes() == b"", closed
    assert len(open_job(job).record().lines) == 2 and verify_job(job).exit_code == 0


def test_ctrl_c_says_that_what_was_kept_is_safe(job):
    visit = subprocess.Popen(
        [sys.executable, "-m", "voicelog", "listen", job, "--typed"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT,
    )  # fmt: skip
    visit.stdin.write("circuit one zed s point five two\n")
    visit.stdin.flush()
    visit.stdout.readline(), visit.stdout.readline()  # what was heard, and its entry
    visit.send_signal(signal.SIGINT)
    _, told = visit.communicate(timeout=60)
    assert visit.returncode == 130 and "everything kept so far is safe" in told
    assert len(open_job(job).record().lines) == 1


def test_ctrl_c_while_the_program_is_still_loading_leaves_no_traceback(tmp_path):
    """130 is how a shell tells of SIGINT: 128 and the signal's number (POSIX shells, common practice)."""
    pressed = "import os, signal, time\nos.kill(os.getpid(), signal.SIGINT)\ntime.sleep(9)\n"
    (tmp_path / "typer.py").write_text(pressed)  # found before the real one
    done = voicelog("words", env={"PYTHONPATH": f"{tmp_path}{os.pathsep}{ROOT}"})
    assert (done.returncode, done.stderr, done.stdout) == (130, "voicelog: stopped.\n", "")


def test_nobody_learnt_is_told(tmp_path):
    done = voicelog("voices", "list", env={"HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path)})
    assert done.returncode == 0 and not done.stdout and "No voice was learnt yet" in done.stderr


def test_licences_are_listed():
    shown = voicelog("about", "--licences").stdout
    for name in ("vosk", "pydantic", "typer", "numpy", "scipy"):
        assert name in shown


def test_the_published_schema_is_json():
    assert json.loads(voicelog("schema").stdout)["$schema"].startswith("https://json-schema.org/")


def test_the_sound_of_an_entry_is_removed_and_its_trace_stays(tmp_path):
    recording = data_folder("audio_samples") / "people" / "an4-02-07.flac"
    folder = tmp_path / "job"
    folder.mkdir()
    shutil.copy(data_folder("audio_samples") / "demo" / "job.toml", folder)
    job = open_job(folder)
    with job.journal() as journal:
        clip = job.clip_folder().keep(soundfile.read(recording, dtype="int16")[0], 16_000, datetime.now(UTC))
        draft = Draft(kind=EntryKind.NOTED, words=("a",), clip=clip.name, clip_sha256=clip.sha256)
        number = journal.append(draft).number
    done = voicelog("unclip", folder, number, "--reason", "said something private")
    assert done.returncode == 0, done.stderr
    assert not list((folder / "clips").glob("*.flac"))
    assert job.entries()[-1].reason == "said something private"
    assert voicelog("verify", folder).returncode == 0
    refused(voicelog("unclip", folder, 99, "--reason", "none"), "no entry 99")
    (folder / "log.html").write_text("written before")
    every = voicelog("unclip", folder, "--reason", "all of them").stdout
    assert "removed 0 sounds" in every and "log.html still holds it" in every
