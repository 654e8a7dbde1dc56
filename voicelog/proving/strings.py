"""Whole strings of words by real people: how many come through without a single mistake.

A folder holds sound files and ``index.jsonl``, one recording a line:

    {"file": "a.flac", "text": "one two three", "group": "speaker 1"}

``group`` may be left out. The recogniser hears each file through a loop over
the words (any word after any other), so that nothing but the sound decides.
It is given no reason to end early: the whole file is one string.

With digits, it is the digits meant that are compared: "oh" and "nought" are
zero, "double five" is five five, on both sides.
"""

import json
import os
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path

from rapidfuzz.distance import Levenshtein
from rich.table import Table

from voicelog.errors import InputError
from voicelog.hearing.audio import sound_pieces
from voicelog.hearing.graph import GraphCosts, WordArc, WordGraph, loop
from voicelog.hearing.model_folder import BUNDLED, Prepared, open_folder, prepared
from voicelog.hearing.recogniser import Recogniser, hear_all
from voicelog.hearing.search import UNENDING
from voicelog.keeping.storage import Progress, quiet, stepped
from voicelog.model import Noun

INDEX = "index.jsonl"
DIGITS = {
    "zero": "0", "oh": "0", "nought": "0", "naught": "0", "o": "0", "one": "1", "two": "2", "three": "3",
    "four": "4", "five": "5", "six": "6", "seven": "7", "eight": "8", "nine": "9", "niner": "9",
}  # fmt: skip
REPEATS = {"double": 2, "triple": 3, "treble": 3}
SAID_FOR_DIGITS = ("zero", "oh", "nought", "double", "triple")  # whatever a text says, people may say these
BATCH = 20  # recordings a process takes at a time: it loads the model once for all of them


class Row(Noun):
    """One recording as it was meant and as it was heard."""

    file: str
    group: str
    said: tuple[str, ...]
    heard: tuple[str, ...]
    sound_s: float
    spent_s: float  # processor seconds


class Share(Noun):
    """What went wrong among some strings."""

    strings: int
    words: int  # that were said
    strings_wrong: float  # fraction with any mistake
    words_wrong: float  # words put in, left out or changed, as a fraction of the words said


class StringScore(Share):
    """``voicelog bench strings``."""

    real_time_factor: float  # processor seconds for a second of sound
    groups: dict[str, Share]
    mistakes: tuple[Row, ...]  # the strings that went wrong

    def as_json(self) -> dict:
        """What ``--json`` prints."""
        return self.model_dump(mode="json", exclude={"mistakes"})


@dataclass(frozen=True)
class Recording:
    """One line of ``index.jsonl``."""

    file: Path
    text: tuple[str, ...]
    group: str


def score(
    folder: Path,
    words: Iterable[str] | None = None,
    digits: bool = False,
    model: Path = BUNDLED,
    costs: GraphCosts | None = None,
    progress: Progress = quiet,
) -> StringScore:
    """Score every recording of ``folder``.

    ``words`` are those that may be heard; without them all words of the texts.
    Raises InputError naming file and line, SoundError, and ModelError for a
    word that cannot be pronounced.
    """
    recordings = read_index(folder)
    texts = {word for recording in recordings for word in recording.text}
    graph = _graph(tuple(words) if words else tuple(texts), words is None, digits)
    ear = prepared(open_folder(model), graph, costs=costs, search=UNENDING)
    return scored(_heard(ear, recordings, digits, progress))


def read_index(folder: Path) -> tuple[Recording, ...]:
    """The recordings of a folder; raises InputError naming the line."""
    found = tuple(_recording(folder, line, where) for line, where in index_lines(folder))
    if not found:
        raise InputError("the list of recordings is empty.", where=str(folder / INDEX))
    return found


def index_lines(folder: Path) -> list[tuple[str, str]]:
    """The lines of a folder's list of recordings, each with where it stands. Raises InputError."""
    index = folder / INDEX
    try:
        lines = index.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) else "it is not UTF-8 text"
        raise InputError(f"the list of recordings cannot be read: {why}.", where=str(index)) from None
    return [(line, f"{index}, line {number}") for number, line in enumerate(lines, 1) if line.strip()]


def _recording(folder: Path, line: str, where: str) -> Recording:
    try:
        row = json.loads(line)
        file, text, group = row["file"], tuple(row["text"].lower().split()), str(row.get("group", ""))
    except (ValueError, KeyError, TypeError, AttributeError):
        raise InputError('expected {"file": ..., "text": ..., "group": ...}.', where=where) from None
    if not text:
        raise InputError("the text has no words.", where=where)
    return Recording(folder / file, text, group)


