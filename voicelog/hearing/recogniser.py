"""Sound to words: the only file that imports Vosk.

A recogniser takes 16-bit samples at 16 kHz in pieces of any length and gives
one ``Heard`` for each utterance, with its alternatives. Times count from the
first sample that it was ever given.
"""

import ctypes
import json
import sys
import time
from collections.abc import Iterable, Iterator

import numpy as np
import vosk

from voicelog.errors import ModelError
from voicelog.hearing.filterbank import RATE_HZ
from voicelog.hearing.model_folder import Kind, ModelFolder, Prepared
from voicelog.hearing.pauses import Pauses
from voicelog.hearing.word_graph import FILLER
from voicelog.model import Heard, Hypothesis, Word

ALTERNATIVES = 10
ALONE_S = 0.8  # quiet for so long, nothing is being said that the judge, up to so far behind, has yet to hear
PIECE = RATE_HZ * 60 // 1000  # 960 samples: two outputs of the network, which speaks every 30 ms

vosk.SetLogLevel(-1)


def load(path: str) -> vosk.Model:
    """The model in a folder that was looked at; raises ModelError when Vosk refuses it all the same."""
    try:
        return vosk.Model(model_path=path)
    except Exception as error:  # Vosk raises nothing more specific
        raise ModelError(
            "the recogniser cannot load this model.", where=path, do="Copy or unpack the model again."
        ) from error


def held_to(folder: ModelFolder, phrases: Iterable[str]) -> Prepared:
    """A stock model held to a list of phrases; raises ModelError when the model is not a stock one.

    Whether it knows their words is found out when a ``Recogniser`` loads it.
    """
    if folder.kind is not Kind.STOCK:
        raise ModelError("only a stock model is held to phrases.", where=str(folder.path))
    return Prepared(folder.path, tuple(dict.fromkeys(phrases)))


def unknown_words(model: vosk.Model, phrases: Iterable[str]) -> tuple[str, ...]:
    """Words that the model lacks: Vosk would drop them from the phrases without a word."""
    words = sorted({word for phrase in phrases for word in phrase.split()})
    return tuple(word for word in words if model.vosk_model_find_word(word) < 0)


class Recogniser:
    """Hears utterances.

    ``judge`` is a second graph that any talk fits: where it explains the sound
    nearly as well as the best reading, the sound was likely not meant for us.
    ``pause_s``: an utterance also ends when the sound itself pauses so long.
    Raises ModelError naming the words that a stock model lacks.
    """

    def __init__(self, prepared: Prepared, judge: Prepared | None = None, pause_s: float | None = None) -> None:
        self._decoder = _decoder(prepared, ALTERNATIVES)
        self._judge = _decoder(judge, 1) if judge else None
        self._pauses = Pauses(pause_s) if pause_s else None
        self._talk_over = False  # the judge has heard talk, and then nothing
        self._taken = 0  # samples given so far
        self._spent_s = 0.0  # since the last utterance ended
        _same_dither()

    @property
    def taken_s(self) -> float:
        """Seconds of sound given so far."""
        return self._taken / RATE_HZ

    @property
    def speaking(self) -> bool:
        """Whether words are being said that have not ended yet."""
        return bool(json.loads(self._decoder.PartialResult()).get("partial"))

    def forget(self) -> None:
        """What is being said never was."""
        for decoder in (self._decoder, self._judge):
            if decoder:
                decoder.Reset()
        _same_dither()

    def hear(self, samples: np.ndarray) -> Iterator[Heard]:
        """Take int16 samples; give each utterance that ends in them."""
        for first in range(0, len(samples), PIECE):
            piece = samples[first : first + PIECE]
            ended = self._take(piece)
            paused = self._pauses is not None and self._pauses.over(piece)
            talked = self._was_talk()
            if self._pauses and (ended or talked):
                self._pauses.forget()
            if (ended or paused or talked) and (heard := self._ended(final=not ended)):
                yield heard

    def finish(self) -> Iterator[Heard]:
        """The sound is over: give what was still being said, if anything."""
        if heard := self._ended(final=True):
            yield heard

    def _was_talk(self) -> bool:
        """Talk in which the grammar hears no word is over: a call after it is an utterance, and is judged, by itself.

        Where the grammar hears a word the search, or the level, ends the utterance. Ended here too, more bits of talk
        would stand alone, and pass for calls.
        """
        if not self._talk_over or self._pauses is None:
            return False
        return self._pauses.quiet_s >= ALONE_S and not self.speaking

    def _take(self, piece: np.ndarray) -> bool:
        began = time.process_time()
        data = np.ascontiguousarray(piece, "<i2").tobytes()
        ended = bool(self._decoder.AcceptWaveform(data))
        if self._judge:
            self._talk_over = bool(self._judge.AcceptWaveform(data))
        self._taken += len(piece)
        self._spent_s += time.process_time() - began
        return ended

    def _ended(self, final: bool) -> Heard | None:
        began = time.process_time()
        found = _alternatives(self._decoder, final)
        judged = _alternatives(self._judge, final=True) if self._judge else ()
        spent_s = self._spent_s + time.process_time() - began
        self._spent_s, self._talk_over = 0.0, False
        _same_dither()
        if not found or not found[0].words:
            return None
        return Heard(
            hypotheses=found,
            start_s=found[0].words[0].start_s,
            end_s=found[0].words[-1].end_s,
            decode_s=spent_s,
            filler_margin=judged[0].cost - found[0].cost if judged else None,
        )


