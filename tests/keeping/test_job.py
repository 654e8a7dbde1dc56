from datetime import date
from pathlib import Path

import pytest

from tests.keeping.conftest import Ticking, called
from voicelog.errors import JournalTampered, KeepingError, SheetError
from voicelog.keeping.chain import Head
from voicelog.keeping.job import open_job
from voicelog.keeping.sheet import new_job


def test_a_job_from_its_first_day(tmp_path: Path):
    path = new_job(tmp_path / "J1", date(2026, 3, 2))
    job = open_job(path.parent)
    assert open_job(path) == job
    assert (job.has_journal, job.entries(), job.head()) == (False, (), Head())
    with job.journal(Ticking()) as journal:
        entry = journal.append(called())
    assert job.has_journal and job.entries() == (entry,)
    assert job.head() == Head(1, entry.digest)
    assert [line.number for line in job.record().unconfirmed] == [1]


def test_a_journal_that_is_gone_is_told_and_not_taken_for_none(tmp_path: Path):
    """Else the papers of a job would come out empty, over those written before."""
    job = open_job(new_job(tmp_path / "J1", date(2026, 3, 2)))
    with job.journal(Ticking()) as journal:
        journal.append(called())
    (job.folder / "journal.sqlite").unlink()
    for read in (job.entries, job.head, job.record):
        with pytest.raises(JournalTampered, match="the journal is missing; journal.head knows 1 entry\\."):
            read()


def test_what_is_no_job(tmp_path: Path):
    with pytest.raises(KeepingError, match="no such job folder"):
        open_job(tmp_path / "gone")
    with pytest.raises(KeepingError, match="holds no job"):
        open_job(tmp_path)
    (tmp_path / "notes.txt").write_text("")
    with pytest.raises(KeepingError, match="a file, not a job folder"):
        open_job(tmp_path / "notes.txt")
    (tmp_path / "job.toml").write_text("=")
    with pytest.raises(SheetError, match="line 1"):
        open_job(tmp_path)
