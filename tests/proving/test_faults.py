import os
from contextlib import suppress
from functools import partial

import pytest

from voicelog.errors import StorageFull
from voicelog.keeping.journal import Journal
from voicelog.proving import faults

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")


CASES = [
    *(case for case in faults.CASES if case not in (faults.file_size_limit, faults.small_disk)),
    partial(faults.file_size_limit, step=5 * 512),
    partial(faults.small_disk, step_kib=20),
]


@pytest.mark.parametrize("case", CASES, ids=str)
def test_nothing_acknowledged_is_lost_and_the_crew_is_told(case):  # noqa: ANN001
    found = case()
    assert found.held, found
    assert found.seen


def test_an_acknowledgement_that_was_not_kept_is_found_out(monkeypatch: pytest.MonkeyPatch):
    """A journal that swallows the disk's refusal: the same cases must not hold."""
    honest = Journal._commit

    def swallow(self: Journal, row) -> None:  # noqa: ANN001
        with suppress(StorageFull):
            honest(self, row)

    monkeypatch.setattr(Journal, "_commit", swallow)
    assert not faults.file_size_limit(step=10 * 512).held
