"""People's voices on this computer: one folder each, its versions, and the way back.

    voices/NAME/
        current                 number of the version in use
        versions/0001/am/final.mdl, conf/fbank.conf    an ordinary model folder
        versions/0001/about.json                       what it was learnt from, when, how it scored
        versions/0001/words.toml                       the person's own pronunciations, if any
        sound/                                         only when the person allowed it
        unfinished/                                    phrases said so far, until the profile is learnt
        after-visits                                   there when the voice may learn from each visit by itself

What a profile holds: the numbers of a network, ten numbers that tell one voice
from another, seventeen that tell one microphone from another, words'
pronunciations, dates and scores. None of it is speech,
and no speech can be made from it; sound is kept only in ``sound/``.
"""

import hashlib
import re
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import platformdirs
import soundfile
from pydantic import ValidationError

import voicelog
from voicelog.errors import InputError, KeepingError, StorageFull, VoicelogError
from voicelog.hearing import filterbank
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.lexicon import read_pronunciations
from voicelog.hearing.network import AcousticModel
from voicelog.hearing.nnet3 import read_model, write_model
from voicelog.hearing.phones import Pronunciation
from voicelog.learning.adaptation import Spoken
from voicelog.learning.voice_print import Numbers
from voicelog.model import Noun

ACOUSTIC, FEATURES, ABOUT, WORDS = "am/final.mdl", "conf/fbank.conf", "about.json", "words.toml"
CURRENT, VERSIONS, SOUND, UNFINISHED, AFTER_VISITS = "current", "versions", "sound", "unfinished", "after-visits"
PORTABLE = (ACOUSTIC, FEATURES, ABOUT, WORDS)  # what an export carries: never sound
LARGEST = 200_000_000  # bytes of one file in an export; far more than any network here
NAME = re.compile(r"[^\W\d_][\w .-]{0,39}")
FORM = 1  # of about.json
NO_ARCHIVE = (zipfile.BadZipFile, zipfile.LargeZipFile, zlib.error, NotImplementedError, RuntimeError, EOFError)


class About(Noun):
    """What one version of a voice rests on."""

    name: str
    form: int = FORM
    program: str = voicelog.__version__
    learnt_at: datetime  # UTC
    source: str  # "phrases", "files", "job REFERENCE", "import"
    kind: str  # what was learnt: "scales and shifts", "all weights", or "general" where own words alone were
    blend: float  # share of the learnt network; the rest is what it started from
    speech_s: float
    phrases: int
    loss_before: float  # nats a phone, on phrases kept apart
    loss_after: float
    wrong_before: float  # share of phones
    wrong_after: float
    general: str  # SHA-256 of the general network it began from
    print: tuple[float, ...] = ()  # ten numbers that tell this voice from others
    band_Hz: float = 8000.0  # up to which the person's microphone carried speech
    colour_dB: tuple[float, ...] = ()  # of the average spectrum, in sixteen bands
    sound_kept: bool = False


@dataclass(frozen=True)
class Profile:
    """One version of one person's voice."""

    folder: Path  # an ordinary model folder
    version: int
    about: About

    @property
    def name(self) -> str:
        return self.about.name

    @property
    def model(self) -> AcousticModel:
        """Raises ModelError when the file was damaged since."""
        return read_model(self.folder / ACOUSTIC)

    @property
    def own_words(self) -> dict[str, tuple[Pronunciation, ...]]:
        """The person's own pronunciations. Raises GrammarError when the file breaks its rules."""
        file = self.folder / WORDS
        return read_pronunciations(file) if file.is_file() else {}

    @property
    def print(self) -> Numbers:
        return np.array(self.about.print)


def digest_of(file: Path) -> str:
    """SHA-256 of a file, as ``About.general`` keeps it."""
    return hashlib.sha256(file.read_bytes()).hexdigest()


def default_root() -> Path:
    """Where people's voices are kept: the user's own data folder."""
    return platformdirs.user_data_path("voicelog") / "voices"


