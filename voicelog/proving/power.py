"""Power cuts: what was acknowledged must be on the disk itself, not only in the system's memory.

A child logs onto a small file system of its own, which lies in an image file. At a random moment it is
stopped and the image copied as it is: whatever the system had not yet been made to write is not in it,
as after a cut. The copy is mounted, as a machine does that starts again, and ``witness`` judges the job.

Reordering inside a drive's own cache is not imitated. Needs the right to mount, and mkfs.ext4.
"""

import os
import random
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from voicelog.errors import VoicelogError
from voicelog.keeping.storage import Progress, quiet
from voicelog.proving.witness import Kills, added, judged, listen, logging_child

IMAGE_BYTES = 16 << 20  # 16 MiB: ext4 with its journal, and room for some hundred entries
TOOLS = ("mkfs.ext4", "mount", "umount")


def run_power_cuts(cuts: int = 200, seed: int = 1, folder: Path | None = None, progress: Progress = quiet) -> Kills:
    """Cut the power ``cuts`` times. Images are made in ``folder``, or in a temporary one.

    Raises VoicelogError where this user may not mount, or a tool is missing.
    """
    if not can_cut():
        raise VoicelogError(
            f"power cuts need a user who may mount a file system, and {', '.join(TOOLS)}.",
            do="Run it as root on Linux.",
        )
    started, chance, total = time.monotonic(), random.Random(seed), Kills()
    with tempfile.TemporaryDirectory(dir=folder) as place:
        for done in range(1, cuts + 1):
            total = added(total, _cut_once(Path(place), chance))
            progress(done, cuts)
    return total.model_copy(update={"seconds": round(time.monotonic() - started, 3)})


def can_cut() -> bool:
    """Whether power cuts can be imitated here."""
    return hasattr(os, "geteuid") and os.geteuid() == 0 and all(map(shutil.which, TOOLS)) and _mounts()


def _mounts() -> bool:
    with tempfile.TemporaryDirectory() as place:
        try:
            with _mounted(_image(Path(place) / "image"), Path(place) / "disk"):
                return True
        except (OSError, subprocess.CalledProcessError):
            return False


def _cut_once(place: Path, chance: random.Random) -> Kills:
    image, copy = _image(place / "image"), place / "copy"
    with _mounted(image, place / "disk") as disk:
        (job := disk / "job").mkdir()
        os.sync()  # the job folder was made long ago
        child, reader = logging_child(job, chance)
        ledger, rest = listen(reader, chance)
        os.kill(child, signal.SIGSTOP)
        os.set_blocking(reader, False)
        for line in (rest + _waiting(reader)).splitlines():
            ledger.hear(line)
        shutil.copyfile(image, copy)  # the cut
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        os.close(reader)
    with _mounted(copy, place / "again") as disk:
        return judged(disk / "job", {}, ledger)


def _waiting(reader: int) -> bytes:
    """What the stopped child has said; it says each line in one write, so the last is whole too."""
    data = b""
    try:
        while chunk := os.read(reader, 1 << 16):
            data += chunk
    except BlockingIOError:
        pass
    return data


def _image(path: Path) -> Path:
    with path.open("wb") as file:
        file.truncate(IMAGE_BYTES)
    subprocess.run(["mkfs.ext4", "-q", "-F", str(path)], check=True, capture_output=True)
    return path


@contextmanager
def _mounted(image: Path, at: Path) -> Iterator[Path]:
    at.mkdir(exist_ok=True)
    subprocess.run(["mount", "-o", "loop", str(image), str(at)], check=True, capture_output=True)
    try:
        yield at
    finally:
        subprocess.run(["umount", str(at)], check=True, capture_output=True)
