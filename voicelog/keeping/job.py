"""A job: one folder with its sheet, its journal and its sounds."""

import shlex
from dataclasses import dataclass
from pathlib import Path

from voicelog.errors import KeepingError
from voicelog.installation import Sheet
from voicelog.keeping import journal
from voicelog.keeping.chain import Head
from voicelog.keeping.clips import CLIPS, ClipFolder
from voicelog.keeping.journal import Clock, Journal, utc_now
from voicelog.keeping.record import Record, fold
from voicelog.keeping.sheet import SHEET, load_sheet
from voicelog.keeping.storage import Progress, quiet
from voicelog.model import Entry


@dataclass(frozen=True)
class Job:
    """A job folder whose sheet has been read."""

    folder: Path
    sheet: Sheet

    @property
    def has_journal(self) -> bool:
        """Whether anything was ever logged here."""
        return journal.is_begun(self.folder)

    @property
    def clips(self) -> Path:
        """The folder of the sounds; it may not exist yet."""
        return self.folder / CLIPS

    def journal(self, now: Clock = utc_now, progress: Progress = quiet) -> Journal:
        """The journal, to write. Raises what Journal.open raises."""
        return Journal.open(self.folder, now, progress)

    def clip_folder(self) -> ClipFolder:
        return ClipFolder(self.folder)

    def entries(self, progress: Progress = quiet) -> tuple[Entry, ...]:
        """Every entry; none when nothing was ever logged. Raises what read_entries raises."""
        return journal.read_entries(self.folder, progress) if self.has_journal else ()

    def record(self, progress: Progress = quiet) -> Record:
        return fold(self.entries(progress))

    def head(self) -> Head:
        """The last entry's number and digest, for print. Raises what read_entries raises."""
        return journal.head(self.folder) if self.has_journal else Head()


def open_job(path: Path) -> Job:
    """The job in a folder (or around a job.toml). Reading it needs no permission to write.

    Raises KeepingError when there is no such folder or it holds no job, SheetError when the sheet
    breaks its rules.
    """
    folder = path.parent if path.name == SHEET and not path.is_dir() else path
    if not folder.exists():
        raise KeepingError("there is no such job folder.", where=str(folder), do=f"{_new(folder)} makes it.")
    if not folder.is_dir():
        raise KeepingError("this is a file, not a job folder.", where=str(folder), do="Name the folder of the job.")
    if not (folder / SHEET).exists():
        do = f"Name another folder, or make it one with {_new(folder)}."
        raise KeepingError(f"this folder holds no job: there is no {SHEET} in it.", where=str(folder), do=do)
    return Job(folder, load_sheet(folder))


def _new(folder: Path) -> str:
    """The command as it can be typed, also where the name holds blanks."""
    return f"`voicelog new {shlex.quote(str(folder))}`"
