import os
from pathlib import Path

import pytest

from voicelog.errors import VoicelogError
from voicelog.keeping.chain import Row
from voicelog.keeping.heads import HeadFile
from voicelog.keeping.journal import Journal
from voicelog.proving import crash
from voicelog.proving.crash import Crash, Kills, run_kills
from voicelog.proving.faults import Case

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


def test_kills_lose_nothing(tmp_path: Path):
    seen: list[tuple[int, int]] = []
    found = run_kills(36, folder=tmp_path, progress=lambda done, of: seen.append((done, of)))
    assert found.passed and found.failures == ()
    assert found.kills == 36 and found.acknowledged > 36
    assert sum(found.killed_while.values()) == 36 and len(found.killed_while) >= 3
    assert seen[-1] == (36, 36)
    assert list(tmp_path.iterdir()) == []


def test_a_journal_that_acknowledges_before_it_commits_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    def commit_later(self: Journal, row: Row) -> None:
        if not self._connection.in_transaction:
            self._connection.execute("BEGIN")
        self._connection.execute("INSERT INTO entry VALUES (?, ?, ?)", row)

    monkeypatch.setattr(Journal, "_commit", commit_later)
    found = run_kills(12, folder=tmp_path)
    assert not found.passed and found.lost > 0
    assert any("was acknowledged and is lost" in words for words in found.failures)


def test_a_journal_that_lets_its_heads_fall_behind_is_found_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(HeadFile, "entry", lambda self, head: None)
    found = run_kills(12, folder=tmp_path)
    assert not found.passed and found.not_whole > 0


def test_no_kill_proves_nothing():
    assert not Kills().passed and Kills().loss_bound == 1.0
    # The rule of three: about 3/n at 95 % (Hanley and Lippman-Hand, JAMA 249(13), 1983; from memory).
    assert Kills(kills=10_000).loss_bound == pytest.approx(3 / 10_000, rel=0.01)


def test_a_system_without_fork_says_so(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.delattr(os, "fork")
    with pytest.raises(VoicelogError, match="fork"):
        run_kills(1)


def test_the_bench_holds_kills_power_cuts_and_faults_together(monkeypatch: pytest.MonkeyPatch):
    good, bad = Kills(kills=1), Kills(kills=1, lost=1)
    held, broken = (Case(name="x", tried=1, held=held, seen="") for held in (True, False))
    assert Crash(kills=good, faults=(held,)).passed and Crash(kills=good, power_cuts=good, faults=(held,)).passed
    assert not Crash(kills=bad, faults=(held,)).passed
    assert not Crash(kills=good, power_cuts=bad, faults=(held,)).passed
    assert not Crash(kills=good, faults=(held, broken)).passed
    monkeypatch.setattr(crash, "run_faults", lambda: (held,))
    monkeypatch.setattr(crash, "can_cut", lambda: False)
    seen: list[tuple[int, int]] = []
    found = crash.bench_crash(kills=2, cuts=3, progress=lambda done, of: seen.append((done, of)))
    assert found.passed and found.power_cuts is None and seen == [(2, 5)]


def test_no_cut_asked_for_is_none_failed(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(crash, "run_faults", lambda: ())
    monkeypatch.setattr(crash, "can_cut", lambda: True)
    assert crash.bench_crash(kills=1, cuts=0).passed
