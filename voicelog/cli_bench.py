"""``voicelog bench ...``: the figures, each by one command; with --json one object and nothing else."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated

import typer
from pydantic import BaseModel
from rich.console import Console
from rich.progress import Progress

app = typer.Typer(help="Figures: how well it hears, how fast it answers, what it survives.", no_args_is_help=True)

AsJson = Annotated[bool, typer.Option("--json", help="one JSON object on standard output and nothing else")]
MOST = 10_000  # hours or minutes that a figure may take
Folder = Annotated[Path, typer.Argument(metavar="DIR", help="sound files and their index.jsonl")]


@contextmanager
def progress() -> Iterator[Callable[[int, int], None]]:
    """A bar on standard error, shown for anything that takes its time."""
    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)


def show(found: BaseModel, as_json: bool) -> None:
    from voicelog.proving import showing

    typer.echo(showing.as_json(found) if as_json else showing.as_text(found))


@app.command()
def strings(
    folder: Folder,
    words: Annotated[str, typer.Option(help="the words of the loop; all words of the texts otherwise")] = "",
    digits: Annotated[bool, typer.Option("--digits", help="compare the digits that were meant")] = False,
    model: Annotated[Path | None, typer.Option(metavar="DIR", help="a model folder of your own")] = None,
    as_json: AsJson = False,
) -> None:
    """Word strings: share of strings and words heard wrong."""
    from voicelog.hearing.model_folder import BUNDLED
    from voicelog.proving.strings import score

    with progress() as told:
        found = score(folder, words.split() or None, digits, model or BUNDLED, progress=told)
    show(found, as_json)


@app.command()
def latency(as_json: AsJson = False) -> None:
    """From the last word to the first sound of the answer; start, memory, computing."""
    from voicelog.proving.latency import bench_latency

    with progress() as told:
        found = bench_latency(progress=told)
    show(found, as_json)


@app.command()
def accuracy(
    folder: Annotated[list[Path], typer.Argument(metavar="DIR...", help="sets to score")],
    noise: Annotated[Path | None, typer.Option(metavar="DIR", help="recordings of noise; pink noise otherwise")] = None,
    ratio: Annotated[
        list[int] | None, typer.Option(metavar="dB", help="of speech above noise; may be repeated; else 20 and 10")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Every set as recorded, in noise and through a narrow band."""
    from voicelog.proving.accuracy import RATIOS_dB, bench_accuracy

    ratios_dB = (None, *ratio) if ratio else RATIOS_dB
    with progress() as told:
        found = bench_accuracy(folder, noise, ratios_dB=ratios_dB, progress=told)
    show(found, as_json)


@app.command()
def certainty(
    folder: Folder,
    noise: Annotated[Path | None, typer.Option(metavar="DIR", help="recordings of noise; pink noise otherwise")] = None,
    keep: Annotated[Path | None, typer.Option(metavar="FILE", help="where to write every trial")] = None,
    as_json: AsJson = False,
) -> None:
    """How true the chances are that readings are called right with, and when to ask."""
    from voicelog.proving.certainty import bench_certainty

    with progress() as told:
        found = bench_certainty(folder, noise, keep, progress=told)
    show(found, as_json)


@app.command()
def chatter(
    hours: Annotated[float, typer.Option(min=0, max=MOST, help="of talk in the program's own voices")] = 1.0,
    recorded: Annotated[
        list[Path] | None, typer.Option(metavar="DIR", help="recorded talk and its index.jsonl, each used once")
    ] = None,
    babble: Annotated[
        float, typer.Option(min=0, max=MOST, help="hours of several people of the first DIR at once")
    ] = 0.0,
    noise: Annotated[Path | None, typer.Option(metavar="DIR", help="recordings of noise")] = None,
    noise_hours: Annotated[float, typer.Option(min=0, max=MOST, help="of noise alone")] = 0.0,
    keep: Annotated[Path | None, typer.Option(metavar="FILE", help="go on from there, and keep what was found")] = None,
    as_json: AsJson = False,
) -> None:
    """Speech that is not meant for the log: what is offered of it an hour, and what is kept."""
    from voicelog import visiting
    from voicelog.proving.bystanders import sources
    from voicelog.proving.chatter import bench_chatter
    from voicelog.proving.rehearsal import stage_of

    visit = visiting.open_visit_or_demo(None)
    who = sources(visit.reader, hours, recorded or (), babble, noise, noise_hours)
    with progress() as told:
        found = bench_chatter(stage_of(visit), visiting.open_recogniser(visit), who, keep=keep, progress=told)
    show(found, as_json)


