"""Slopes, time to a limit, plateaus; numpy's least squares as an independent check of straight lines."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from voicelog.checking.trend import Arrival, Slope, plateau, slope, time_to
from voicelog.checking.weighing import Unknown

EVERY_30_S = [30.0 * i for i in range(10)]


def test_a_heating_element_that_leaks_more_as_it_warms():
    values = [1.0, 1.2, 1.4, 1.6, 1.8, 2.0, 2.2, 2.4, 2.6, 2.8]  # 0.4 mA a minute
    found = slope(EVERY_30_S, values)
    assert found.per_minute == pytest.approx(0.4) and found.certain
    assert time_to(9.0, found).minutes == pytest.approx((9.0 - 2.8) / 0.4)


@given(st.floats(-5, 5), st.floats(-50, 50), st.integers(4, 30))
def test_a_straight_line_gives_its_slope(per_minute, start, count):
    times = [20.0 * i for i in range(count)]
    values = [start + per_minute * t / 60 for t in times]
    fitted = np.polyfit(np.asarray(times) / 60, values, 1)[0]
    assert slope(times, values).per_minute == pytest.approx(fitted, abs=1e-6)


def test_one_wild_reading_does_not_bend_it():
    values = [1.0 + 0.1 * i for i in range(10)]
    values[5] = 90.0
    assert slope(EVERY_30_S, values).per_minute == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize("values", [[1.0, 2.0, 3.0], []])
def test_too_few_readings_have_no_slope(values):
    assert isinstance(slope(EVERY_30_S[: len(values)], values), Unknown)


def test_two_readings_at_one_time_are_refused():
    assert "same time" in slope([0, 0, 30, 60], [1, 2, 3, 4]).why


@pytest.mark.parametrize(
    ("per_minute", "low", "high", "at_end", "limit"),
    [(-0.4, -0.5, -0.3, 5.0, 9.0), (0.0, -0.1, 0.1, 5.0, 9.0), (0.2, -0.1, 0.5, 5.0, 9.0), (0.4, 0.3, 0.5, 9.5, 9.0)],
)
def test_moving_away_or_unclearly_never_arrives(per_minute, low, high, at_end, limit):
    found = Slope(per_minute=per_minute, low=low, high=high, at_end=at_end, readings=9)
    assert isinstance(time_to(limit, found), Unknown)


def test_falling_toward_a_lower_limit_arrives_too():
    found = Slope(per_minute=-0.5, low=-0.6, high=-0.4, at_end=3.0, readings=9)
    arrival = time_to(1.0, found)
    assert isinstance(arrival, Arrival) and arrival.minutes == 4.0
    assert arrival.soonest == pytest.approx(2 / 0.6) and arrival.latest == pytest.approx(5.0)


@given(st.floats(0.05, 2), st.floats(0.01, 0.04))
def test_the_interval_holds_the_arrival(per_minute, noise):
    values = [1 + per_minute * t / 60 + noise * (-1) ** i for i, t in enumerate(EVERY_30_S)]
    arrival = time_to(50.0, slope(EVERY_30_S, values))
    if isinstance(arrival, Arrival):
        assert arrival.soonest <= arrival.minutes <= arrival.latest


def test_a_value_that_settles():
    rising = [1.0, 1.8, 2.4, 2.8, 3.0, 3.1, 3.1, 3.1, 3.1, 3.1]
    assert plateau(EVERY_30_S, rising, 0.1)
    assert not plateau(EVERY_30_S[:5], rising[:5], 0.1)
    assert not plateau(EVERY_30_S[:3], rising[:3], 0.1)
