"""Where the data folders lie: beside the package in a checkout, inside it in an installed wheel. How TOML is read."""

import tomllib
from pathlib import Path
from typing import Any

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


def read_toml(text: str) -> dict[str, Any]:
    """The tables of a TOML text; ValueError for whatever is none: nested too deep, or a figure without end, too."""
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise ValueError("brackets are nested too deep") from None
