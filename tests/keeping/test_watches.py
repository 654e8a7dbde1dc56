"""A watch in the journal: which values belong to it, and when each was called by the clock of the sound."""

from datetime import timedelta

import numpy as np
import pytest

from tests.showing import sample
from voicelog.handing_over import forecasts_of
from voicelog.hearing.ear import ScriptedEar
from voicelog.keeping.job import open_job
from voicelog.keeping.record import fold
from voicelog.keeping.watches import WATCHED, watches
from voicelog.model import EntryKind
from voicelog.resources import data_folder
from voicelog.session import Watcher
from voicelog.showing.pictures import pictures
from voicelog.showing.schedule import schedule_of
from voicelog.showing.wording import load_wording
from voicelog.talking.conversation import Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit, taken
from voicelog.visiting import run

WATCH = ["watch leakage on circuit three", "one point one", "... 30", "one point three", "... 30", "one point four"]


@pytest.fixture
def heard(tmp_path):
    """What a job holds after some typed lines."""

    def hear(*lines):
        (tmp_path / "job.toml").write_bytes((data_folder("audio_samples") / "demo" / "job.toml").read_bytes())
        return run(open_visit(tmp_path), ScriptedEar(lines), SilentMouth(), Policy.EVERY, Watcher())

    return hear


def told(record):
    return [
        [(str(line.reading.value.figure), second) for line, second in zip(w.lines, w.seconds, strict=True)]
        for w in watches(record)
    ]


def test_a_watch_has_the_clock_of_the_sound_however_fast_it_was_heard(heard):
    assert told(heard(*WATCH, "stop watching")) == [[("1.1", 0.0), ("1.3", 31.2), ("1.4", 62.4)]]  # typed: 0.4 s a word


def test_typed_as_things_happen_a_watch_has_the_real_clock(tmp_path):
    (tmp_path / "job.toml").write_bytes((data_folder("audio_samples") / "demo" / "job.toml").read_bytes())
    now = iter([5.0, 20.0, 50.0, 95.0])
    ear = ScriptedEar([WATCH[0], "one point one", "one point three", "stop watching"], now_s=lambda: next(now))
    record = run(open_visit(tmp_path), ear, SilentMouth(), Policy.EVERY, Watcher())
    assert told(record) == [[("1.1", 0.0), ("1.3", 30.0)]]


def test_what_was_put_right_has_the_time_of_what_was_wrong(heard):
    record = heard(*WATCH, "correction one point five", "one point six", "stop watching")
    assert told(record) == [[("1.1", 0.0), ("1.3", 31.2), ("1.5", 62.4), ("1.6", 65.2)]]


@pytest.mark.parametrize("order", ["negative", "disregard"])
def test_what_was_taken_back_counts_no_more(heard, order):
    record = heard(*WATCH, "seven point one", order, "one point seven", "stop watching")
    assert [figure for figure, _ in told(record)[0]] == ["1.1", "1.3", "1.4", "1.7"]


def test_a_second_watch_is_another_one_though_its_first_value_was_taken_back(heard):
    record = heard(*WATCH, "stop watching", WATCH[0], "nine", "negative", "two point one", "... 30", "two point two")
    assert [[figure for figure, _ in watch] for watch in told(record)] == [["1.1", "1.3", "1.4"], ["2.1"]]


def test_what_was_called_before_the_watch_is_no_part_of_it(heard):
    record = heard("circuit three earth leakage one point zero milliamps", "affirm", *WATCH, "stop watching")
    assert len(record.lines) == 4 and len(told(record)[0]) == 3
    of_watch = [one for one in taken(record) if one.watch]
    assert [one.at - of_watch[0].at for one in of_watch] == [timedelta(seconds=s) for s in (0, 31.2, 62.4)]


# ------------------------------------------------------------------ the forecast, against least squares by numpy


def journal(values, every_s=30.0, limit="9.0"):
    """A watch of circuit 2, a value each ``every_s`` by the sound; the journal is written in four-second steps."""
    tell = sample.Story()
    for n, value in enumerate(values):
        said = sample.verdict("pass", "At most 9 mA", limit, "mA") if limit else None
        what = sample.reading(sample.place("2"), "earth_leakage", value, "mA")
        tell.affirmed("words", what, said, detail={WATCHED: f"{n * every_s:.2f}"})
    return tell.entries


