"""The commands. Each is a few lines: it opens what it needs, calls one room, and prints.

Rooms are imported where they are used, so that a command starts in the time it needs and no more.
"""

import os
import shlex
import sys
from datetime import date
from enum import StrEnum
from io import TextIOWrapper
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console

from voicelog import STOPPED, __version__, cli_bench
from voicelog.counting import counted
from voicelog.errors import DeviceError, InputError, VoicelogError

if TYPE_CHECKING:
    from voicelog.keeping.verify import Verification

app = typer.Typer(
    name="voicelog",
    help="Spoken test readings onto the record right, first time, while both hands are on the probes.",
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    add_completion=False,
)

app.add_typer(cli_bench.app, name="bench")

LEAST_MINUTES, MOST_MINUTES = 0.1, 60.0  # of speech to learn a voice from

JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="the job folder")]
AsJson = Annotated[bool, typer.Option("--json", help="one JSON object on standard output and nothing else")]


class PolicyName(StrEnum):
    """Who confirms a reading."""

    EVERY = "every"
    SECOND_PERSON = "second-person"


class ReportForm(StrEnum):
    """Forms of the report."""

    PDF = "pdf"
    HTML = "html"
    XLSX = "xlsx"
    CSV = "csv"
    JSON = "json"


def console() -> Console:
    return Console(highlight=False, soft_wrap=True)


def notes() -> Console:
    """Progress and remarks: never on standard output."""
    return Console(stderr=True, highlight=False, soft_wrap=True)


def main(arguments: list[str] | None = None) -> None:
    """The console command: errors become one clear message and exit code 2, never a traceback."""
    _hold_closed_streams()
    _bear_any_sign()
    try:
        app(arguments)
    except SystemExit as left:
        if left.code == STOPPED:
            notes().print("voicelog: stopped; everything kept so far is safe.")
        raise
    except VoicelogError as error:
        notes().print(f"voicelog: {error}", markup=False)
        sys.exit(2)
    except OSError as error:
        notes().print(f"voicelog: {error.filename or 'the system'}: {error.strerror or error}.", markup=False)
        sys.exit(2)


def _hold_closed_streams() -> None:
    """A stream that came closed would leave its number to a file of the job, and whatever prints would write there."""
    while (number := os.open(os.devnull, os.O_RDWR)) <= 2:
        os.set_inheritable(number, True)
    os.close(number)
    sys.stdin = sys.stdin or os.fdopen(0, "r", encoding="utf-8")
    sys.stdout = sys.stdout or os.fdopen(1, "w", encoding="utf-8")
    sys.stderr = sys.stderr or os.fdopen(2, "w", encoding="utf-8")


def _bear_any_sign() -> None:
    """A sign that the terminal lacks, or a byte that is none of its own, ends no visit."""
    for stream, errors in ((sys.stdin, "replace"), (sys.stdout, "backslashreplace"), (sys.stderr, "backslashreplace")):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors=errors)


@app.callback(invoke_without_command=True)
def _version(
    version: Annotated[bool, typer.Option("--version", help="print the version and leave", is_eager=True)] = False,
) -> None:
    if version:
        typer.echo(f"voicelog {__version__}")
        raise typer.Exit


# ---------------------------------------------------------------- a job


@app.command()
def new(folder: JobFolder) -> None:
    """Make a job folder with a sheet that explains itself."""
    from voicelog.keeping.sheet import new_job

    sheet = new_job(folder, date.today())
    told = f"Made {sheet}. Fill it in, then: voicelog listen {shlex.quote(str(folder))}"
    console().print(told, markup=False)


@app.command()
def listen(
    folder: JobFolder,
    source: Annotated[
        Path | None, typer.Option("--from", metavar="FILE", help="a recording instead of the microphone")
    ] = None,
    typed: Annotated[bool, typer.Option("--typed", help="type the words instead of speaking them")] = False,
    policy: Annotated[PolicyName, typer.Option(help="who confirms a reading")] = PolicyName.EVERY,
    silent: Annotated[bool, typer.Option("--silent", help="print what would be said")] = False,
    voice: Annotated[str, typer.Option(help="natural or espeak")] = "natural",
    device: Annotated[str, typer.Option(help="microphone, by number or part of its name")] = "",
    model: Annotated[Path | None, typer.Option(metavar="DIR", help="a Vosk model folder of your own")] = None,
    attention: Annotated[str, typer.Option(metavar="WORD", help="take only what begins with this word")] = "",
    page: Annotated[bool, typer.Option("--page", help="show a live page on this computer")] = False,
    network: Annotated[bool, typer.Option("--network", help="with --page: on the local network too, by key")] = False,
    tester: Annotated[str, typer.Option(metavar="NAME", help="whose learnt voice holds the probes")] = "",
    mate: Annotated[str, typer.Option(metavar="NAME", help="whose learnt voice stands at the board")] = "",
    no_sound: Annotated[bool, typer.Option("--no-sound", help="keep the words only, no recording of them")] = False,
    push_to_talk: Annotated[
        bool, typer.Option("--push-to-talk", help="hear one utterance for each press of Enter")
    ] = False,
) -> None:
    """Listen, say back, check and keep: the visit itself."""
    from voicelog import visiting

    options = visiting.Options(
        source=source,
        typed=typed,
        policy=policy.value,
        silent=silent,
        voice=voice,
        device=device,
        model=model,
        attention=attention.lower(),
        page=page or network,
        network=network,
        push_to_talk=push_to_talk,
        keep_sound=not no_sound,
        crew=tuple(name for name in (tester, mate) if name),
    )
    record = visiting.listen(folder, options, console())
    console().print(visiting.closing_words(record))


