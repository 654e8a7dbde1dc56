import shutil
from collections.abc import Callable
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.keeping.conftest import NOON, Ticking, reading
from tests.keeping.test_journal import tamper
from voicelog.errors import JournalTampered, KeepingError
from voicelog.keeping.clips import CLIPS, ClipFolder, remove_clip
from voicelog.keeping.job import open_job
from voicelog.keeping.journal import CLOCK_REMARK, Journal, head, read_entries
from voicelog.keeping.merge import merge
from voicelog.keeping.record import fold
from voicelog.keeping.sheet import SHEET, new_job
from voicelog.keeping.verify import verify_job
from voicelog.model import Draft, EntryKind, Place

K = EntryKind
LATE: Callable = lambda: NOON + timedelta(days=1)  # noqa: E731


def said(figure: str, circuit: str = "5", refers: int | None = None) -> Draft:
    return Draft(kind=K.CALLED if refers is None else K.CORRECTED, reading=reading(figure, circuit), refers=refers)


def about(kind: EntryKind, refers: int) -> Draft:
    return Draft(kind=kind, refers=refers)


def job(folder: Path, *drafts: Draft, start_s: int = 0, step_s: int = 10) -> Path:
    if not folder.exists():
        new_job(folder, date(2026, 3, 2))
    with Journal.open(folder, Ticking(NOON + timedelta(seconds=start_s), timedelta(seconds=step_s))) as journal:
        for draft in drafts:
            journal.append(draft)
    return folder


def figures(folder: Path) -> list[str]:
    return [str(line.reading.value.figure) for line in fold(read_entries(folder)).current]  # type: ignore[union-attr]


def test_entries_interleave_by_time_and_refer_as_before(tmp_path: Path):
    first = job(tmp_path / "a", said("0.50", "1"), about(K.AFFIRMED, 1), said("0.60", "2"), about(K.AFFIRMED, 3))
    second = job(tmp_path / "b", said("1.50", "7"), about(K.AFFIRMED, 1), said("1.05", "7", 1), start_s=5)
    seen: list[tuple[int, int]] = []
    merged = merge(first, second, tmp_path / "m", LATE, lambda done, of: seen.append((done, of)))
    entries = read_entries(tmp_path / "m")
    assert merged.entries == len(entries) == 8 and merged.conflicts == merged.remarks == ()
    assert seen[-1] == (7, 7)
    assert [entry.detail["merged_from"] for entry in entries[:7]] == ["first", "second"] * 3 + ["first"]
    assert [entry.refers for entry in entries] == [None, None, 1, 2, None, 2, 5, None]
    assert figures(tmp_path / "m") == ["0.50", "0.60"]
    assert not any(CLOCK_REMARK in entry.detail for entry in entries)
    assert verify_job(tmp_path / "m").exit_code == 0


def test_both_heads_are_kept_and_both_journals_still_verify(tmp_path: Path):
    first, second = job(tmp_path / "a", said("0.5")), job(tmp_path / "b", said("0.6", "6"), said("0.7", "7"))
    merge(first, second, tmp_path / "m", LATE)
    last = read_entries(tmp_path / "m")[-1]
    assert last.at == LATE()
    assert last.detail == {
        "action": "merged", "first_entries": "1", "first_head": head(first).digest,
        "second_entries": "2", "second_head": head(second).digest,
    }  # fmt: skip
    for name, source in (("first", first), ("second", second)):
        assert read_entries(tmp_path / "m" / "merged" / name) == read_entries(source)
        assert verify_job(tmp_path / "m" / "merged" / name, head(source).digest).exit_code == 0


def test_what_both_have_in_common_is_taken_once(tmp_path: Path):
    first = job(tmp_path / "a", said("0.50", "1"), about(K.AFFIRMED, 1))
    second = Path(shutil.copytree(first, tmp_path / "b"))
    job(first, said("0.60", "2"), start_s=100)
    job(second, said("0.70", "3"), about(K.WITHDRAWN, 1), start_s=105)
    merged = merge(first, second, tmp_path / "m", LATE)
    entries = read_entries(tmp_path / "m")
    assert [entry.detail.get("merged_from") for entry in entries[:5]] == ["both", "both", "first", "second", "second"]
    assert entries[4].refers == 1
    [conflict] = merged.conflicts
    assert (conflict.key, conflict.first, conflict.second) == ("DB1/1 zs", 1, 1)
    assert conflict.why == "affirmed and withdrawn"