@app.command()
def meant(
    minutes: Annotated[int, typer.Option(min=1, help="of calls and of talk in the program's own voices")] = 30,
    calls: Annotated[list[Path] | None, typer.Option(metavar="DIR", help="recorded calls")] = None,
    talk: Annotated[list[Path] | None, typer.Option(metavar="DIR", help="recorded talk")] = None,
    keep: Annotated[Path | None, typer.Option(metavar="FILE", help="go on from there, and keep what was heard")] = None,
    as_json: AsJson = False,
) -> None:
    """Choose how much margin each kind of utterance needs over free talk; not a score."""
    from voicelog import visiting
    from voicelog.proving.meant import bench_meant, sources
    from voicelog.proving.rehearsal import stage_of

    visit = visiting.open_visit_or_demo(None)
    calling, talking = sources(visit.reader, minutes, calls or (), talk or ())
    with progress() as told:
        found = bench_meant(stage_of(visit), visiting.open_recogniser(visit), calling, talking, keep, told)
    show(found, as_json)


@app.command()
def readback(
    readings: Annotated[int, typer.Option(min=1, help="how many")] = 6000,
    as_json: AsJson = False,
) -> None:
    """Seeded recogniser errors against a listener: kept and wrong, caught, seconds a reading."""
    from voicelog.proving.readback import bench_readback
    from voicelog.talking.natural import NaturalVoice

    with progress() as told:
        found = bench_readback(readings, voice=NaturalVoice(), progress=told)
    show(found, as_json)


@app.command()
def prompt(as_json: AsJson = False) -> None:
    """From a text to its first sound, for both voices, known and cold."""
    from voicelog.proving.first_sound import bench_first_sound

    show(bench_first_sound(), as_json)


@app.command()
def visit(as_json: AsJson = False) -> None:
    """The recorded visit of 153 utterances, entry by entry against its script."""
    from voicelog.proving.visit import bench_visit

    with progress() as told:
        found = bench_visit(progress=told)
    show(found, as_json)
    raise typer.Exit(0 if found.as_scripted else 1)


@app.command()
def pictures(out: Annotated[Path, typer.Argument(metavar="DIR", help="where they go")]) -> None:
    """The guide's pictures, from the demonstration in a real browser (Chromium, selenium)."""
    from voicelog.proving.guide_pictures import of_the_demonstration

    for path in of_the_demonstration(out):
        typer.echo(f"wrote {path}")


@app.command()
def learn(
    folder: Folder,
    keep: Annotated[Path | None, typer.Option(metavar="FILE", help="go on from there, and keep what was found")] = None,
    seconds: Annotated[list[float] | None, typer.Option(help="of speech to learn from; several may be named")] = None,
    clean: Annotated[bool, typer.Option("--clean", help="neither through a narrow band nor in noise")] = False,
    as_json: AsJson = False,
) -> None:
    """One person's voice: strings wrong before and after learning it."""
    from voicelog.proving.learn import CONDITIONS, SECONDS, bench_learn

    conditions, lengths = CONDITIONS[:1] if clean else CONDITIONS, tuple(seconds or SECONDS)
    with progress() as told:
        found = bench_learn(folder, lengths, conditions, progress=told, kept=keep)
    show(found, as_json)