class Profiles:
    """The voices in one folder. Raises KeepingError and InputError with what to do."""

    def __init__(self, root: Path | None = None) -> None:
        self.root = root or default_root()

    # ------------------------------------------------------------ looking

    def names(self) -> tuple[str, ...]:
        """People who have a profile, in alphabetical order."""
        if not self.root.is_dir():
            return ()
        return tuple(sorted(path.name for path in self.root.iterdir() if (path / CURRENT).is_file()))

    def profile(self, name: str) -> Profile:
        """The version in use. Raises InputError when there is no such person."""
        number = self._current(self._known(name))
        return self._version(name, number)

    def history(self, name: str) -> tuple[Profile, ...]:
        """Every version, the oldest first."""
        return tuple(self._version(name, number) for number in self._numbers(self._known(name)))

    def unfinished(self, name: str) -> Path:
        """Where an enrolment keeps what was said so far."""
        return self._folder(name) / UNFINISHED

    def learns_after_visits(self, name: str) -> bool:
        """Whether the person let their voice learn from each visit by itself."""
        return (self._known(name) / AFTER_VISITS).is_file()

    # ------------------------------------------------------------ keeping

    def let_learn_after_visits(self, name: str, allowed: bool) -> None:
        """Keep or take back the person's leave. Raises InputError when there is no such person."""
        mark = self._known(name) / AFTER_VISITS
        if allowed:
            mark.touch()
        else:
            mark.unlink(missing_ok=True)

    def keep(
        self,
        about: About,
        model: AcousticModel,
        own_words: dict[str, tuple[Pronunciation, ...]] | None = None,
        sound: tuple[Spoken, ...] = (),
    ) -> Profile:
        """A new version of a person's voice, in use from now on; earlier versions stay.

        ``sound`` is kept only when ``about.sound_kept`` says that the person allowed it.
        Raises StorageFull, and then the version before stays in use.
        """

        def fill(folder: Path) -> None:
            (folder / "am").mkdir()
            (folder / "conf").mkdir()
            write_model(model, folder / ACOUSTIC)
            (folder / FEATURES).write_text(filterbank.CONF)
            (folder / ABOUT).write_text(about.model_dump_json(indent=1), encoding="utf-8")
            if own_words:
                (folder / WORDS).write_text(words_toml(own_words), encoding="utf-8")

        kept = self._add(about.name, fill)
        if about.sound_kept:
            self._keep_sound(about.name, sound)
        return kept

    def sound(self, name: str) -> tuple[Spoken, ...]:
        """The phrases whose sound the person allowed to be kept."""
        folder = self._folder(name) / SOUND
        found = []
        for text in sorted(folder.glob("*.txt")):
            samples, _ = soundfile.read(text.with_suffix(".flac"), dtype="int16")
            found.append(Spoken(samples, tuple(text.read_text(encoding="utf-8").split())))
        return tuple(found)

    def back(self, name: str) -> Profile:
        """Use the version before the one in use. Raises InputError when there is none."""
        folder = self._known(name)
        earlier = [number for number in self._numbers(folder) if number < self._current(folder)]
        if not earlier:
            raise InputError(
                f"there is no earlier version of {name}'s voice.", do="It can be learnt again, or deleted."
            )
        self._use(folder, earlier[-1])
        return self._version(name, earlier[-1])

    def delete(self, name: str) -> None:
        """Everything about a person: versions, sound, unfinished phrases."""
        folder = self._known(name)
        shutil.rmtree(folder)

    # ------------------------------------------------------------ carrying

    def export(self, name: str, file: Path) -> None:
        """The version in use as one file (zip), without any sound. Raises StorageFull."""
        profile = self.profile(name)
        partial = file.with_name(file.name + ".partial")
        try:
            with zipfile.ZipFile(partial, "w", zipfile.ZIP_DEFLATED) as archive:
                for part in PORTABLE:
                    if (profile.folder / part).is_file():
                        archive.write(profile.folder / part, part)
            partial.replace(file)
        except OSError as error:
            raise StorageFull(f"the voice could not be written: {error.strerror}.", where=str(file)) from None

    def import_(self, file: Path, name: str = "") -> Profile:
        """A voice exported elsewhere, under its own name or ``name``; becomes the newest version.

        Raises InputError for a file that is no voice of this program.
        """
        with tempfile.TemporaryDirectory() as place:
            folder = Path(place)
            about = _unpacked(file, folder)
            about = about.model_copy(update={"name": name or about.name, "source": "import", "sound_kept": False})

            def fill(target: Path) -> None:
                shutil.copytree(folder, target, dirs_exist_ok=True)
                (target / ABOUT).write_text(about.model_dump_json(indent=1), encoding="utf-8")

            return self._add(about.name, fill)

    # ------------------------------------------------------------ folders

    def _folder(self, name: str) -> Path:
        if not NAME.fullmatch(name) or name != name.strip(" ."):
            raise InputError(
                f"{name!r} cannot be a person's name here.", do="Begin with a letter; letters, digits, space, . and -."
            )
        same = [known for known in self.names() if known.casefold() == name.casefold()]
        return self.root / (same[0] if same else name)

    def _known(self, name: str) -> Path:
        folder = self._folder(name)
        if not (folder / CURRENT).is_file():
            known = ", ".join(self.names()) or "nobody yet"
            raise InputError(
                f"there is no voice of {name!r} here (known: {known}).", do="`voicelog learn NAME` makes one."
            )
        return folder

    @staticmethod
    def _numbers(folder: Path) -> list[int]:
        return sorted(int(path.name) for path in (folder / VERSIONS).iterdir() if path.name.isdigit())

    def _current(self, folder: Path) -> int:
        try:
            return int((folder / CURRENT).read_text())
        except (OSError, ValueError):
            return self._numbers(folder)[-1]

    def _version(self, name: str, number: int) -> Profile:
        folder = self._folder(name) / VERSIONS / f"{number:04d}"
        try:
            return Profile(folder, number, About.model_validate_json((folder / ABOUT).read_bytes()))
        except (OSError, ValidationError) as error:
            raise KeepingError(
                f"this version of a voice cannot be read: {_short(error)}.",
                where=str(folder),
                do=f"`voicelog voices back {name}` uses the one before.",
            ) from None

    def _add(self, name: str, fill: Callable[[Path], None]) -> Profile:
        """A new version, whole or not at all."""
        folder = self._folder(name)
        try:
            (folder / VERSIONS).mkdir(parents=True, exist_ok=True)
            number = max(self._numbers(folder), default=0) + 1
            partial = Path(tempfile.mkdtemp(prefix="partial-", dir=folder))
            try:
                fill(partial)
                partial.rename(folder / VERSIONS / f"{number:04d}")
            finally:
                shutil.rmtree(partial, ignore_errors=True)
            self._use(folder, number)
        except OSError as error:
            raise StorageFull(f"the voice could not be kept: {error.strerror}.", where=str(folder)) from None
        return self._version(name, number)

    @staticmethod
    def _use(folder: Path, number: int) -> None:
        partial = folder / f"{CURRENT}.partial"
        partial.write_text(str(number))
        partial.replace(folder / CURRENT)

    def _keep_sound(self, name: str, sound: tuple[Spoken, ...]) -> None:
        folder = self._folder(name) / SOUND
        folder.mkdir(exist_ok=True)
        first = len(list(folder.glob("*.txt"))) + 1
        for number, phrase in enumerate(sound, start=first):
            soundfile.write(folder / f"{number:04d}.flac", phrase.sound, RATE_HZ)
            (folder / f"{number:04d}.txt").write_text(" ".join(phrase.words), encoding="utf-8")


