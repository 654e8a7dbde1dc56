"""``voicelog learn``: from a person's phrases to a profile in use, or a reason why not.

Whatever the source, the same way: learn, compare on phrases kept apart, keep
only what is better.
"""

import json
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path

import numpy as np

from voicelog.errors import InputError, SoundError
from voicelog.hearing.audio import read_sound
from voicelog.hearing.lexicon import bundled_lexicon
from voicelog.hearing.model_folder import ACOUSTIC, BUNDLED
from voicelog.hearing.nnet3 import read_model
from voicelog.learning.adaptation import Kind, Learnt, Progress, Recipe, Spoken
from voicelog.learning.alignment import Pronounce
from voicelog.learning.enrolment import Enrolment
from voicelog.learning.from_job import Gathered, affirmed_phrases
from voicelog.learning.microphone import band_of, colour_of
from voicelog.learning.own_words import with_own
from voicelog.learning.person import learn_person
from voicelog.learning.profiles import About, Profile, Profiles, digest_of, now
from voicelog.learning.report import Report, report_on
from voicelog.learning.voice_print import mean_print, voice_print

SHORTEST_FOR_PRINT = 8000  # samples, half a second


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a lesson."""

    learnt: Learnt
    profile: Profile | None  # None when nothing better was found and nothing changed
    words: tuple[str, ...] = ()  # words of which the person's own pronunciation was added
    report: Report | None = None  # what it gained, where something was learnt

    @property
    def sentence(self) -> str:
        """For the person, in words."""
        before, after = self.learnt.before, self.learnt.after
        if self.profile is None:
            return (
                f"Nothing learnt from {self.learnt.speech_s:.0f} s of speech did better on the phrases kept apart: "
                "the voice in use stays as it is."
            )
        own = f" Own pronunciations added: {', '.join(self.words)}." if self.words else ""
        gained = f" {self.report.sentence}" if self.report else ""
        if self.learnt.kind is Kind.GENERAL:
            return f"The network stays as it is for {self.profile.name}.{own}"
        return (
            f"Learnt {self.profile.name} from {self.learnt.speech_s:.0f} s of speech, computing "
            f"{self.learnt.computing_s:.0f} s ({self.learnt.kind}): on phrases kept apart {before.wrong:.1%} of phones "
            f"were wrong before, {after.wrong:.1%} now.{gained}{own}"
        )


def learn_from_enrolment(
    profiles: Profiles, name: str, enrolment: Enrolment, keep_sound: bool = False, progress: Progress = lambda _: None
) -> Outcome:
    """A profile from phrases said by request; the unfinished takes are forgotten once it is kept."""
    outcome = learn_voice(profiles, name, enrolment.spoken, "phrases", keep_sound, progress=progress)
    Enrolment.forget(profiles.unfinished(name))
    return reported(outcome, enrolment.spoken)


def learn_from_files(
    profiles: Profiles,
    name: str,
    phrases: tuple[Spoken, ...],
    keep_sound: bool = False,
    progress: Progress = lambda _: None,
) -> Outcome:
    """A profile from recordings with their words."""
    return reported(learn_voice(profiles, name, phrases, "files", keep_sound, progress=progress), phrases)


def learn_from_job(
    profiles: Profiles,
    name: str,
    job_folder: Path,
    keep_sound: bool = False,
    progress: Progress = lambda _: None,
    since: datetime | None = None,
) -> Outcome:
    """More of a voice from a job's affirmed readings, beginning with the profile in use if there is one."""
    gathered = affirmed_phrases(job_folder, name, since)
    if len(gathered.phrases) < 3:
        raise InputError(
            f"too few affirmed readings with sound to learn from{_left_out(gathered)}.", where=str(job_folder)
        )
    outcome = learn_voice(profiles, name, gathered.phrases, f"job {job_folder.name}", keep_sound, True, progress)
    return reported(outcome, gathered.phrases)


def _left_out(gathered: Gathered) -> str:
    reasons = "; ".join(f"{reason}: {count}" for reason, count in gathered.left_out.items())
    return f" (left out: {reasons})" if reasons else ""


