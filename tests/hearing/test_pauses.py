"""Pauses after speech: told once, in quiet rooms and loud ones, and never for a click."""

import numpy as np
import pytest

from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.pauses import Pauses

PIECE_S = 0.06
RNG = np.random.default_rng(3)


def noise(seconds, level):
    return (RNG.standard_normal(round(seconds * RATE_HZ)) * level).astype(np.int16)


def moments(sound, pause_s=0.8):
    """When a pause was told, in seconds."""
    pauses, size = Pauses(pause_s), round(PIECE_S * RATE_HZ)
    pieces = (sound[first : first + size] for first in range(0, len(sound), size))
    return [round((number + 1) * PIECE_S, 2) for number, piece in enumerate(pieces) if pauses.over(piece)]


@pytest.mark.parametrize("room", [0, 20, 300, 2000])
def test_speech_that_stands_over_the_room_is_followed_by_one_pause(room):
    sound = np.concatenate([noise(3, room), noise(1.2, 8 * max(room, 20)), noise(3, room)])
    assert moments(sound) == pytest.approx([5.0], abs=0.13)


def test_a_click_is_no_speech():
    sound = np.concatenate([noise(3, 20), noise(0.06, 4000), noise(3, 20)])
    assert moments(sound) == []


def test_a_short_gap_between_words_is_no_pause():
    word, gap = noise(0.4, 2000), noise(0.5, 20)
    assert moments(np.concatenate([noise(2, 20), word, gap, word, gap, word])) == []


def test_steady_noise_becomes_the_room():
    """When it has lasted as long as the room is remembered it is no speech any more: one pause, and never another."""
    assert len(moments(np.concatenate([noise(2, 20), noise(20, 2000)]))) == 1


def test_how_long_it_has_been_quiet_counts_from_the_last_loud_sound():
    pauses, size = Pauses(60.0), round(PIECE_S * RATE_HZ)
    sound = np.concatenate([noise(3, 20), noise(1.2, 2000), noise(0.6, 20)])
    for first in range(0, len(sound), size):
        pauses.over(sound[first : first + size])
    assert pauses.quiet_s == pytest.approx(0.6, abs=PIECE_S)


def test_silence_without_speech_tells_nothing():
    assert moments(np.zeros(10 * RATE_HZ, np.int16)) == []
