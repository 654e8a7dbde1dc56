"""Can the program's own voices be understood? Read-backs written to WAV and recognised again, word by word.

    voicelog bench voice [--keep FOLDER] [--json]

The recogniser stands in for a listener: it hears each read-back through a loop over all words that occur, so that
nothing but the sound decides. Words that sound alike (two, to) count as one. Words put in where nothing was said are
counted apart: a loop with words of one sound ("r", "e") makes them out of breath. It is stricter than a person who
knows what to expect, says which words to look at, and knows the natural voice's kind of sound better than that of
eSpeak NG, none of which was in its training. The files can be kept and listened to.
"""

import json
import random
import tempfile
from collections import Counter
from collections.abc import Iterable, Iterator
from pathlib import Path

from rapidfuzz.distance import Levenshtein

from voicelog.hearing.model_folder import BUNDLED
from voicelog.keeping.sheet import load_sheet
from voicelog.keeping.storage import Progress, quiet
from voicelog.meaning.grammar_files import load_grammar
from voicelog.model import Noun
from voicelog.proving.readings import round_of, said
from voicelog.proving.rehearsal import Rehearsal, Stage
from voicelog.proving.strings import Row, read_index, score
from voicelog.resources import data_folder
from voicelog.talking.conversation import Policy
from voicelog.talking.espeak import EspeakVoice
from voicelog.talking.loudspeaker import WavFile
from voicelog.talking.natural import NaturalVoice
from voicelog.talking.repertoire import Voice
from voicelog.talking.voice import Manner, SpeakingMouth

INDEX = "index.jsonl"
SOUNDS_LIKE = {"to": "two", "for": "four", "tea": "t", "see": "c", "are": "r"}


class Understood(Noun):
    """One voice at one speed."""

    voice: str
    speed: float
    read_backs: int
    words: int
    words_right: float  # share of them heard as said
    read_backs_right: float  # share in which all were
    put_in: int  # words heard where none was said
    seconds: float  # of a read-back, mean
    confused: dict[str, int]  # "said > heard" -> times, most frequent first


class ReadAloud(Noun):
    """``voicelog bench voice``."""

    voices: tuple[Understood, ...]


def bench_read_aloud(
    read_backs: int = 60,
    seed: int = 1,
    speeds: tuple[float, ...] = (1.0,),
    model: Path = BUNDLED,
    keep: Path | None = None,
    voices: Iterable[Voice] = (),
    progress: Progress = quiet,
) -> ReadAloud:
    """Both voices, or those given, at each speed. Raises ModelError when there is no model to hear with."""
    texts = tuple(read_back_texts(read_backs, seed))
    with tempfile.TemporaryDirectory() as place:
        root = keep or Path(place)
        arms = [(voice, speed) for voice in tuple(voices) or (NaturalVoice(), EspeakVoice()) for speed in speeds]
        found = []
        for voice, speed in arms:
            found.append(_understood(voice, speed, texts, root / f"{voice.name}-{speed:g}", model))
            progress(len(found), len(arms))
        return ReadAloud(voices=tuple(found))


def read_back_texts(count: int, seed: int) -> Iterator[str]:
    """What the program says of readings drawn at random."""
    sheet = load_sheet(data_folder("audio_samples") / "demo")
    stage, draw = Stage(load_grammar(), sheet), random.Random(seed)
    readings = [reading for _ in range(1 + count // 50) for reading in round_of(sheet, draw)]
    for reading in draw.sample(readings, count):
        (spoken,) = Rehearsal(stage, Policy.EVERY).say(said(reading, stage.phrasing, draw).words)
        yield spoken.text


def _understood(voice: Voice, speed: float, texts: tuple[str, ...], folder: Path, model: Path) -> Understood:
    folder.mkdir(parents=True, exist_ok=True)
    lines = [_write(voice, speed, text, folder / f"{number:03}.wav") for number, text in enumerate(texts)]
    (folder / INDEX).write_text("".join(f"{json.dumps(line)}\n" for line in lines), encoding="utf-8")
    every = {word for recording in read_index(folder) for word in recording.text}
    found = score(folder, every, model=model)
    missed = [_missed(row) for row in found.mistakes]
    return Understood(
        voice=voice.name,
        speed=speed,
        read_backs=found.strings,
        words=found.words,
        words_right=1 - sum(len(row) for row in missed) / found.words,
        read_backs_right=1 - sum(bool(row) for row in missed) / found.strings,
        put_in=sum(_put_in(row) for row in found.mistakes),
        seconds=sum(line["seconds"] for line in lines) / len(lines),
        confused=dict(Counter(pair for row in missed for pair in row).most_common(20)),
    )


def _write(voice: Voice, speed: float, text: str, file: Path) -> dict:
    mouth = SpeakingMouth(voice, WavFile(file))
    mouth.manner = Manner(speed=speed)
    spoken = mouth.say(text)
    mouth.close()
    return {"file": file.name, "text": _words_of(text), "group": voice.name, "seconds": spoken.duration_s}


def _words_of(text: str) -> str:
    return " ".join(text.lower().translate(str.maketrans(dict.fromkeys(",.;:?!", " "))).split())


def _missed(row: Row) -> list[str]:
    """Each word that was heard as another, "said > heard", or not at all."""
    said, heard = _alike(row.said), _alike(row.heard)
    changes = Levenshtein.editops(said, heard)
    return [
        f"{row.said[change.src_pos]} > {row.heard[change.dest_pos] if change.tag == 'replace' else ''}"
        for change in changes
        if change.tag != "insert"
    ]


def _put_in(row: Row) -> int:
    return sum(change.tag == "insert" for change in Levenshtein.editops(_alike(row.said), _alike(row.heard)))


def _alike(words: tuple[str, ...]) -> list[str]:
    return [SOUNDS_LIKE.get(word, word) for word in words]
