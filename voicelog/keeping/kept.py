"""What a job keeps is never written over by what is made of it."""

from pathlib import Path

from voicelog.errors import KeepingError
from voicelog.keeping.clips import CLIPS
from voicelog.keeping.database import JOURNAL
from voicelog.keeping.heads import HEADS
from voicelog.keeping.sheet import SHEET

KEPT = (SHEET, JOURNAL, HEADS)


def refuse_kept(out: Path) -> None:
    """Raises KeepingError when ``out`` is a job's sheet, journal or sound: a slip of the keyboard would end it."""
    file = out.resolve()
    sound = file.parent.name == CLIPS and (file.parent.parent / SHEET).exists()
    if file.exists() and (file.name in KEPT or sound):
        raise KeepingError("this file is what a job keeps.", where=str(out), do="Name another file.")