def _unpacked(file: Path, folder: Path) -> About:
    """The parts of an export in ``folder``, each read once to see that it is what it should be."""
    if not file.is_file():
        raise InputError("there is no such file.", where=str(file), do="Check the path.")
    try:
        with zipfile.ZipFile(file) as archive:
            for info in archive.infolist():
                if info.filename not in PORTABLE or info.file_size > LARGEST:
                    raise ValueError(f"it holds {info.filename!r}")
                (folder / info.filename).parent.mkdir(parents=True, exist_ok=True)
                (folder / info.filename).write_bytes(archive.read(info))
        about = About.model_validate_json((folder / ABOUT).read_bytes())
        read_model(folder / ACOUSTIC)
        if not (folder / FEATURES).is_file():
            raise ValueError("conf/fbank.conf is missing")
        if (folder / WORDS).is_file():
            read_pronunciations(folder / WORDS)
        return about
    except (OSError, ValueError, VoicelogError, *NO_ARCHIVE) as error:
        raise InputError(f"not a voice of this program: {_short(error)}.", where=str(file)) from None


def _short(error: Exception) -> str:
    return str(error).splitlines()[0].rstrip(".")


def words_toml(own_words: dict[str, tuple[Pronunciation, ...]]) -> str:
    """In the form of grammars/pronunciations.toml."""
    lines = [f'"{word}" = "{" | ".join(" ".join(way) for way in ways)}"\n' for word, ways in sorted(own_words.items())]
    return "# How this person says words, where alignment showed it again and again.\n" + "".join(lines)


def now() -> datetime:
    return datetime.now(UTC)
