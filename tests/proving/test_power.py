import sqlite3
from pathlib import Path

import pytest

from voicelog.errors import VoicelogError
from voicelog.keeping import database
from voicelog.proving import power
from voicelog.proving.power import can_cut, run_power_cuts

needs_root = pytest.mark.skipif(not can_cut(), reason="needs the right to mount a file system")


@needs_root
def test_power_cuts_lose_nothing(tmp_path: Path):
    seen: list[tuple[int, int]] = []
    found = run_power_cuts(6, folder=tmp_path, progress=lambda done, of: seen.append((done, of)))
    assert found.passed, found.failures
    assert found.kills == 6 and found.acknowledged > 6 and seen[-1] == (6, 6)
    assert list(tmp_path.iterdir()) == []


@needs_root
def test_a_journal_that_does_not_flush_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    honest = database.connect_to_write

    def careless(folder: Path) -> sqlite3.Connection:
        connection = honest(folder)
        connection.execute("PRAGMA synchronous = OFF")
        return connection

    monkeypatch.setattr(database, "connect_to_write", careless)
    found = run_power_cuts(6, folder=tmp_path)
    assert not found.passed and found.lost > 0


def test_without_the_right_to_mount_that_is_said(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(power, "can_cut", lambda: False)
    with pytest.raises(VoicelogError, match="may mount"):
        run_power_cuts(1)
