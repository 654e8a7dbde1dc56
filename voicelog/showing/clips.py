"""The sound kept with a line, as a page can play it: inside the page, or beside it."""

import base64
import hashlib
import os
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path
from urllib.parse import quote

from voicelog.keeping.clips import is_plain, is_trace
from voicelog.model import Entry

MEDIA_TYPES = {
    ".wav": "audio/wav",
    ".flac": "audio/flac",
    ".ogg": "audio/ogg",
    ".opus": "audio/ogg",
    ".mp3": "audio/mpeg",
}
EMBED_UP_TO_BYTES = 12_000_000  # all clips of a page together; beyond it a page links to clips/ instead


@dataclass(frozen=True)
class Sound:
    """Where a page finds the sound of a line, or why there is none."""

    src: str = ""
    why: str = ""


@dataclass(frozen=True)
class ClipShelf:
    """The clips folder of a job, seen from the folder a page is written to."""

    folder: Path | None = None  # None: no sound at all
    page_folder: Path = Path()
    embed: bool = True
    left_out: bool = False  # the page is to carry no sound though there is some
    removed: frozenset[int] = field(default_factory=frozenset)  # entries whose sound was removed on purpose

    def sound(self, entry: Entry) -> Sound:
        """The sound of one entry; a clip that is missing or was changed is named as such and never played."""
        if not entry.clip:
            return Sound()
        if entry.number in self.removed:
            return Sound(why="sound removed")
        if self.left_out:
            return Sound(why="sound left out")
        path = self._path(entry.clip)
        data = _bytes(path)
        if path is None or data is None:
            return Sound(why="sound missing")
        if entry.clip_sha256 and hashlib.sha256(data).hexdigest() != entry.clip_sha256:
            return Sound(why="sound was changed")
        return Sound(src=_embedded(path, data) if self.embed else self._beside(path))

    def _path(self, clip: str) -> Path | None:
        """Only a plain file name inside the folder is a clip."""
        if self.folder is None or not is_plain(clip):
            return None
        return self.folder / clip

    def _beside(self, path: Path) -> str:
        return quote(os.path.relpath(path, self.page_folder).replace(os.sep, "/"))


def shelf_for(
    entries: Iterable[Entry], folder: Path | None, page_folder: Path, up_to_bytes: int = EMBED_UP_TO_BYTES
) -> ClipShelf:
    """A shelf that embeds when all clips together are small enough, and links beside the page otherwise."""
    entries = tuple(entries)
    gone = (e.refers for e in entries if is_trace(e))
    removed = frozenset(number for number in gone if number is not None)
    total = sum(_size(folder / Path(e.clip).name) for e in entries if folder and e.clip)
    return ClipShelf(folder, page_folder, total <= up_to_bytes, removed=removed)


def _size(path: Path) -> int:
    return path.stat().st_size if path.is_file() else 0


def _bytes(path: Path | None) -> bytes | None:
    return path.read_bytes() if path and path.is_file() else None


def _embedded(path: Path, data: bytes) -> str:
    kind = MEDIA_TYPES.get(path.suffix.lower(), "application/octet-stream")
    return f"data:{kind};base64,{base64.b64encode(data).decode()}"
