"""``voicelog learn``: phrase by phrase with a person, or from recordings, or from a job already done."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from pathlib import Path

import numpy as np
from rich.console import Console
from rich.progress import Progress

from voicelog.errors import InputError, VoicelogError
from voicelog.hearing.audio import Microphone, level_of
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.model_folder import ACOUSTIC, BUNDLED
from voicelog.hearing.nnet3 import read_model
from voicelog.learning.adaptation import Spoken
from voicelog.learning.enrolment import Enrolment
from voicelog.learning.lesson import Outcome, learn_from_enrolment, learn_from_files, learn_from_job, spoken_in
from voicelog.learning.phrase_plan import phrase_plan
from voicelog.learning.profiles import Profiles
from voicelog.learning.takes import Outcome as Judged
from voicelog.learning.takes import judge_take
from voicelog.learning.voice_print import Numbers
from voicelog.meaning.grammar_files import load_grammar

# One take from a microphone: it begins when speech stands this far over the room, and ends after a pause.
OVER_ROOM_dB = 12.0
PAUSE_S = 0.9
LONGEST_S = 12.0
BEFORE_S = 0.3  # kept before the beginning

# What nothing can be learnt from; a recording cannot be said once more.
SPOILT = (Judged.SILENCE, Judged.TOO_LOUD, Judged.SOMETHING_ELSE)

Sound = np.ndarray


@dataclass(frozen=True)
class Lesson:
    """What to learn from, and what the person allows."""

    name: str
    minutes: float = 1.5
    keep_sound: bool = False


def from_recordings(lesson: Lesson, files: list[Path], same: Callable[[], bool], console: Console) -> Outcome:
    """Recordings with their words beside them; what spoils a voice is left out and told.

    Raises SoundError and InputError naming the file.
    """
    phrases = tuple(fit_to_learn_from(spoken_in(files), same, console))
    with told(console) as progress:
        return learn_from_files(Profiles(), lesson.name, phrases, lesson.keep_sound, progress)


def fit_to_learn_from(phrases: Iterable[Spoken], same: Callable[[], bool], console: Console) -> Iterator[Spoken]:
    """Recordings that hold their words in one person's voice. A noisy or badly heard one is still of use."""
    judge = partial(_judged, read_model(BUNDLED / ACOUSTIC), bundled_lexicon().pronounce)
    earlier: list[Numbers] = []
    for phrase in phrases:
        take = judge(phrase.sound, " ".join(phrase.words), earlier)
        asked = take.outcome is Judged.ANOTHER_VOICE
        if take.advice and (asked or take.outcome in SPOILT):
            console.print(f"{phrase.origin}: {take.advice}", markup=False)
        if take.outcome in SPOILT or (asked and not same()):
            console.print("         Left out.", markup=False)
            continue
        earlier += [take.print] if take.print is not None else []
        yield phrase


def from_a_job(lesson: Lesson, job: Path, console: Console, since: datetime | None = None) -> Outcome:
    """Readings of a job that this person affirmed, only those after ``since`` if it is given."""
    with told(console) as progress:
        return learn_from_job(Profiles(), lesson.name, job, lesson.keep_sound, progress, since)


def after_visit(job: Path, crew: tuple[str, ...], console: Console) -> None:
    """More of the voices that may learn after each visit, from what was affirmed; what gives too little says so."""
    profiles = Profiles()
    for name in filter(profiles.learns_after_visits, dict.fromkeys(crew)):
        about = profiles.profile(name).about
        try:
            outcome = from_a_job(Lesson(name, keep_sound=about.sound_kept), job, console, since=about.learnt_at)
            console.print(outcome.sentence, markup=False)
        except VoicelogError as error:
            console.print(f"Nothing learnt of {name}: {error}", markup=False)


def from_phrases(
    lesson: Lesson, takes: Callable[[], Iterator[Sound]], same: Callable[[], bool], console: Console
) -> Outcome:
    """Phrases said by request, taken up where they were left. ``same``: is it still the same person?"""
    profiles = Profiles()
    enrolment = said_all(lesson, profiles.unfinished(lesson.name), takes(), same, console)
    with told(console) as progress:
        return learn_from_enrolment(profiles, lesson.name, enrolment, lesson.keep_sound, progress)


def said_all(
    lesson: Lesson, folder: Path, takes: Iterator[Sound], same: Callable[[], bool], console: Console
) -> Enrolment:
    """The enrolment once every phrase was said; kept in ``folder`` after each take.

    Raises InputError when the takes run out before: what was said is kept for another time.
    """
    pronounce = bundled_lexicon().pronounce
    enrolment = Enrolment.resume(folder) or Enrolment(phrase_plan(load_grammar(), pronounce, lesson.minutes))
    judge = partial(_judged, read_model(BUNDLED / ACOUSTIC), pronounce)
    while enrolment.phrase:
        console.print(f"[{enrolment.seconds:3.0f} s]  say:  {enrolment.phrase}", markup=False)
        sound = next(takes, None)
        if sound is None:
            left = len(enrolment.waiting)
            raise InputError(f"{left} phrases are still to be said.", do="What was said is kept: go on another time.")
        enrolment, take = enrolment.take(sound, judge)
        if take.advice:
            console.print(f"         {take.advice}", markup=False)
        if enrolment.asks:
            enrolment = enrolment.same_person(same())
        enrolment.save(folder)
    return enrolment


def _judged(model, pronounce, sound, phrase, earlier):  # noqa: ANN001, ANN202 - the shape of enrolment.Judge
    return judge_take(sound, phrase, model, pronounce, earlier)


# ---------------------------------------------------------------- takes


def spoken_takes(device: str) -> Iterator[Sound]:
    """Takes from the microphone, one after another."""
    with Microphone(device or None) as microphone:
        yield from cut_into_takes(piece.samples for piece in microphone)


def cut_into_takes(pieces: Iterable[Sound]) -> Iterator[Sound]:
    """Each stretch of speech between pauses, as one take."""
    quiet: list[Sound] = []
    take: list[Sound] = []
    silent_s = 0.0
    for piece in pieces:
        if not take and not _is_speech(piece, quiet):
            quiet = [*quiet, piece][-round(2 * RATE_HZ / len(piece)) :]
            continue
        take = take or list(quiet[-round(BEFORE_S * RATE_HZ / len(piece)) :])
        silent_s = 0.0 if _is_speech(piece, quiet) else silent_s + len(piece) / RATE_HZ
        take.append(piece)
        if silent_s >= PAUSE_S or sum(map(len, take)) >= LONGEST_S * RATE_HZ:
            yield np.concatenate(take)
            take, silent_s = [], 0.0


def _is_speech(piece: Sound, quiet: list[Sound]) -> bool:
    if len(quiet) < 5:  # the room is not known yet
        return False
    return level_of(piece).speech_dB > level_of(np.concatenate(quiet)).floor_dB + OVER_ROOM_dB


@contextmanager
def told(console: Console) -> Iterator[Callable[[float], None]]:
    """A bar on the console while learning; told the share done."""
    with Progress(console=console, transient=True) as bar:
        task = bar.add_task("learning", total=1.0)
        yield lambda share: bar.update(task, completed=share)
