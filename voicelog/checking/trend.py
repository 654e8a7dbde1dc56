"""Values over minutes: slope, time to a limit, plateau. Times are s, values in any one unit (float)."""

from collections.abc import Sequence

import numpy as np

from voicelog.checking.weighing import Unknown
from voicelog.model import Noun

FEWEST = 4  # readings before a slope is worth saying
CONFIDENCE = 0.95
MINUTE_S = 60.0


class Slope(Noun):
    """Change a minute: median of all pairwise slopes (Theil-Sen), with its interval."""

    per_minute: float
    low: float
    high: float
    at_end: float  # the fitted value at the last time
    readings: int

    @property
    def certain(self) -> bool:
        """Whether the interval leaves no doubt about the direction."""
        return self.low > 0 or self.high < 0


def slope(times_s: Sequence[float], values: Sequence[float]) -> Slope | Unknown:
    """The slope of values over time; one wild reading among many does not bend it."""
    if len(values) < FEWEST:
        return Unknown(why=f"a slope needs at least {FEWEST} readings, there are {len(values)}")
    if len(set(times_s)) < len(times_s):
        return Unknown(why="two readings have the same time")
    from scipy.stats import theilslopes  # slow to import, and only a watch needs it

    minutes = np.asarray(times_s, dtype=float) / MINUTE_S
    found = theilslopes(np.asarray(values, dtype=float), minutes, alpha=CONFIDENCE)
    return Slope(
        per_minute=float(found.slope),
        low=float(found.low_slope),
        high=float(found.high_slope),
        at_end=float(found.intercept + found.slope * minutes[-1]),
        readings=len(values),
    )


class Arrival(Noun):
    """When a limit would be reached, in minutes from the last reading."""

    minutes: float
    soonest: float
    latest: float

    @property
    def words(self) -> str:
        """ "54 minutes (soonest 30, latest 90)"."""
        middle = "under a minute" if self.minutes < 1 else f"{self.minutes:.0f} minutes"
        return f"{middle} (soonest {self.soonest:.0f}, latest {self.latest:.0f})"


def time_to(limit: float, found: Slope) -> Arrival | Unknown:
    """How long until a limit if it goes on like this; Unknown when it moves away or not clearly at all."""
    gap = limit - found.at_end
    if gap * found.per_minute <= 0 or not found.certain:
        return Unknown(why="the values do not clearly move toward the limit")
    ends = sorted((gap / found.low, gap / found.high))
    return Arrival(minutes=gap / found.per_minute, soonest=ends[0], latest=ends[1])


def plateau(times_s: Sequence[float], values: Sequence[float], resolution: float) -> bool:
    """Whether the last third (at least four readings) stands still.

    Still means that its slope is not certain, or moves it by less than one ``resolution`` (the last digit
    called, in the unit of the values) over that third.
    """
    count = max(FEWEST, len(values) // 3)
    tail = slope(times_s[-count:], values[-count:])
    if isinstance(tail, Unknown):
        return False
    moved = abs(tail.per_minute) * (times_s[-1] - times_s[-count]) / MINUTE_S
    return not tail.certain or moved < resolution
