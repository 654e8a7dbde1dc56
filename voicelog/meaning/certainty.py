"""The chance that a reading is what was said, out of how far the nearest other meaning lies behind it.

The search's own confidence of a word is near one even when it is wrong; the
margin between two whole meanings is not. The curve is fitted to recordings
kept for that purpose and checked on others (``voicelog bench certainty``).
"""

import math
from dataclasses import dataclass

FARTHEST = 12.0  # nats: beyond it, and where the search found no other meaning at all, more says nothing


def bounded(margin: float | None) -> float:
    """The margin as the curve takes it."""
    return FARTHEST if margin is None else min(max(margin, 0.0), FARTHEST)


@dataclass(frozen=True)
class Certainty:
    """A logistic curve over the margin in nats."""

    at_zero: float = 0.0  # log odds where another meaning lies as near
    rise: float = 0.5  # log odds a nat

    def chance(self, margin: float | None) -> float:
        """0 to 1."""
        return 1 / (1 + math.exp(-(self.at_zero + self.rise * bounded(margin))))