def _graph(words: tuple[str, ...], from_texts: bool, digits: bool) -> WordGraph:
    if not digits:
        return loop(words)
    return digits_loop({*words, *(SAID_FOR_DIGITS if from_texts else ())})


def digits_loop(words: Iterable[str]) -> WordGraph:
    """Any of the words in any order, but that a repeat ("double") is followed by a digit."""
    every = sorted(set(words))
    arcs = [WordArc(0, 1 if word in REPEATS else 0, word) for word in every]
    arcs += [WordArc(1, 0, word) for word in every if word in DIGITS]
    return WordGraph(tuple(arcs), {0: 0.0}, 2)


# ---------------------------------------------------------------- hearing


def _heard(ear: Prepared, recordings: tuple[Recording, ...], digits: bool, progress: Progress) -> Iterator[Row]:
    """Each recording as it was heard, in as many processes as there are processors when there is enough to do."""
    starts = range(0, len(recordings), BATCH)
    jobs = [(ear, recordings[start : start + BATCH], digits) for start in starts]
    if len(jobs) == 1:
        yield from stepped(_hear(*jobs[0]), len(recordings), progress, 1)
        return
    with ProcessPoolExecutor(min(len(jobs), os.cpu_count() or 1), get_context("spawn")) as pool:
        rows = (row for heard in pool.map(_hear, *zip(*jobs, strict=True)) for row in heard)
        yield from stepped(rows, len(recordings), progress, BATCH)


def _hear(ear: Prepared, recordings: tuple[Recording, ...], digits: bool) -> list[Row]:
    recogniser = Recogniser(ear)
    return [_hear_one(recogniser, recording, digits) for recording in recordings]


def _hear_one(recogniser: Recogniser, recording: Recording, digits: bool) -> Row:
    began, began_s = time.process_time(), recogniser.taken_s
    heard = [word for part in hear_all(recogniser, sound_pieces(recording.file)) for word in part.texts]
    return Row(
        file=recording.file.name,
        group=recording.group,
        said=digits_meant(recording.text) if digits else recording.text,
        heard=digits_meant(heard) if digits else tuple(heard),
        sound_s=recogniser.taken_s - began_s,
        spent_s=time.process_time() - began,
    )


def digits_meant(words: Iterable[str]) -> tuple[str, ...]:
    """``oh double five`` -> ``("0", "5", "5")``; a word that is no digit stays as it is."""
    meant: list[str] = []
    times = 1
    for word in words:
        if word in REPEATS:
            times = REPEATS[word]
        else:
            meant += [DIGITS.get(word, word)] * times
            times = 1
    return tuple(meant)


# ---------------------------------------------------------------- counting


def scored(rows: Iterable[Row]) -> StringScore:
    """The score of recordings that were heard."""
    rows = tuple(rows)
    groups: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        groups[row.group].append(row)
    named = {name: _share(members) for name, members in sorted(groups.items()) if name}
    sound_s = sum(row.sound_s for row in rows)
    return StringScore(
        **_share(rows).model_dump(),
        real_time_factor=sum(row.spent_s for row in rows) / sound_s,
        groups=named,
        mistakes=tuple(row for row in rows if row.said != row.heard),
    )


def _share(rows: Iterable[Row]) -> Share:
    rows = tuple(rows)
    words = sum(len(row.said) for row in rows)
    return Share(
        strings=len(rows),
        words=words,
        strings_wrong=sum(row.said != row.heard for row in rows) / len(rows),
        words_wrong=sum(mistakes_between(row.said, row.heard) for row in rows) / words,
    )


def mistakes_between(said: tuple[str, ...], heard: tuple[str, ...]) -> int:
    """The fewest words put in, left out or changed that make one of the other (Levenshtein, 1966)."""
    return Levenshtein.distance(said, heard)


def table(score: StringScore) -> Table:
    """For people: one line a group, then all."""
    found = Table("", "strings", "strings wrong", "words wrong", box=None)
    for name, share in (*score.groups.items(), ("all", score)):
        found.add_row(name, str(share.strings), f"{share.strings_wrong:.1%}", f"{share.words_wrong:.1%}")
    found.caption = f"{score.real_time_factor:.3f} processor seconds for each second of sound"
    return found
