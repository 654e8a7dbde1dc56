"""A microphone that comes and goes; two seconds each, most of it the recogniser."""

import pytest

from voicelog.hearing import audio, listening
from voicelog.proving import gaps


def test_a_call_broken_off_by_a_vanishing_microphone_makes_no_reading():
    found = gaps.vanishing_microphone()
    assert found.held, found
    assert "gives no sound any more: plug it in" in found.seen and "no sound came for" in found.seen


def test_a_call_broken_off_by_sleep_makes_no_reading():
    found = gaps.sleeping_computer()
    assert found.held, found
    assert "no sound came for 3600 s" in found.seen


def test_an_ear_that_joins_the_halves_is_found_out(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setattr(audio, "GAP_S", float("inf"))
    monkeypatch.setattr(listening.SoundEar, "_void", lambda self, loss: iter(()))
    assert not gaps.sleeping_computer().held