def test_a_journal_merged_with_its_own_copy(tmp_path: Path):
    first = job(tmp_path / "a", said("0.50", "1"), about(K.AFFIRMED, 1))
    second = Path(shutil.copytree(first, tmp_path / "b"))
    assert merge(first, second, tmp_path / "m", LATE).entries == 3
    assert figures(tmp_path / "m") == ["0.50"]


def test_values_that_differ_are_listed_noted_and_both_kept(tmp_path: Path):
    first = job(tmp_path / "a", said("0.50"), about(K.AFFIRMED, 1), said("0.60", "6"), about(K.AFFIRMED, 3))
    second = job(tmp_path / "b", said("0.51"), about(K.AFFIRMED, 1), said("0.6", "6"), about(K.AFFIRMED, 3), start_s=3)
    merged = merge(first, second, tmp_path / "m", LATE)
    assert [(one.key, one.first, one.second, one.why) for one in merged.conflicts] == [
        ("DB1/5 zs", 1, 2, "0.50 ohm and 0.51 ohm")
    ]
    record = open_job(tmp_path / "m").record()
    assert len(record.chain(Place(board="DB1", circuit="5"), "zs")) == 2
    noted = [note for note in record.notes if note.detail["action"] == "conflict"]
    assert [(note.refers, note.detail["first"]) for note in noted] == [(2, "1")]


def test_sounds_of_one_name_are_both_kept(tmp_path: Path):
    for name, level in (("a", 1), ("b", 2), ("c", 2)):
        folder = job(tmp_path / name)
        clip = ClipFolder(folder).keep(np.full(800, level, np.int16), 16000, NOON)
        job(folder, said("0.5").model_copy(update={"clip": clip.name, "clip_sha256": clip.sha256}))
    merge(tmp_path / "a", tmp_path / "b", tmp_path / "m", LATE)
    assert verify_job(tmp_path / "m").exit_code == 0
    assert len(list((tmp_path / "m" / CLIPS).iterdir())) == 2
    merge(tmp_path / "b", tmp_path / "c", tmp_path / "n", LATE)
    assert verify_job(tmp_path / "n").exit_code == 0
    assert len(list((tmp_path / "n" / CLIPS).iterdir())) == 1


def test_a_sound_that_one_has_removed_does_not_come_back_from_the_other(tmp_path: Path):
    folder = job(tmp_path / "a")
    kept = [ClipFolder(folder).keep(np.full(800, level, np.int16), 16000, NOON) for level in (1, 2)]
    job(
        folder,
        *(
            said("0.5", str(n)).model_copy(update={"clip": c.name, "clip_sha256": c.sha256})
            for n, c in enumerate(kept, 1)
        ),
    )
    shutil.copytree(folder, tmp_path / "b")
    with Journal.open(tmp_path / "b", LATE) as journal:
        remove_clip(journal, tmp_path / "b", journal.entries()[0], "a visitor speaks in it")
    for n, (one, other) in enumerate((("a", "b"), ("b", "a"))):
        merge(tmp_path / one, tmp_path / other, tmp_path / f"m{n}", LATE)
        found = verify_job(tmp_path / f"m{n}")
        assert (found.state, found.remarks) == ("whole", ())
        assert [clip.name for clip in (tmp_path / f"m{n}" / CLIPS).iterdir()] == [kept[1].name]
        merge(tmp_path / f"m{n}", tmp_path / "a", tmp_path / f"again{n}", LATE)
        assert len(list((tmp_path / f"again{n}" / CLIPS).iterdir())) == 1


