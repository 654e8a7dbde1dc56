"""The people held out of training, as ``voicelog bench learn`` reads them: too little speech of each to be divided."""

import json
from collections.abc import Iterator
from concurrent.futures import Executor
from pathlib import Path

import soundfile

from voicelog.training.corpus import RATE_HZ, Corpus, read_corpora
from voicelog.training.splits import Splits


def write_people_set(folder: Path, speech: Path, splits: Splits, executor: Executor) -> int:
    """Recordings PERSON-NN.flac and ``index.jsonl`` (file, text, speaker, role both); gives back how many."""
    corpus = read_corpora([speech], splits, executor)
    folder.mkdir(parents=True, exist_ok=True)
    lines = list(_written(folder, corpus, {person.speaker for person in splits.people}))
    (folder / "index.jsonl").write_text("".join(line + "\n" for line in lines))
    return len(lines)


def _written(folder: Path, corpus: Corpus, people: set[str]) -> Iterator[str]:
    counts: dict[str, int] = {}
    for utterance in (one for one in corpus.held_out if one.speaker in people):
        number = counts[utterance.speaker] = counts.get(utterance.speaker, 0) + 1
        name = f"{utterance.speaker}-{number:02d}.flac"
        sound = corpus.sound[utterance.start : utterance.start + utterance.samples]
        soundfile.write(folder / name, sound, RATE_HZ)
        yield json.dumps({"file": name, "text": utterance.text, "speaker": utterance.speaker, "role": "both"})