@app.command()
def crash(
    kills: Annotated[int, typer.Option(min=1, help="how many")] = 10_000,
    cuts: Annotated[int, typer.Option(min=0, help="how many cuts of the power, where they can be imitated")] = 200,
    workers: Annotated[int, typer.Option(min=1, help="processes at once")] = 2,
    as_json: AsJson = False,
) -> None:
    """Kill the writer at random moments, cut its files short, fill its disk: nothing acknowledged may be lost."""
    from voicelog.proving.crash import bench_crash

    with progress() as told:
        found = bench_crash(kills, cuts, workers=workers, progress=told)
    show(found, as_json)
    raise typer.Exit(0 if found.passed else 1)


@app.command()
def gaps(as_json: AsJson = False) -> None:
    """A microphone that vanishes and a computer that sleeps, in the middle of a call."""
    from voicelog.proving.gaps import bench_gaps

    found = bench_gaps()
    show(found, as_json)
    raise typer.Exit(0 if found.passed else 1)


@app.command()
def tampering(
    every: Annotated[int, typer.Option(min=1, help="flip every so many bits")] = 1,
    workers: Annotated[int, typer.Option(min=1, help="processes at once")] = 2,
    as_json: AsJson = False,
) -> None:
    """Change a journal in every way: each change must be found."""
    from voicelog.proving.tampering import bench_tampering

    with progress() as told:
        found = bench_tampering(every, workers=workers, progress=told)
    show(found, as_json)
    raise typer.Exit(0 if found.passed else 1)


@app.command()
def load(
    most: Annotated[int, typer.Option(min=100, help="entries of the largest journal")] = 100_000,
    circuits: Annotated[int, typer.Option(min=100, help="of the largest sheet")] = 2_000,
    as_json: AsJson = False,
) -> None:
    """Large journals and sheets, many viewers: how time grows with size."""
    from voicelog.proving.load import bench_load

    with progress() as told:
        found = bench_load((most // 100, most // 10, most), (circuits // 100, circuits // 10, circuits), progress=told)
    show(found, as_json)


@app.command()
def endurance(
    hours: Annotated[
        float, typer.Option(min=0.01, max=MOST, help="of sound; it takes about a seventh of that on one core")
    ] = 8.0,
    noise: Annotated[Path | None, typer.Option(metavar="DIR", help="recordings of noise; made otherwise")] = None,
    as_json: AsJson = False,
) -> None:
    """A long day of readings, talk and noise through one session: memory, drift, calls missed."""
    from voicelog.proving.endurance import bench_endurance

    def told(row: BaseModel) -> None:
        typer.echo(row.model_dump_json(), err=True)

    with progress() as bar:
        found = bench_endurance(hours, noise=noise, told=told, progress=bar)
    show(found, as_json)
    raise typer.Exit(0 if found.passed else 1)


@app.command()
def fuzz(
    only: Annotated[str, typer.Argument(metavar="[TARGET]", help='"job sheets", say; all of them otherwise')] = "",
    minutes: Annotated[float, typer.Option(min=0, max=MOST, help="for each target")] = 1.0,
    guided: Annotated[bool, typer.Option("--guided", help="look for code not yet reached (needs atheris)")] = False,
    as_json: AsJson = False,
) -> None:
    """Odd input: damaged, malicious and senseless files, words and requests are refused in words."""
    from voicelog.proving.fuzzing import bench_fuzzing

    with progress() as told:
        found = bench_fuzzing(minutes, only, guided, progress=told)
    show(found, as_json)
    raise typer.Exit(0 if found.passed else 1)


@app.command()
def report(
    out: Annotated[Path, typer.Option(metavar="FILE", help="a .json, or a .md for people")] = Path("proof.md"),
    full: Annotated[bool, typer.Option("--full", help="as long as the figures of README took: most of a day")] = False,
    people: Annotated[Path | None, typer.Option(metavar="DIR", help="recordings of one person, to learn from")] = None,
    only: Annotated[str, typer.Option(metavar="NAMES", help="these figures alone, by their commands' names")] = "",
) -> None:
    """All the figures, one after another, in one document with date, version and sizes."""
    from voicelog.proving.report import bench_report

    with progress() as told:
        found = bench_report(out, full, people, tuple(only.split()), told)
    typer.echo("\n".join(found.headlines))
    raise typer.Exit(0 if found.passed else 1)