def forecast(values, **how):
    (found,) = dict(forecasts_of(fold(journal(values, **how)))).values()
    return found


def test_on_a_straight_line_the_forecast_is_the_least_squares_line():
    values = ["6.00", "6.25", "6.50", "6.75", "7.00"]
    rate, start = np.polyfit(np.arange(5) / 2, [float(v) for v in values], 1)
    found = forecast(values)
    assert found.per_minute == pytest.approx(rate) and found.at_end == pytest.approx(start + rate * 2)
    assert (found.low, found.high) == pytest.approx((rate, rate))
    assert found.minutes == pytest.approx((9.0 - 7.0) / rate) and "the limit in 4 minutes" in found.reaches


@pytest.mark.parametrize("seed", range(8))
def test_with_noise_the_least_squares_slope_lies_near_and_within_the_interval(seed):
    minutes = np.arange(12) / 2
    values = 6.0 + 0.3 * minutes + np.random.default_rng(seed).normal(0, 0.05, 12)
    written = [f"{value:.2f}" for value in values]
    rate, _ = np.polyfit(minutes, [float(v) for v in written], 1)
    found = forecast(written)
    assert found.low <= rate <= found.high and found.per_minute == pytest.approx(rate, rel=0.15)


def test_what_does_not_move_toward_its_limit_reaches_it_never():
    for values in (["7.0", "6.8", "6.5", "6.4", "6.1"], ["6.8", "6.9", "6.8", "6.9", "6.8"]):
        assert forecast(values).reaches == "" and forecast(values).minutes == 2.0
    assert forecast(["6.0", "6.2", "6.4", "6.6"], limit=None).reaches == ""


@pytest.mark.parametrize(
    "values", [["6.0", "6.2", "6.4"], ["6.0", ">6.2", "6.4", "6.6"], ["6.0", "6.2", "6.4", "over"]]
)
def test_too_few_or_no_plain_figures_give_no_forecast(values):
    assert dict(forecasts_of(fold(journal(values)))) == {}


def test_the_picture_of_a_watch_has_its_minutes_and_its_forecast():
    entries = journal(["6.00", "6.25", "6.50", "6.75", "7.00"])
    record = fold(entries)
    drawn = pictures(schedule_of(sample.sheet(), entries), record, load_wording(), forecasts=dict(forecasts_of(record)))
    (trend,) = [picture for picture in drawn if picture.title == "I leak of circuit 2 watched"]
    assert "5 readings in 2 minutes, from 6.00 to 7.00 mA" in trend.words
    assert "It changes by +0.5 mA a minute (+0.5 to +0.5). At this rate the limit in 4 minutes" in trend.words
    assert "polygon" in trend.svg


def test_the_recorded_visit_says_the_same_slope_in_the_diagnosis_and_in_the_picture(tmp_path):
    import tomllib

    from voicelog.handing_over import report_for

    folder = data_folder("audio_samples")
    (tmp_path / "job.toml").write_bytes((folder / "demo" / "job.toml").read_bytes())
    lines = tomllib.loads((folder / "visit" / "script.toml").read_text(encoding="utf-8"))["visit"]["line"]
    run(open_visit(tmp_path), ScriptedEar([line["says"] for line in lines]), SilentMouth(), Policy.EVERY, Watcher())
    job = open_job(tmp_path)
    report = report_for(job, job.entries())
    over_time = next(part for part in report.parts if part.title == "Over time").sentences[0].text
    picture = next(picture for picture in report.pictures if picture.title.endswith("watched"))
    rate = over_time.split(": ")[1].split(" mA a minute")[0]
    assert f"It changes by {rate} mA a minute" in picture.words
    (watch,) = watches(job.record())
    figures = [float(line.reading.value.figure) for line in watch.lines]
    least_squares, _ = np.polyfit(np.array(watch.seconds) / 60, figures, 1)
    assert float(rate) == pytest.approx(least_squares, rel=0.1)
    assert all(line.entry.kind is EntryKind.CALLED for line in watch.lines)
