"""The chance that a reading is what was said, out of how far the nearest other meaning lies behind it.

The search's own confidence of a word is near one even when it is wrong; the
margin between two whole meanings is not. The figures are fitted to recordings
kept for that purpose and checked on others (``voicelog bench certainty``).
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Certainty:
    """A logistic curve over the margin in nats, and one chance where the search found no other meaning."""

    at_zero: float  # log odds where another meaning lies as near
    rise: float  # log odds a nat
    alone: float  # log odds without another meaning

    def chance(self, margin: float | None) -> float:
        """0 to 1."""
        odds = self.alone if margin is None else self.at_zero + self.rise * max(margin, 0.0)
        return 1 / (1 + math.exp(-odds))
