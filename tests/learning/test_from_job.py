"""What is learnt from a job: affirmed readings with sound, and nothing doubtful."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal

import numpy as np
import pytest

from voicelog.errors import KeepingError
from voicelog.keeping.clips import ClipFolder
from voicelog.keeping.journal import Journal, read_entries
from voicelog.learning.from_job import affirmed_phrases
from voicelog.model import Draft, EntryKind, Number, Place, Reading

AT = datetime(2026, 1, 5, 9, 0, tzinfo=UTC)


def reading(figure: str) -> Reading:
    return Reading(
        place=Place(board="DB1", circuit="5"), quantity="zs", value=Number(figure=Decimal(figure)), unit="ohm"
    )


class Work:
    """A job folder being written."""

    def __init__(self, folder):
        self.folder, self.journal, self.clips = folder, Journal.open(folder), ClipFolder(folder)

    def call(self, figure="0.42", kind=EntryKind.CALLED, sound=True, **facts) -> int:
        clip = self.clips.keep(np.full(16000, 7, np.int16), 16000, AT) if sound else None
        named = {"clip": clip.name, "clip_sha256": clip.sha256} if clip else {}
        words = ("zed", "s", "point", "four", "two")
        return self.journal.append(Draft(kind=kind, words=words, reading=reading(figure), **named, **facts)).number

    def answer(self, refers: int, kind=EntryKind.AFFIRMED) -> None:
        self.journal.append(Draft(kind=kind, refers=refers))

    def gathered(self, speaker=""):
        self.journal.close()
        return affirmed_phrases(self.folder, speaker)


@pytest.fixture
def work(tmp_path):
    return Work(tmp_path)


def test_an_affirmed_reading_is_learnt_from(work):
    work.answer(work.call(margin=12.0))
    gathered = work.gathered()
    assert [phrase.words for phrase in gathered.phrases] == [("zed", "s", "point", "four", "two")]
    assert gathered.phrases[0].seconds == 1.0
    assert gathered.left_out == {}


def test_doubtful_ones_are_left_out_with_a_reason(work):
    work.call()  # never answered
    work.answer(work.call(), EntryKind.STOOD)  # unchallenged is not affirmed
    wrong = work.call()
    work.answer(work.call(kind=EntryKind.CORRECTED, refers=wrong))
    work.answer(work.call(margin=1.0))
    work.answer(work.call(sound=False))
    taken_back = work.call()
    work.answer(taken_back)
    work.answer(taken_back, EntryKind.WITHDRAWN)
    gathered = work.gathered()
    assert gathered.phrases == ()
    assert sum(gathered.left_out.values()) == 7
    assert "something else was nearly as likely" in gathered.left_out


def test_only_one_speaker_is_learnt(work):
    work.answer(work.call(speaker="Kit"))
    work.answer(work.call(speaker="Robin"))
    work.answer(work.call())
    gathered = work.gathered("Kit")
    assert len(gathered.phrases) == 1
    assert gathered.left_out == {"another person said it": 1, "it fitted no known voice": 1}


def test_where_nobody_is_named_all_is_taken_for_theirs(work):
    work.answer(work.call())
    assert len(work.gathered("Kit").phrases) == 1


def test_what_was_learnt_from_before_is_not_taken_again(work):
    work.answer(work.call())
    work.journal.close()
    (entry, *_) = read_entries(work.folder)
    assert affirmed_phrases(work.folder, since=entry.at - timedelta(seconds=1)).phrases
    assert affirmed_phrases(work.folder, since=entry.at).phrases == ()


def test_a_clip_that_is_gone_is_told(work):
    work.answer(work.call())
    for clip in (work.folder / "clips").iterdir():
        clip.unlink()
    assert work.gathered().left_out == {"its sound is gone": 1}


def test_a_folder_without_a_journal_is_refused(tmp_path):
    with pytest.raises(KeepingError):
        affirmed_phrases(tmp_path)
