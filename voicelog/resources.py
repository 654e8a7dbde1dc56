"""Where the data folders lie: beside the package in a checkout, inside it in an installed wheel."""

from pathlib import Path

from voicelog.errors import VoicelogError

PACKAGE = Path(__file__).resolve().parent


def data_folder(name: str) -> Path:
    """The folder ``grammars``, ``shared`` or ``audio_samples``, wherever this installation keeps it."""
    for parent in (PACKAGE / "_data", PACKAGE.parent):
        folder = parent / name
        if folder.is_dir():
            return folder
    raise VoicelogError(
        f"the data folder {name!r} is missing from this installation.",
        where=str(PACKAGE),
        do="Install voicelog again.",
    )