def reported(outcome: Outcome, phrases: tuple[Spoken, ...]) -> Outcome:
    """With what it gained, where something was learnt."""
    if outcome.profile is None or outcome.learnt.kind is Kind.GENERAL:
        return outcome
    own = outcome.profile.own_words
    return replace(outcome, report=report_on(outcome.learnt, phrases, own, bundled_lexicon()))


def learn_voice(
    profiles: Profiles,
    name: str,
    phrases: tuple[Spoken, ...],
    source: str,
    keep_sound: bool = False,
    go_on: bool = False,
    progress: Progress = lambda _: None,
    general: Path = BUNDLED,
    recipe: Recipe | None = None,
    pronounce: Pronounce | None = None,
) -> Outcome:
    """Learn, and keep what is better than before.

    ``go_on`` begins with the profile in use, together with whatever sound the
    person let be kept; otherwise with the general network.
    """
    pronounce = pronounce or bundled_lexicon().pronounce
    profiles.unfinished(name)  # refuses a name that cannot be one before any work is done
    known = go_on and name.casefold() in {known.casefold() for known in profiles.names()}
    before = profiles.profile(name) if known else None
    start, earlier = (before.model, before.own_words) if before else (read_model(general / ACOUSTIC), {})
    kept = profiles.sound(name) if known else ()
    learnt, own = learn_person(start, (*kept, *phrases), with_own(pronounce, earlier), recipe, progress)
    if learnt.kind is Kind.GENERAL and not own:
        return Outcome(learnt, None)
    about = _about(name, source, learnt, (*kept, *phrases), digest_of(general / ACOUSTIC), keep_sound)
    all_own = earlier | {word: (*ways, *earlier.get(word, ())) for word, ways in own.items()}
    return Outcome(learnt, profiles.keep(about, learnt.model, all_own, phrases), tuple(own))


def _about(
    name: str, source: str, learnt: Learnt, phrases: tuple[Spoken, ...], general: str, keep_sound: bool
) -> About:
    whole = np.concatenate([phrase.sound for phrase in phrases])
    prints = [voice_print(phrase.sound) for phrase in phrases if len(phrase.sound) >= SHORTEST_FOR_PRINT]
    return About(
        name=name,
        learnt_at=now(),
        source=source,
        kind=learnt.kind,
        blend=learnt.blend,
        speech_s=learnt.speech_s,
        phrases=len(phrases),
        loss_before=learnt.before.loss,
        loss_after=learnt.after.loss,
        wrong_before=learnt.before.wrong,
        wrong_after=learnt.after.wrong,
        general=general,
        print=tuple(mean_print(prints).tolist()) if prints else (),
        band_Hz=band_of(whole),
        colour_dB=colour_of(whole),
        sound_kept=keep_sound,
    )


# ---------------------------------------------------------------- files


def spoken_in(files: list[Path]) -> tuple[Spoken, ...]:
    """Recordings with their words: a folder or file of ``index.jsonl`` lines (file, text), or sounds beside ``.txt``.

    Raises SoundError for a recording that cannot be read, InputError for one without words.
    """
    found = []
    for file in files:
        index = file / "index.jsonl" if file.is_dir() else file
        pairs = _index(index) if index.suffix == ".jsonl" else [(file, _words_beside(file))]
        found += [Spoken(read_sound(sound), tuple(text.lower().split()), str(sound)) for sound, text in pairs]
    if not found:
        raise InputError("no recordings were named.", do="Name sound files with a .txt beside each, or an index.jsonl.")
    return tuple(found)


def _words_beside(file: Path) -> str:
    if not file.is_file():
        raise SoundError("there is no such recording.", where=str(file), do="Check the path.")
    try:
        return file.with_suffix(".txt").read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise SoundError(
            "what is said in this recording is not known.", where=str(file), do="Put a .txt beside it."
        ) from None


def _index(index: Path) -> list[tuple[Path, str]]:
    try:
        rows = [json.loads(line) for line in index.read_text(encoding="utf-8").splitlines() if line.strip()]
        return [(index.parent / row["file"], row["text"]) for row in rows]
    except OSError as error:
        raise InputError(f"the list of recordings cannot be read: {error.strerror}.", where=str(index)) from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"the list of recordings cannot be read: {error}.", where=str(index)) from None