@app.command()
def hear(
    files: Annotated[list[Path], typer.Argument(metavar="FILE...", help="recordings")],
    job: Annotated[Path | None, typer.Option(metavar="JOB", help="a job folder, for its circuits")] = None,
    as_json: AsJson = False,
    model: Annotated[Path | None, typer.Option(metavar="DIR", help="a Vosk model folder of your own")] = None,
) -> None:
    """What the recordings say, one line an utterance; no dialogue, nothing kept."""
    from voicelog import visiting

    for line in visiting.hear(files, job, model):
        typer.echo(line.json() if as_json else line.text())


@app.command()
def trace(
    what: Annotated[str, typer.Argument(metavar="WORDS|FILE", help="a sentence, or a recording of one")],
    job: Annotated[Path | None, typer.Option(metavar="JOB", help="a job folder, for its circuits and limits")] = None,
    model: Annotated[Path | None, typer.Option(metavar="DIR", help="a Vosk model folder of your own")] = None,
) -> None:
    """The path of one reading, step by step."""
    from voicelog import tracing, visiting

    file = sound_or_words(what)
    visit = visiting.open_visit_or_demo(job)
    utterances = visiting.hear_file(file, visit, model) if file else tracing.typed(what)
    console().print(tracing.table(tracing.trace(utterances, visit, spoken=file is not None)))


@app.command()
def report(
    folder: JobFolder,
    form: Annotated[
        ReportForm | None, typer.Option("--format", help="one document in this form; all of them otherwise")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="PATH", help="the file (with --format) or folder; beside the job otherwise")
    ] = None,
    without_sounds: Annotated[
        bool, typer.Option("--without-sounds", help="a log that cannot be played, to hand out")
    ] = False,
) -> None:
    """Write schedule (CSV, JSON), log (HTML) and report (PDF), or one of them in another form."""
    from voicelog import handing_over
    from voicelog.keeping.job import open_job

    if form is None:
        for path in handing_over.write_all(folder, out, sounds=not without_sounds):
            console().print(f"wrote {path}", markup=False)
        return
    path = handing_over.write_one(open_job(folder), form.value, out or folder / f"report.{form.value}")
    console().print(f"wrote {path}", markup=False)


@app.command()
def explain(folder: JobFolder) -> None:
    """The diagnosis, as a practitioner would reason, with every number's origin."""
    from voicelog import handing_over

    console().print(handing_over.diagnosis_text(folder), markup=False)


@app.command()
def plan(
    folder: JobFolder,
    rcds: Annotated[int, typer.Option(help="how many RCDs the circuits may be divided over")],
) -> None:
    """The best division of the circuits over so many RCDs, by the leakages on record."""
    from voicelog import handing_over

    console().print(handing_over.plan_text(folder, rcds), markup=False)


@app.command()
def verify(
    folder: JobFolder,
    head: Annotated[str, typer.Option(help="the head digest printed in a report, or its first 16 digits")] = "",
) -> None:
    """Whether the journal is whole: exit code 0 when it is, 1 when not, 2 when it cannot be read."""
    from voicelog.keeping.verify import verify_job

    found = verify_job(folder, head)
    lines = [_state(found, ": "), *found.findings, *found.remarks]
    console().print("\n".join(lines), markup=False)
    raise typer.Exit(found.exit_code)


def _state(found: "Verification", apart: str = ", ") -> str:
    """What a journal was found to be, and as far as it can be read, how long it is."""
    extent = (f"{counted(found.entries, 'entry', 'entries')}, head {found.head}",) if found.head else ()
    return apart.join((found.state, *extent))


