"""Learning a voice from beginning to end, as a person does it, with the bundled network and recordings for takes.

The recordings and what they hold: audio_samples/learning/README.md. Half a minute, most of it learning.
"""

import io
import json

import numpy as np
import pytest
from rich.console import Console

from voicelog.errors import InputError
from voicelog.hearing.audio import read_sound
from voicelog.hearing.model_folder import Kind, open_folder
from voicelog.learning import profiles as room
from voicelog.learning.enrolment import Enrolment
from voicelog.learning.lesson import spoken_in
from voicelog.learning.profiles import Profiles
from voicelog.lessons import Lesson, fit_to_learn_from, from_phrases
from voicelog.resources import data_folder

FOLDER = data_folder("audio_samples") / "learning"
LESSON = Lesson("Kit")
PHRASES = tuple(phrase for phrase in (json.loads(line)["text"] for line in (FOLDER / "index.jsonl").open()))[:7]
SILENCE = np.zeros(32000, np.int16)


@pytest.fixture
def profiles(tmp_path, monkeypatch):
    monkeypatch.setattr(room, "default_root", lambda: tmp_path / "voices")
    return Profiles()


def take(name: str) -> np.ndarray:
    return np.concatenate([SILENCE[:4000], read_sound(FOLDER / f"{name}.ogg"), SILENCE[:4000]])


def clipped(sound: np.ndarray) -> np.ndarray:
    """As an overdriven microphone gives it: eight times too loud, cut off at full scale."""
    return (sound.astype(np.int32) * 8).clip(-32768, 32767).astype(np.int16)


def refused() -> bool:
    raise AssertionError("nobody else spoke")


def test_a_voice_is_learnt_in_two_sittings_with_everything_that_goes_wrong(profiles):
    Enrolment(PHRASES).save(profiles.unfinished("Kit"))
    said = [take(f"said-{number}") for number in range(1, 8)]
    screen = io.StringIO()
    console = Console(file=screen, width=200)

    # The first sitting: a muted microphone, a clipped one, a wrong phrase, and then it is interrupted.
    first = iter([SILENCE, clipped(said[0]), said[0], take("wrong"), said[1], said[2]])
    with pytest.raises(InputError, match="4 phrases are still to be said"):
        from_phrases(LESSON, lambda: first, refused, console)
    shown = screen.getvalue()
    for advice in ("muted", "Too loud", "something else"):
        assert shown.count(advice) == 1, shown
    kept = Enrolment.resume(profiles.unfinished("Kit"))
    assert [item.phrase for item in kept.accepted] == list(PHRASES[:3])

    # The second: somebody else answers, is asked about and not mixed in; then the person finishes.
    asked = []
    second = iter([take("another"), *said[3:]])
    outcome = from_phrases(LESSON, lambda: second, lambda: asked.append("same?"), console)
    assert asked == ["same?"]
    assert "another person" in screen.getvalue()
    assert outcome.learnt.speech_s == pytest.approx(sum(map(len, said)) / 16000, abs=0.1)
    assert not profiles.unfinished("Kit").exists()
    if outcome.profile is None:  # so little speech need not do better; then nothing is changed
        assert profiles.names() == ()
        assert "stays as it is" in outcome.sentence
    else:
        assert open_folder(outcome.profile.folder).kind is Kind.OWN
        assert outcome.report.whole_after >= outcome.report.whole_before
        assert "phrases kept apart" in outcome.sentence


def test_recordings_that_spoil_a_voice_are_left_out_and_told():
    screen, asked = io.StringIO(), []
    found = fit_to_learn_from(spoken_in([FOLDER]), lambda: asked.append("same?"), Console(file=screen, width=200))
    assert [phrase.words for phrase in found] == [
        tuple(text.split()) for text in (*PHRASES, "start sweep earth leakage")
    ]
    assert asked == ["same?"]
    assert "another.ogg: That sounded like another person" in screen.getvalue()
