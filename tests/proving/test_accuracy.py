"""What is done to recordings before they are heard, and how sets are told apart."""

import json
from dataclasses import replace

import numpy as np
import pytest
import soundfile

from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.model_folder import BUNDLED
from voicelog.proving import accuracy
from voicelog.proving.accuracy import Condition, changed, speech_power
from voicelog.proving.strings import Row, read_index

TIME = np.arange(RATE_HZ) / RATE_HZ
SPEECH = np.concatenate([np.zeros(RATE_HZ), 6000 * np.sin(2 * np.pi * 700 * TIME)]).astype(np.int16)
NOISE = (np.random.default_rng(0).standard_normal(5 * RATE_HZ) * 300).astype(np.int16)


def test_speech_power_leaves_silence_out():
    assert speech_power(SPEECH.astype(float)) == pytest.approx(6000**2 / 2, rel=0.01)


@pytest.mark.parametrize("ratio", [20, 10, 0])
def test_noise_lies_as_far_below_the_speech_as_asked(ratio):
    noisy = changed(SPEECH, Condition(noise_dB=ratio, band_Hz=None), NOISE)
    added = noisy[:RATE_HZ].astype(float)  # the silent second
    assert 10 * np.log10(speech_power(SPEECH.astype(float)) / np.mean(added**2)) == pytest.approx(ratio, abs=0.5)


def test_the_telephone_band_holds_nothing_outside_it():
    spectrum = np.abs(np.fft.rfft(changed(NOISE, Condition(noise_dB=None, band_Hz=3400), NOISE))) ** 2
    hertz = np.fft.rfftfreq(len(NOISE), 1 / RATE_HZ)
    outside = (hertz > 3450) | (hertz < 290)
    assert spectrum[outside].sum() < 1e-3 * spectrum.sum()


def test_as_recorded_is_as_recorded():
    assert (changed(SPEECH, Condition(noise_dB=None, band_Hz=None), NOISE) == SPEECH).all()


def folder_of(tmp_path, *texts):
    for number, _ in enumerate(texts):
        soundfile.write(tmp_path / f"{number}.flac", SPEECH, RATE_HZ)
    rows = [{"file": f"{number}.flac", "text": text, "group": "g"} for number, text in enumerate(texts)]
    (tmp_path / "index.jsonl").write_text("\n".join(json.dumps(row) for row in rows))
    return tmp_path


@pytest.mark.skipif(not BUNDLED.is_dir(), reason="needs the acoustic model")
@pytest.mark.parametrize(
    ("texts", "kind"),
    [
        (("one two", "double oh"), "digits"),
        (("circuit two polarity pass", "affirm"), "trade"),
        (("enter nine", "april third"), "words"),
    ],
)
def test_what_may_be_heard_follows_from_the_texts(tmp_path, texts, kind):
    opened = accuracy._opened(folder_of(tmp_path, *texts), BUNDLED, None)
    assert (opened.kind, len(opened.recordings)) == (kind, 2)


@pytest.mark.skipif(not BUNDLED.is_dir(), reason="needs the acoustic model")
@pytest.mark.parametrize(
    ("heard", "right"),
    [
        ("circuit two insulation live to earth five hundred volts three megohms", True),
        ("circuit two insulation live to earth at five hundred volts four megohms", False),
        ("circuit two insulation", False),
        ("", False),
    ],
)
def test_what_means_the_same_counts_as_said(tmp_path, heard, right):
    said = "circuit two insulation live to earth at five hundred volts three megohms"
    folder = folder_of(tmp_path, said)
    opened = accuracy._opened(folder, BUNDLED, None)
    row = Row(
        file="0.flac",
        group="g",
        said=read_index(folder)[0].text,
        heard=tuple(heard.split()),
        sound_s=1.0,
        spent_s=0.1,
    )
    assert (accuracy._as_meant(opened, row).heard == row.said) is right
    words = replace(opened, kind="words")
    assert accuracy._as_meant(words, row) == row
