"""Adam (Kingma and Ba 2015): steps that each number's own slopes have sized, with the whole slope's length held."""

from dataclasses import dataclass, field

import numpy as np

from voicelog.learning.layers import Arrays, Name

FIRST_DECAY, SECOND_DECAY = 0.9, 0.98
TINY = 1e-8


@dataclass
class Adam:
    """Steps over named arrays.

    ``rates`` are relative: a rate of 0.002 moves a number at most about a
    five-hundredth of its array's root mean square each step.
    """

    start: Arrays
    rates: dict[Name, float]
    longest: float = 1.0  # the slope of all arrays together is shortened to this
    _mean: Arrays = field(default_factory=dict)
    _square: Arrays = field(default_factory=dict)
    _steps: int = 0

    def __post_init__(self) -> None:
        for name, array in self.start.items():
            self._mean[name], self._square[name] = np.zeros_like(array), np.zeros_like(array)
        self.size = {name: float(np.sqrt(np.mean(array**2))) or 1.0 for name, array in self.start.items()}

    def step(self, now: Arrays, slopes: Arrays, share: float = 1.0) -> Arrays:
        """The arrays after one step against ``slopes``, at ``share`` of the rates."""
        self._steps += 1
        # In units of each array's own size, so that large and small arrays are treated alike.
        slopes = {name: slope * self.size[name] for name, slope in slopes.items()}
        length = np.sqrt(sum(float(np.vdot(slope, slope)) for slope in slopes.values()))
        shorten = np.float32(min(1.0, self.longest / max(length, TINY)))
        return {name: now[name] - self._move(name, slope * shorten, share) for name, slope in slopes.items()}

    def _move(self, name: Name, slope: np.ndarray, share: float) -> np.ndarray:
        mean, square = self._mean[name], self._square[name]
        mean += (1 - FIRST_DECAY) * (slope - mean)
        square += (1 - SECOND_DECAY) * (slope * slope - square)
        rate = share * self.rates[name] * self.size[name] / (1 - FIRST_DECAY**self._steps)
        return np.float32(rate) * mean / (np.sqrt(square / np.float32(1 - SECOND_DECAY**self._steps)) + TINY)