def test_a_removed_sound_gives_its_name_to_no_other(tmp_path: Path):
    for name, level in (("a", 1), ("b", 2)):
        folder = job(tmp_path / name)
        clip = ClipFolder(folder).keep(np.full(800, level, np.int16), 16000, NOON)
        job(folder, said("0.5").model_copy(update={"clip": clip.name, "clip_sha256": clip.sha256}))
    with Journal.open(tmp_path / "a", LATE) as journal:
        remove_clip(journal, tmp_path / "a", journal.entries()[0], "a visitor speaks in it")
    for one, other, into in (("a", "b", "m"), ("b", "a", "n")):
        merge(tmp_path / one, tmp_path / other, tmp_path / into, LATE)
        found = verify_job(tmp_path / into)
        assert (found.state, found.remarks) == ("whole", ())
        assert len(list((tmp_path / into / CLIPS).iterdir())) == 1


def test_a_clock_that_went_back_disturbs_no_order(tmp_path: Path):
    first = job(tmp_path / "a", said("0.1", "1"))
    job(first, said("0.2", "2"), start_s=-3600)
    second = job(tmp_path / "b", said("0.3", "3"), start_s=60)
    merge(first, second, tmp_path / "m", LATE)
    entries = read_entries(tmp_path / "m")
    assert [entry.detail.get("merged_number") for entry in entries[:3]] == ["1", "2", "1"]
    assert entries[1].at == NOON - timedelta(seconds=3590)
    assert "merged_clock" in entries[1].detail and CLOCK_REMARK in entries[1].detail


def test_a_third_journal_merges_with_what_was_merged_before(tmp_path: Path):
    three = [job(tmp_path / name, said(f"0.{n}", str(n)), start_s=n) for n, name in enumerate("abc", 1)]
    merge(three[0], three[1], tmp_path / "m", LATE)
    merge(tmp_path / "m", three[2], tmp_path / "n", LATE)
    kept = tmp_path / "n" / "merged"
    assert read_entries(kept / "first" / "merged" / "second") == read_entries(three[1])
    assert [entry.reading.place.circuit for entry in read_entries(tmp_path / "n") if entry.reading] == ["1", "2", "3"]
    assert verify_job(tmp_path / "n").exit_code == 0


def test_sheets_that_differ_are_said_and_both_kept(tmp_path: Path):
    first, second = job(tmp_path / "a", said("0.5")), job(tmp_path / "b", said("0.6"))
    text = (second / SHEET).read_text(encoding="utf-8").replace("ground floor", "upper floor")
    (second / SHEET).write_text(text, encoding="utf-8")
    assert "the first is in force" in merge(first, second, tmp_path / "m", LATE).remarks[0]
    assert "upper floor" in (tmp_path / "m" / "merged" / "second" / SHEET).read_text(encoding="utf-8")


def test_refusals_leave_nothing_behind(tmp_path: Path):
    first, second, other = job(tmp_path / "a", said("1")), job(tmp_path / "b", said("2")), job(tmp_path / "c")
    (other / SHEET).write_text((other / SHEET).read_text().replace('"JOB-1"', '"JOB-2"'))
    with pytest.raises(KeepingError, match="two jobs"):
        merge(first, other, tmp_path / "m", LATE)
    with pytest.raises(KeepingError, match="already"):
        merge(first, second, second, LATE)
    tamper(second, "DELETE FROM entry")
    with pytest.raises(JournalTampered):
        merge(first, second, tmp_path / "m", LATE)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["a", "b", "c"]


HISTORY = st.lists(st.tuples(st.sampled_from(list(K)), st.none() | st.integers(1, 9)), max_size=6)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(one=HISTORY, other=HISTORY, start_s=st.integers(-30, 30))
def test_nothing_is_ever_dropped(tmp_path_factory: pytest.TempPathFactory, one, other, start_s: int):  # noqa: ANN001
    place = tmp_path_factory.mktemp("merge")
    sources = []
    for name, history, start in (("a", one, 0), ("b", other, start_s)):
        drafts = [Draft(kind=kind, refers=refers, reading=reading("1", "1")) for kind, refers in history]
        sources.append(job(place / name, *drafts, start_s=start))
    merge(*sources, place / "m", LATE)
    merged = read_entries(place / "m")
    told = {(entry.detail.get("merged_from"), entry.detail.get("merged_digest")) for entry in merged}
    for name, source in zip(("first", "second"), sources, strict=True):
        for entry in read_entries(source):
            assert (name, entry.digest) in told or ("both", entry.digest) in told
    assert verify_job(place / "m").exit_code == 0
