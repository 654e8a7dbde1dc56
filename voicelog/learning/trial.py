"""A network that has no folder yet, tried: phrases heard through it by stock Vosk."""

import tempfile
from pathlib import Path

from voicelog.hearing.filterbank import CONF
from voicelog.hearing.graph import GraphCosts, WordGraph
from voicelog.hearing.lexicon import Lexicon
from voicelog.hearing.model_folder import ACOUSTIC, FEATURES, open_folder, prepared
from voicelog.hearing.network import AcousticModel
from voicelog.hearing.nnet3 import write_model
from voicelog.hearing.recogniser import Recogniser, hear_all
from voicelog.hearing.search import UNENDING
from voicelog.learning.adaptation import Spoken

Words = tuple[str, ...]


def heard_by(
    model: AcousticModel, phrases: tuple[Spoken, ...], graph: WordGraph, lexicon: Lexicon | None = None
) -> list[Words]:
    """What each phrase says to ``model`` over ``graph``. Raises ModelError for a word without pronunciation."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "model"
        for part in (ACOUSTIC, FEATURES):
            (folder / part).parent.mkdir(parents=True)
        write_model(model, folder / ACOUSTIC)
        (folder / FEATURES).write_text(CONF)
        ear = prepared(
            open_folder(folder),
            graph,
            costs=GraphCosts(),
            search=UNENDING,
            lexicon=lexicon,
            cache=Path(place) / "cache",
        )
        recogniser = Recogniser(ear)
        return [_words(recogniser, phrase) for phrase in phrases]


def _words(recogniser: Recogniser, phrase: Spoken) -> Words:
    return tuple(word for part in hear_all(recogniser, [phrase.sound]) for word in part.texts)
