from pathlib import Path

from voicelog.keeping.journal import read_entries
from voicelog.keeping.record import fold
from voicelog.keeping.sheet import parse_sheet
from voicelog.keeping.verify import verify_job
from voicelog.proving.load import LoadRow, _fill, bench_load, sheet_text


def test_the_bulk_is_a_journal_like_any_other(tmp_path: Path):
    _fill(tmp_path, 30, 200)
    entries = read_entries(tmp_path)
    assert len(entries) == 30 and verify_job(tmp_path).exit_code == 0
    assert len(fold(entries).current) == 15


def test_the_table_is_measured_and_time_grows_no_faster_than_size(tmp_path: Path):
    seen: list[tuple[int, int]] = []
    found = bench_load((200, 4_000), 200, tmp_path, lambda done, of: seen.append((done, of)))
    assert [row.entries for row in found.rows] == [200, 4_000] and seen[-1] == (4_200, 4_200)
    times = [name for name in LoadRow.model_fields if name.endswith(("_s", "_ms", "_us"))]
    assert all(getattr(row, name) > 0 for row in found.rows for name in times)
    assert all(found.growth[name] < 3 for name in ("open_s", "read_s", "fold_s", "verify_s")), found.growth
    assert found.growth["latest_us"] < 0.5 and found.growth["append_ms"] < 0.5


def test_the_large_sheet_reads():
    sheet = parse_sheet(sheet_text(250))
    assert [len(board.circuits) for board in sheet.boards] == [100, 100, 50]
