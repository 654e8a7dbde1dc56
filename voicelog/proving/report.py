"""All the figures in one document: every bench by its own command, one after another.

    voicelog bench report --out proof.md [--full]

Each runs in a process of its own, so that none lends another its memory or its faults. The document is written anew
after each, so that a run that is cut short leaves what it had.
"""

import json
import platform
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from os import cpu_count
from pathlib import Path
from typing import Any

from pydantic import computed_field

from voicelog import __version__
from voicelog.errors import InputError
from voicelog.keeping.storage import Progress, quiet, refusal
from voicelog.model import Noun
from voicelog.proving.showing import figures_as_text
from voicelog.resources import data_folder

PEOPLE = "{people}"  # stands for the folder of one person's recordings
RECORDED = "{recorded}"  # stands for the recordings of people that come with the program


@dataclass(frozen=True)
class Bench:
    """One command, in its short form and in its full one."""

    name: str
    short: tuple[str, ...] = ()
    full: tuple[str, ...] = ()


BENCHES = (
    Bench("latency"),
    Bench("prompt"),
    Bench("strings", (RECORDED,), (RECORDED,)),
    Bench("accuracy", (RECORDED,), (RECORDED,)),
    Bench("certainty", (RECORDED,), (RECORDED,)),
    Bench("visit"),
    Bench("chatter", ("--hours", "0.05"), ("--hours", "1")),
    Bench("meant", ("--minutes", "2"), ("--minutes", "30")),
    Bench("readback", ("--readings", "300"), ("--readings", "6000")),
    Bench("learn", (PEOPLE,), (PEOPLE,)),
    Bench("crash", ("--kills", "200", "--cuts", "10"), ("--kills", "10000", "--cuts", "200")),
    Bench("gaps"),
    Bench("tampering", ("--every", "997"), ("--every", "1")),
    Bench("fuzz", ("--minutes", "0.05"), ("--minutes", "5")),
    Bench("load", ("--most", "10000", "--circuits", "200"), ("--most", "100000", "--circuits", "2000")),
    Bench("endurance", ("--hours", "0.5"), ("--hours", "8")),
)
NO_FIGURES = frozenset({"report", "pictures"})  # commands that measure nothing by themselves


class Part(Noun):
    """What one command found."""

    name: str
    command: str
    passed: bool  # it ran, and found what it must
    seconds: float
    figures: dict[str, Any] = {}
    why: str = ""  # it gave no figures


class Proof(Noun):
    """``voicelog bench report``."""

    date: datetime
    version: str
    python: str
    cores: int
    full: bool
    parts: tuple[Part, ...] = ()
    left_out: dict[str, str] = {}  # name -> why

    @computed_field
    @property
    def passed(self) -> bool:
        return bool(self.parts) and all(part.passed for part in self.parts)

    @computed_field
    @property
    def headlines(self) -> tuple[str, ...]:
        """Three lines: what it loses, who gets in, how it lasts; each as far as it was measured."""
        found = {part.name: part.figures for part in self.parts}
        return tuple(" ".join(line) for line in (_lost(found), _got_in(found), _lasted(found)) if line)


def bench_report(
    out: Path,
    full: bool = False,
    people: Path | None = None,
    only: tuple[str, ...] = (),
    progress: Progress = quiet,
    run: Callable[[tuple[str, ...]], Part] | None = None,
) -> Proof:
    """Every bench, or ``only`` these, into ``out`` (.json or .md). Raises InputError for a name or form not known."""
    if out.suffix not in (".json", ".md"):
        raise InputError("the report is written as .json or .md.", where=str(out))
    if unknown := set(only) - {bench.name for bench in BENCHES}:
        raise InputError(f"there are no figures called {', '.join(sorted(unknown))}.", where="--only")
    proof = Proof(
        date=datetime.now(UTC).replace(microsecond=0),
        version=__version__,
        python=platform.python_version(),
        cores=cpu_count() or 1,
        full=full,
    )
    chosen = [bench for bench in BENCHES if not only or bench.name in only]
    for number, bench in enumerate(chosen, 1):
        proof = _with(proof, bench, full, people, run or _run)
        _write(proof, out)
        progress(number, len(chosen))
    return proof