@app.command()
def review(
    folder: JobFolder,
    port: Annotated[int, typer.Option(min=0, max=65535, help="0 for any that is free")] = 0,
) -> None:
    """Look through the log with its sounds, put things right, sign off: a page on this computer."""
    from voicelog import reviewing

    reviewing.serve(folder, port, console())


@app.command()
def unclip(
    folder: JobFolder,
    reason: Annotated[str, typer.Option(help="why; it stays in the journal")],
    entry: Annotated[int, typer.Argument(metavar="ENTRY", help="whose sound goes; every sound when left out")] = 0,
) -> None:
    """Remove the sound of an entry for good, or every sound; the entries, the digests and the reason stay."""
    from voicelog.keeping.clips import remove_clip, remove_clips
    from voicelog.keeping.job import open_job

    with open_job(folder).journal() as journal:
        if not entry:
            count = remove_clips(journal, folder, reason)
            told = f"removed {counted(count, 'sound', 'sounds')}" + ("; the journal says so" if count else "")
            console().print(f"{told}{_written_before(folder)}", markup=False)
            return
        meant = next((one for one in journal.entries() if one.number == entry), None)
        if meant is None:
            raise InputError(f"there is no entry {entry}.", where=str(folder))
        trace = remove_clip(journal, folder, meant, reason)
    told = f"removed the sound of entry {entry}; entry {trace.number} says so{_written_before(folder)}"
    console().print(told, markup=False)


def _written_before(folder: Path) -> str:
    """A log that was written before holds the sound still."""
    return ". log.html still holds it: write the report anew" if (folder / "log.html").exists() else ""


@app.command()
def pack(
    folder: JobFolder,
    out: Annotated[Path, typer.Argument(metavar="FILE", help="the one file to make")],
    without_sounds: Annotated[
        bool, typer.Option("--without-sounds", help="leave the sounds out; the packed journal says so")
    ] = False,
) -> None:
    """The whole job as one file."""
    from voicelog.keeping import pack as packing

    found = (packing.pack_without_sounds if without_sounds else packing.pack)(folder, out)
    console().print(f"packed {folder} into {out}: {_state(found)}", markup=False)


@app.command()
def unpack(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="a packed job")],
    folder: Annotated[Path, typer.Argument(metavar="JOB", help="the folder to make")],
) -> None:
    """Open a packed job and verify it."""
    from voicelog.keeping import pack as packing

    found = packing.unpack(file, folder)
    console().print(f"unpacked into {folder}: {_state(found)}", markup=False)


@app.command()
def merge(
    first: Annotated[Path, typer.Argument(metavar="JOB", help="one journal of the visit")],
    second: Annotated[Path, typer.Argument(metavar="OTHER", help="the other")],
    into: Annotated[Path, typer.Argument(metavar="INTO", help="the folder to make")],
) -> None:
    """Two people's journals of one visit become one; conflicts are shown, nothing is dropped."""
    from voicelog.keeping.merge import merge as merge_jobs

    found = merge_jobs(first, second, into)
    conflicts = [f"conflict, {one.key}: entries {one.first} and {one.second}: {one.why}" for one in found.conflicts]
    lines = [f"merged into {into}: {counted(found.entries, 'entry', 'entries')}", *conflicts, *found.remarks]
    console().print("\n".join(lines), markup=False)


@app.command()
def schema() -> None:
    """The JSON Schema of schedule.json."""
    import json

    from voicelog.showing.schedule import schema as published

    typer.echo(json.dumps(published(), indent=2))


@app.command()
def devices(
    check: Annotated[bool, typer.Option("--check", help="listen for three seconds and judge the level")] = False,
    device: Annotated[str, typer.Option(help="microphone, by number or part of its name")] = "",
) -> None:
    """The microphones and loudspeakers there are."""
    from voicelog.hearing import audio

    if check:
        console().print(str(audio.level_check(device)), markup=False)
        return
    found = audio.devices()
    if not found:
        raise DeviceError(
            "there is no microphone or other input device here.",
            do="Plug one in, or use `voicelog listen JOB --typed`.",
        )
    for line in found:
        console().print(str(line), markup=False)


@app.command()
def demo(
    out: Annotated[Path, typer.Option(metavar="DIR", help="where the job and its documents go")] = Path("demo"),
    voice: Annotated[str, typer.Option(help="silent, natural or espeak")] = "silent",
) -> None:
    """A recorded visit through the real recogniser, dialogue, limits and journal."""
    from voicelog import demonstration

    demonstration.run_demo(out, voice, console())


