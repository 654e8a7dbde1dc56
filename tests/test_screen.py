"""What a terminal shows of a visit."""

import pytest

from voicelog.screen import _clock


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [(0, " 0:00.0"), (59.94, " 0:59.9"), (59.96, " 1:00.0"), (119.99, " 2:00.0"), (754.2, "12:34.2")],
)
def test_a_clock_never_shows_sixty_seconds(seconds, shown):
    assert _clock(seconds) == shown
