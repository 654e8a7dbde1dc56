"""Whole phrases of the trade by voices and in an accent that training never heard, one recording each.

The readings are those of the demonstration's sheet as a crew would call them
(``proving.readings``), with a command now and then. What is written is what
``voicelog bench accuracy --trade`` reads.
"""

import json
import random
from collections.abc import Iterator
from pathlib import Path

import soundfile

from voicelog.meaning.grammar import Grammar
from voicelog.meaning.phrase import read_phrase, spellings
from voicelog.proving.readings import round_of, said
from voicelog.talking.phrasing import Phrasing
from voicelog.training.splits import read_splits
from voicelog.training.synthesis import SAMPLE_RATE_HZ, Synthesiser, scoring_casting
from voicelog.visit import Visit

COMMANDS = 0.12  # share of phrases that are commands


def phrases(visit: Visit, rng: random.Random) -> Iterator[tuple[str, ...]]:
    """Readings and commands without end, each in the grammar."""
    phrasing, commands = Phrasing(visit.grammar, visit.sheet), _commands(visit.grammar)
    while True:
        readings = list(round_of(visit.sheet, rng))
        rng.shuffle(readings)
        for reading in readings:
            words = rng.choice(commands) if rng.random() < COMMANDS else said(reading, phrasing, rng).words
            if visit.reader.network.parses(words):
                yield words


def _commands(grammar: Grammar) -> list[tuple[str, ...]]:
    """Every way to say a command that takes nothing with it."""
    alone = (command for command in grammar.commands.values() if command.takes == "nothing")
    return [way for command in alone for said in command.said for way in spellings(read_phrase(said))]


def write_scoring_set(folder: Path, voices: Path, visit: Visit, count: int, seed: int = 0) -> None:
    """``count`` recordings NNN.flac and ``index.jsonl`` (file, text, group = voice, accent); those there are kept."""
    folder.mkdir(parents=True, exist_ok=True)
    synthesiser, casting = Synthesiser(voices), scoring_casting(read_splits())
    rng = random.Random(seed)
    lines = []
    for number, words in zip(range(count), phrases(visit, rng), strict=False):
        speaker = casting.draw(rng)
        name = f"{number:03d}.flac"
        if not (folder / name).exists():
            sound = synthesiser.speak(" ".join(words), speaker.voices, speaker.accent, speaker.speed)
            soundfile.write(folder / name, sound, SAMPLE_RATE_HZ)
        (voice,) = speaker.voices
        lines.append(json.dumps({"file": name, "text": " ".join(words), "group": voice, "accent": speaker.accent}))
        (folder / "index.jsonl").write_text("\n".join(lines) + "\n")
