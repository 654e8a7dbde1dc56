from pathlib import Path

import pytest

from voicelog.keeping.journal import read_entries
from voicelog.keeping.record import fold
from voicelog.keeping.sheet import parse_sheet
from voicelog.keeping.verify import verify_job
from voicelog.proving import viewers
from voicelog.proving.big_sheets import measured_sheet, sheet_text
from voicelog.proving.load import LoadRow, _fill, bench_load
from voicelog.proving.viewers import measured_crowd


def test_the_bulk_is_a_journal_like_any_other(tmp_path: Path):
    _fill(tmp_path, 30, 200)
    entries = read_entries(tmp_path)
    assert len(entries) == 30 and verify_job(tmp_path).exit_code == 0
    assert len(fold(entries).current) == 15


def test_the_table_is_measured_whole_and_leaves_nothing_behind(tmp_path: Path):
    seen: list[tuple[int, int]] = []
    found = bench_load((200, 4_000), (), (), tmp_path, lambda done, of: seen.append((done, of)))
    assert [row.entries for row in found.rows] == [200, 4_000] and seen == [(1, 2), (2, 2)]
    times = [name for name in LoadRow.model_fields if name.endswith(("_s", "_ms", "_us"))]
    assert all(getattr(row, name) > 0 for row in found.rows for name in times)
    assert {"open_s", "read_s", "fold_s", "verify_s", "latest_us", "append_ms"} <= set(found.growth)
    assert found.growth_of_sheets == {} and list(tmp_path.iterdir()) == []


def test_the_large_sheet_reads():
    sheet = parse_sheet(sheet_text(250))
    assert [len(board.circuits) for board in sheet.boards] == [100, 100, 50]


def test_a_sheet_is_measured_from_its_text_to_its_report(tmp_path: Path):
    """A graph is compiled and a page set: three seconds."""
    row = measured_sheet(20, tmp_path)
    assert row.circuits == 20 and row.arcs > 1000
    assert all(value > 0 for name, value in row.model_dump().items() if name.endswith(("_s", "_ms")))


def test_a_crowd_of_viewers_is_measured_and_none_is_left_out():
    crowd = measured_crowd(10, states=5)
    assert (crowd.viewers, crowd.states, crowd.left_out) == (10, 5, 0)
    assert 0 < crowd.first_ms <= crowd.last_ms <= crowd.slowest_ms


def test_a_viewer_that_gets_nothing_is_left_out(monkeypatch: pytest.MonkeyPatch):
    honest, deaf = viewers._Viewer.wait, iter([False])
    monkeypatch.setattr(
        viewers._Viewer, "wait", lambda one, number: honest(one, number) and (number < 3 or next(deaf, True))
    )
    assert measured_crowd(3, states=3).left_out == 1
