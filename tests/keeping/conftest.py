import os
import shutil
import tempfile
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import pytest

from voicelog.model import Draft, EntryKind, Number, Outcome, Place, Reading, Verdict

NOON = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)


class Ticking:
    """A clock that moves by ``step`` at each look."""

    def __init__(self, start: datetime = NOON, step: timedelta = timedelta(seconds=4)) -> None:
        self.at, self.step = start, step

    def __call__(self) -> datetime:
        self.at += self.step
        return self.at


def reading(figure: str = "1.20", circuit: str = "5", quantity: str = "zs", **conditions: str) -> Reading:
    return Reading(
        place=Place(board="DB1", circuit=circuit),
        quantity=quantity,
        value=Number(figure=Decimal(figure)),
        unit="ohm",
        conditions=conditions,
    )


def called(figure: str = "1.20", circuit: str = "5", **more: object) -> Draft:
    """A draft as a session makes it, with every kind of field filled."""
    return Draft(
        kind=EntryKind.CALLED,
        words=("circuit", "five", "zed", "s", "one", "point", "two", "zero"),
        reading=reading(figure, circuit),
        verdict=Verdict(outcome=Outcome.PASS, sentence="at most 1.37 ohm", limit=Decimal("1.37"), unit="ohm"),
        said_back="circuit five, zed s, one point two zero ohms",
        margin=12.5,
        **more,  # type: ignore[arg-type]
    )


@pytest.fixture
def job(tmp_path: Path) -> Path:
    folder = tmp_path / "job"
    folder.mkdir()
    return folder


@pytest.fixture
def clock() -> Ticking:
    return Ticking()


@pytest.fixture
def bound() -> Iterator[Path]:
    """A folder of a user whom permissions bind, and that user's shoes to walk in."""
    if os.name == "nt":
        pytest.skip("permissions work otherwise here")
    folder = Path(tempfile.mkdtemp())
    folder.chmod(0o777)
    was = os.geteuid()
    if was == 0:
        os.seteuid(65534)
    job = folder / "job"
    job.mkdir()
    yield job
    os.seteuid(was)
    if job.exists():
        job.chmod(0o700)
    shutil.rmtree(folder)
