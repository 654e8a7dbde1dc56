"""From a command's options to a running visit: which ear, which mouth, which journal."""

import json
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rich.console import Console

from voicelog.errors import InputError
from voicelog.hearing.ear import Ear, ScriptedEar
from voicelog.keeping.record import Record
from voicelog.screen import Screen
from voicelog.session import Session, Watcher
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import Mouth, SilentMouth, open_mouth
from voicelog.visit import Visit, open_visit


@dataclass(frozen=True)
class Options:
    """How to listen."""

    source: Path | None = None
    typed: bool = False
    policy: str = Policy.EVERY.value
    silent: bool = False
    voice: str = "natural"
    device: str = ""
    model: Path | None = None


def listen(folder: Path, options: Options, console: Console) -> Record:
    """Run a visit to its end. Raises the errors of its rooms; what was kept stays kept."""
    visit = open_visit(folder)
    screen = Screen(console)
    ear = open_ear(visit, options, console)
    return run(visit, ear, open_the_mouth(options), Policy(options.policy), screen)


def run(visit: Visit, ear: Ear, mouth: Mouth, policy: Policy, watcher: Watcher) -> Record:
    """Hear, answer and keep until the ear has no more or the visit is ended."""
    with visit.job.journal() as journal:
        session = Session(
            reader=visit.reader,
            desk=visit.desk(policy),
            ear=ear,
            mouth=mouth,
            journal=journal,
            clips=visit.job.clip_folder(),
            watcher=watcher,
            versions=visit.versions(),
        )
        return session.run()


def open_ear(visit: Visit, options: Options, console: Console) -> Ear:
    """Typed words, a recording, or the microphone."""
    if options.typed:
        return ScriptedEar(_typed_lines(options.source))
    raise NotImplementedError


def _typed_lines(source: Path | None) -> Iterable[str]:
    if source is None:
        return sys.stdin
    try:
        return source.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"the typed words cannot be read ({error}).", where=str(source)) from error


def open_the_mouth(options: Options) -> Mouth:
    """The voice asked for; the screen shows what is said in any case."""
    return SilentMouth() if options.silent or options.typed else open_mouth(options.voice)


def closing_words(record: Record) -> str:
    unconfirmed = len(record.unconfirmed)
    ask = f"; {unconfirmed} unconfirmed, to be settled before anyone signs" if unconfirmed else ""
    return f"{len(record.current)} readings on the record{ask}."
