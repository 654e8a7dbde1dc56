"""What a reason says when it is written is what is read of it."""

import pytest

from voicelog.reasons import RETEST, having_unplugged, unplugged_by


@pytest.mark.parametrize(
    ("items", "written"),
    [((), ""), (("tea urn",), "unplugged tea urn"), (("tea urn", "fridge"), "unplugged tea urn; fridge")],
)
def test_what_was_unplugged_is_written_and_read_one_way(items, written):
    assert having_unplugged(items) == written
    assert unplugged_by(written) == items


@pytest.mark.parametrize("other", [RETEST, "heard wrong", "nothing was unplugged here"])
def test_of_another_reason_nothing_is_read(other):
    assert unplugged_by(other) == ()