@app.command()
def learn(
    name: Annotated[str, typer.Argument(metavar="NAME", help="whose voice")],
    source: Annotated[
        list[Path] | None,
        typer.Option("--from", metavar="FILE", help="recordings with a .txt beside each, or an index.jsonl"),
    ] = None,
    job: Annotated[
        Path | None, typer.Option("--from-job", metavar="JOB", help="readings this person affirmed there")
    ] = None,
    minutes: Annotated[float, typer.Option(min=LEAST_MINUTES, max=MOST_MINUTES, help="of speech wanted")] = 1.5,
    keep_sound: Annotated[
        bool, typer.Option("--keep-sound", help="keep the phrases, so that later learning can use them")
    ] = False,
    device: Annotated[str, typer.Option(help="microphone, by number or part of its name")] = "",
) -> None:
    """Learn a person's voice: ninety seconds of the trade's phrases before the first job."""
    from voicelog import lessons

    if job is not None and source:
        raise InputError("--from and --from-job are two ways to learn.", do="Choose one.")
    lesson = lessons.Lesson(name, minutes, keep_sound)
    same = lambda: sys.stdin.isatty() and typer.confirm("Still the same person?")  # noqa: E731
    if job is not None:
        outcome = lessons.from_a_job(lesson, job, notes())
    elif source:
        outcome = lessons.from_recordings(lesson, source, same, notes())
    else:
        outcome = lessons.from_phrases(lesson, lambda: lessons.spoken_takes(device), same, console())
    console().print(outcome.sentence, markup=False)


voices_app = typer.Typer(help="The voices that were learnt.", no_args_is_help=True)
app.add_typer(voices_app, name="voices")


@voices_app.command("list")
def voices_list() -> None:
    """Who was learnt, when, from what, and what it gained."""
    from voicelog.learning.profiles import Profiles

    profiles = Profiles()
    if not profiles.names():
        notes().print("No voice was learnt yet. `voicelog learn NAME` makes one.", markup=False)
    for name in profiles.names():
        about = profiles.profile(name).about
        kept = "sound kept" if about.sound_kept else "no sound kept"
        kept += "; learns after each visit" if profiles.learns_after_visits(name) else ""
        console().print(
            f"{name}: {about.learnt_at:%Y-%m-%d}, from {about.speech_s:.0f} s of {about.source}, {about.kind}; "
            f"phones wrong {about.wrong_before:.1%} before, {about.wrong_after:.1%} after; {kept}",
            markup=False,
        )


@voices_app.command("export")
def voices_export(name: str, file: Path) -> None:
    """A voice as one file, without any sound."""
    from voicelog.learning.profiles import Profiles

    Profiles().export(name, file)


@voices_app.command("import")
def voices_import(file: Path) -> None:
    """A voice from such a file."""
    from voicelog.learning.profiles import Profiles

    console().print(f"imported {Profiles().import_(file).name}", markup=False)


@voices_app.command("back")
def voices_back(name: str) -> None:
    """Use the version before the one in use."""
    from voicelog.learning.profiles import Profiles

    console().print(f"{name}: version {Profiles().back(name).version} is in use", markup=False)


@voices_app.command("visits")
def voices_visits(
    name: str, allow: Annotated[bool, typer.Option("--allow/--forbid", help="learn after each visit by itself")] = True
) -> None:
    """Let a voice learn by itself from what its owner affirmed, whenever a visit stops; or no more."""
    from voicelog.learning.profiles import Profiles

    Profiles().let_learn_after_visits(name, allow)
    console().print(f"{name}: {'learns after each visit' if allow else 'learns only when asked'}", markup=False)


@voices_app.command("delete")
def voices_delete(name: str) -> None:
    """Delete everything about a person's voice."""
    from voicelog.learning.profiles import Profiles

    Profiles().delete(name)
    console().print(f"deleted {name}", markup=False)


@app.command()
def about(
    licences: Annotated[bool, typer.Option("--licences", help="of everything that it rests on")] = False,
) -> None:
    """Version, and the licences of all parts."""
    from voicelog import about as parts

    for line in parts.lines(licences):
        console().print(line, markup=False)


@app.command()
def words(
    job: Annotated[Path | None, typer.Option(metavar="JOB", help="a job folder, for its circuits")] = None,
) -> None:
    """The cheat sheet: all that can be said."""
    from voicelog import cheat_sheet

    console().print(cheat_sheet.page(job), markup=False)


def sound_or_words(what: str) -> Path | None:
    """The file that ``what`` names, or None when it is a sentence. InputError when it can only be a missing file."""
    path = Path(what)
    if path.is_file():
        return path
    if path.suffix.lower() in (".wav", ".flac", ".ogg") or "/" in what:
        raise InputError("there is no such recording.", where=what)
    return None
