"""What is held out of training: reads ``shared/splits.toml``."""

import tomllib
from dataclasses import dataclass
from pathlib import Path

from voicelog.resources import data_folder


@dataclass(frozen=True)
class Person:
    """A held-out speaker: utterances ``first`` to ``last`` of one corpus."""

    corpus: str
    speaker: str
    kind: str
    first: int
    last: int


@dataclass(frozen=True)
class Splits:
    people: tuple[Person, ...]
    voices: frozenset[str]
    accents: frozenset[str]
    noise_period_s: int
    noise_held_out_s: int

    def person_of(self, corpus: str, number: int) -> Person | None:
        """Who is held out and spoke utterance ``number`` of ``corpus``; None if it may be trained on."""
        return next((p for p in self.people if p.corpus == corpus and p.first <= number <= p.last), None)

    def keeps_out(self, voices: dict[str, float], dialect: str) -> bool:
        """Whether a synthetic utterance belongs to the scoring side."""
        return dialect in self.accents or not self.voices.isdisjoint(voices)


def read_splits(file: Path | None = None) -> Splits:
    """The splits in ``file``, or those of this project."""
    table = tomllib.loads((file or data_folder("shared") / "splits.toml").read_text())
    people = tuple(Person(p["corpus"], p["speaker"], p["kind"], *p["utterances"]) for p in table["people"])
    synthetic, noise = table["synthetic"], table["noise"]
    return Splits(
        people,
        frozenset(synthetic["voices"]),
        frozenset(synthetic["accents"]),
        noise["period_s"],
        noise["held_out_s"],
    )
