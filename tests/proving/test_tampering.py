import shutil
from pathlib import Path

import pytest

from voicelog.keeping import verify
from voicelog.keeping.database import JOURNAL
from voicelog.proving.forging import AT_THE_END, WITH_HEADS, all_changes
from voicelog.proving.tampering import Kind, Tampering, _outcome, _samples, bench_tampering


@pytest.fixture(scope="module")
def table() -> Tampering:
    return bench_tampering(every=1999, entries=4)


def test_nothing_is_missed(table: Tampering):
    assert table.passed, [kind for kind in table.kinds if not kind.as_it_must]
    assert sum(kind.tried for kind in table.kinds) > 600


def test_each_kind_was_tried_and_only_matching_heads_need_the_print(table: Tampering):
    by_name = {kind.name: kind for kind in table.kinds}
    assert by_name["a field edited"].by_folder == by_name["a field edited"].tried == 68  # 4 entries of 17 fields
    assert by_name["two entries exchanged"].by_folder == 6  # all pairs of four
    assert by_name["the last entries cut off"].by_folder == 4
    hopeless = [kind for kind in table.kinds if kind.name.endswith(WITH_HEADS)]
    assert len(hopeless) == 5 and all(kind.by_print for kind in hopeless)
    assert all(kind.by_print == 0 for kind in table.kinds if kind not in hopeless)
    assert [kind.name for kind in table.kinds if kind.by_remark] == [AT_THE_END]


@pytest.mark.parametrize(
    ("blinded", "name"),
    [
        ("_chain", "a field edited"),
        ("_agreement", "the last entries cut off"),
        ("_clips", "a byte of a sound changed"),
        ("_foreign", "a guard taken down"),
    ],
)
def test_a_verifier_with_one_eye_shut_is_found_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, blinded: str, name: str
):
    """Each kind of change is found by one look in particular: without that look it is missed."""
    _, sample, older = _samples(tmp_path)
    change = next(change for kind, change in all_changes(sample.folder, older) if kind == name)
    copy = Path(shutil.copytree(sample.folder, tmp_path / "copy"))
    change(copy)
    assert _outcome(copy, sample) == "by_folder"
    monkeypatch.setattr(verify, blinded, lambda *_: iter(()))
    assert _outcome(copy, sample) != "by_folder"


def test_a_bit_in_slack_is_found_by_the_digest_of_the_file_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    closed, _, _ = _samples(tmp_path)
    data = bytearray((closed.folder / JOURNAL).read_bytes())
    data[72] ^= 1  # a byte of the header that SQLite reserves
    (closed.folder / JOURNAL).write_bytes(data)
    assert _outcome(closed.folder, closed) == "by_folder"
    monkeypatch.setattr(verify, "_outside", lambda *_: iter(()))
    assert _outcome(closed.folder, closed) == "without_effect"


def test_a_kind_that_was_not_tried_proves_nothing():
    assert not Kind(name="x").as_it_must and not Tampering(kinds=()).passed
    assert not Kind(name="x", tried=1, missed=1).as_it_must
    assert not Kind(name="x", tried=1, by_print=1).as_it_must
