"""The prompt bench measures what the card was handed."""

import time

import numpy as np
import pytest

from voicelog.proving import first_sound
from voicelog.proving.first_sound import bench_first_sound
from voicelog.talking.loudspeaker import RATE_HZ


class Slow:
    """A voice that takes a known time for each new clause."""

    name = "slow"

    def load(self):
        time.sleep(0.02)

    def load_dictionary(self):
        pass

    def render(self, clause, speed=1.0):
        time.sleep(0.06)
        return np.full(RATE_HZ, 0.2, np.float32)


def test_a_slow_voice_shows_in_the_cold_figures_only(monkeypatch):
    monkeypatch.setattr(first_sound, "VOICES", {"slow": Slow})
    (slow,) = bench_first_sound(prompts=3).voices
    assert slow.load_ms >= 20
    assert 60 <= slow.cold.median_ms < 120
    assert slow.known.p95_ms < 40
    assert 0 <= slow.stop.p95_ms < 50


@pytest.mark.parametrize("count", [1, 20])
def test_no_prompt_is_said_twice(count):
    texts = first_sound._texts(count, first_sound.random.Random(1))
    assert len(set(texts)) == count