def hear_all(recogniser: Recogniser, pieces: Iterable[np.ndarray]) -> Iterator[Heard]:
    """Every utterance of a stream that comes to an end."""
    for piece in pieces:
        yield from recogniser.hear(piece)
    yield from recogniser.finish()


def _same_dither() -> None:
    """Let the faint noise that Vosk lays under the sound begin as it always does.

    It comes from C's ``rand``: begun anew with each utterance, the same sound
    gives the same words whatever was said before. Where C's library cannot be
    reached, a doubtful utterance may be heard one way today and another tomorrow.
    """
    if sys.platform != "win32":
        ctypes.CDLL(None).srand(1)


def _decoder(prepared: Prepared, alternatives: int) -> vosk.KaldiRecognizer:
    model = load(str(prepared.path))
    if unknown := unknown_words(model, prepared.phrases):
        raise ModelError(
            f"this model does not know {len(unknown)} of the words: {', '.join(unknown[:12])}.",
            where=str(prepared.path),
            do="Use the bundled model, which can be given any word, or other words in the grammar.",
        )
    phrases = (json.dumps(prepared.phrases, ensure_ascii=False),) if prepared.phrases else ()
    decoder = vosk.KaldiRecognizer(model, RATE_HZ, *phrases)
    decoder.SetWords(True)
    decoder.SetMaxAlternatives(alternatives)
    return decoder


def _alternatives(decoder: vosk.KaldiRecognizer, final: bool) -> tuple[Hypothesis, ...]:
    """Distinct word sequences, best first."""
    answer = json.loads(decoder.FinalResult() if final else decoder.Result())
    distinct: dict[tuple[str, ...], Hypothesis] = {}
    for entry in answer.get("alternatives", ()):
        words = _words(entry.get("result", ()))
        found = Hypothesis(words=words, cost=-entry["confidence"])
        distinct.setdefault(found.texts, found)
    return tuple(distinct.values())


def _words(entries: Iterable[dict]) -> tuple[Word, ...]:
    """The words with their times; talk outside the grammar is one word, however many phones it has."""
    words: list[Word] = []
    for entry in entries:
        if entry["word"] == FILLER and words and words[-1].text == FILLER:
            words[-1] = words[-1].model_copy(update={"end_s": entry["end"]})
        else:
            words.append(Word(text=entry["word"], start_s=entry["start"], end_s=entry["end"]))
    return tuple(words)
