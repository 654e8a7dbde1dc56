"""Text cut into clauses: the pieces that are synthesised, kept ready and played one after another.

The first clause sounds while the later ones are still being made, and clauses that come again and again (a
circuit's name, a quantity, a verdict) need making only once.
"""

import re
from dataclasses import dataclass

# Rests after each mark, seconds: long enough to group, short enough to keep a read-back under 3 s.
REST_S = {",": 0.07, ";": 0.10, ":": 0.09, ".": 0.14, "?": 0.14, "!": 0.14}
BREAK = re.compile(r"(?<=[,;:.?!])\s+")  # "0.52" has no space after its point and stays whole


@dataclass(frozen=True)
class Clause:
    """A few words with the mark that ends them, and the rest that follows."""

    text: str
    rest_s: float


def clauses(text: str) -> tuple[Clause, ...]:
    """Cut at the marks; text without any is one clause, ended by a full stop."""
    parts = [part for part in BREAK.split(" ".join(text.split())) if re.search(r"\w", part)]
    return tuple(_clause(part if part[-1] in REST_S else part + ".") for part in parts)


def _clause(part: str) -> Clause:
    return Clause(part, REST_S[part[-1]])