def _with(proof: Proof, bench: Bench, full: bool, people: Path | None, run: Callable) -> Proof:
    options = bench.full if full else bench.short
    if PEOPLE in options and people is None:
        why = "it needs recordings of one person: --people DIR"
        return proof.model_copy(update={"left_out": {**proof.left_out, bench.name: why}})
    places = {PEOPLE: str(people), RECORDED: str(data_folder("audio_samples") / "people")}
    part = run((bench.name, *(places.get(option, option) for option in options)))
    return proof.model_copy(update={"parts": (*proof.parts, part)})


def _run(command: tuple[str, ...]) -> Part:
    began = time.monotonic()
    called = [sys.executable, "-m", "voicelog", "bench", *command, "--json"]
    done = subprocess.run(called, capture_output=True, text=True)
    seconds, shown = round(time.monotonic() - began, 1), " ".join(("bench", *command))
    try:
        figures = json.loads(done.stdout)
    except ValueError:
        why = (done.stderr.strip().splitlines() or ["nothing was said"])[-1]
        return Part(name=command[0], command=shown, passed=False, seconds=seconds, why=why)
    return Part(name=command[0], command=shown, passed=done.returncode == 0, seconds=seconds, figures=figures)


# ---------------------------------------------------------------- the document


def _write(proof: Proof, out: Path) -> None:
    text = proof.model_dump_json(indent=1) if out.suffix == ".json" else as_markdown(proof)
    try:
        out.write_text(text, encoding="utf-8")
    except OSError as error:
        raise refusal(error, out) from None


def as_markdown(proof: Proof) -> str:
    """For people: the headlines, and every figure below its command."""
    form = "full" if proof.full else "short"
    lines = [
        "# Figures",
        f"voicelog {proof.version}, {proof.date:%Y-%m-%d %H:%M} UTC, Python {proof.python}, {proof.cores} cores; "
        f"{form} runs.",
        *(f"- {line}" for line in proof.headlines),
    ]
    for part in proof.parts:
        found = "as it must be" if part.passed else "NOT as it must be"
        body = f"```\n{figures_as_text(part.figures)}\n```" if part.figures else part.why
        lines += [f"## {part.name}", f"`voicelog {part.command}`: {found}, {part.seconds:.0f} s.", body]
    if proof.left_out:
        lines += ["## Left out", *(f"- {name}: {why}" for name, why in proof.left_out.items())]
    return "\n\n".join(lines) + "\n"


def _lost(found: Mapping[str, Any]) -> list[str]:
    said = []
    if crash := found.get("crash"):
        kills = crash["kills"]
        said.append(
            f"{kills['kills']:,} kills of the writer lost {kills['lost']:,} of {kills['acknowledged']:,} "
            "acknowledged readings."
        )
        if cuts := crash.get("power_cuts"):
            said.append(f"{cuts['kills']:,} power cuts lost {cuts['lost']:,} of {cuts['acknowledged']:,}.")
    return said


def _got_in(found: Mapping[str, Any]) -> list[str]:
    said = []
    if tampering := found.get("tampering"):
        tried = sum(kind["tried"] for kind in tampering["kinds"])
        missed = sum(kind["missed"] for kind in tampering["kinds"])
        said.append(f"{tried:,} changes to a journal were tried, {missed:,} of them missed.")
    if fuzz := found.get("fuzz"):
        broken = sum(bool(target["broken"]) for target in fuzz["targets"])
        said.append(
            f"{fuzz['cases']:,} odd files, talks and requests broke {broken} of {len(fuzz['targets'])} targets."
        )
    return said


def _lasted(found: Mapping[str, Any]) -> list[str]:
    said = []
    if day := found.get("endurance"):
        utterances = sum(day["utterances_a_block"])
        said.append(
            f"{day['hours']:g} hours of sound: {day['missed']} calls missed among {utterances:,} utterances, "
            f"drift {day['drift_ms']:g} ms, memory {day['start_MB']:.0f} to {day['rows'][-1]['resident_MB']:.0f} MB."
        )
    if load := found.get("load"):
        journal, sheet, crowd = load["rows"][-1], load["sheets"][-1], load["crowds"][-1]
        said.append(
            f"A journal of {journal['entries']:,} entries opens in {journal['open_s']:.1f} s, a sheet of "
            f"{sheet['circuits']:,} circuits in {sheet['open_s']:.1f} s; {crowd['viewers']} viewers have a reading "
            f"{crowd['last_ms']:.0f} ms after it."
        )
    return said
