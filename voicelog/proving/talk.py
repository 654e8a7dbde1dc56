"""What people say on a site when they call no reading.

Ordinary sentences, numbers among them, talk about the work itself with half-said readings, stories, prose, real words
out of grammar, and near misses. Written for this bench alone and used nowhere in training. A near miss is a true
sentence of the grammar with something missing, something in the way, or ordinary talk around a part of it: what a
strict grammar is most easily fooled by. No sentence here is a complete reading or an order.

    python -m voicelog.proving.talk FILE [--characters N] [--prose INDEX]

writes a script of such talk for a synthesiser, one JSON object a line, in the voices and accents that
shared/splits.toml keeps out of training. ``--prose`` names an index whose texts are read aloud in between; its sounds
may have been heard in training, its texts in these voices not.
"""

import argparse
import json
import random
import tomllib
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path

from voicelog.meaning.parsing import Reader
from voicelog.model import Called, NotUnderstood
from voicelog.proving.talk_frames import AROUND, NUMERICAL, ORDINARY, OUT_OF_ORDER, PROSE, SITE, SLOTS, STORY
from voicelog.resources import data_folder

SHARES = {"ordinary": 0.14, "numerical": 0.18, "site": 0.22, "near": 0.2, "jumbled": 0.08, "story": 0.1, "prose": 0.08}
WORDS = (4, 40)  # of a line of a script
READ_ALOUD = 0.2  # share of a script's lines that are given prose, if there is any
ACCENTS = ("en", "en-gb-x-rp", "en-gb-scotland", "en-gb-x-gbclan", "en-gb-x-gbcwmd", "en-us")


def sentence(draw: random.Random, reader: Reader) -> str:
    """One sentence, drawn by SHARES."""
    kind = draw.choices(list(SHARES), list(SHARES.values()))[0]
    return _KINDS[kind](draw, reader)


def _filled(frames: tuple[str, ...]) -> Callable[[random.Random, Reader], str]:
    return lambda draw, _: _fill(draw.choice(frames), draw)


def _fill(frame: str, draw: random.Random, **given: str) -> str:
    """The frame with its slots filled, those of the fillings too."""
    slots = _Slots(draw, **given)
    while "{" in frame:
        frame = frame.format_map(slots)
    return frame


def _near(draw: random.Random, reader: Reader) -> str:
    """A damaged sentence of the grammar, mostly with ordinary words around it."""
    while True:
        words = _damaged(list(reader.network.sample(draw)), draw)
        if words and not means_something(" ".join(words), reader):
            break
    text = " ".join(words)
    return _fill(draw.choice(AROUND), draw, words=text) if draw.random() < 0.7 else text


def _damaged(words: list[str], draw: random.Random) -> list[str]:
    """One to three words lost from one end or the middle."""
    if len(words) < 3:
        return words
    lost = draw.randint(1, min(3, len(words) - 2))
    at = draw.choice((0, len(words) - lost, draw.randint(0, len(words) - lost)))
    return words[:at] + words[at + lost :]


def _jumbled(draw: random.Random, _: Reader) -> str:
    """Real words in no order."""
    return " ".join(draw.choices(OUT_OF_ORDER, k=draw.randint(4, 12)))


def is_reading(text: str, reader: Reader) -> bool:
    """Whether the words alone call a reading: a quantity with its value."""
    meaning = _read(text, reader)
    called = meaning if isinstance(meaning, Called) else getattr(meaning, "called", None)
    return called is not None and called.value is not None


def means_something(text: str, reader: Reader) -> bool:
    """Whether the words, or those up to a pause or after one, are a reading or an order in themselves."""
    parts = (text, *text.split(","))
    return any(not isinstance(_read(part.replace(",", " "), reader), NotUnderstood) for part in parts)


def _read(text: str, reader: Reader) -> object:
    return reader.read(tuple(text.lower().split()), reader.at_first)


class _Slots(Mapping):
    """Fills {place}, {number} and so on, each time anew."""

    def __init__(self, draw: random.Random, **given: str) -> None:
        self._draw, self._given = draw, given

    def __getitem__(self, name: str) -> str:
        return self._given.get(name) or self._draw.choice(SLOTS[name])

    def __iter__(self) -> Iterator[str]:
        return iter(SLOTS)

    def __len__(self) -> int:
        return len(SLOTS)


_KINDS = {
    "ordinary": _filled(ORDINARY),
    "numerical": _filled(NUMERICAL),
    "site": _filled(SITE),
    "story": _filled(STORY),
    "prose": _filled(PROSE),
    "near": _near,
    "jumbled": _jumbled,
}


# ---------------------------------------------------------------- a script for a synthesiser


def script(
    draw: random.Random, reader: Reader, characters: int, casting: "Casting", prose: tuple[str, ...] = ()
) -> Iterator[dict]:
    """Lines of about ``characters`` characters in all, none twice, none a reading or an order."""
    said, length, pieces = set(), 0, list(_pieces(prose, draw))
    while length < characters:
        text = pieces.pop() if pieces and draw.random() < READ_ALOUD else sentence(draw, reader)
        if text in said or not _fits(text) or means_something(text, reader):
            continue
        said.add(text)
        length += len(text)
        yield {"file": f"{casting.name}-{len(said):05d}", "text": text, **casting.draw(draw)}


def _fits(text: str) -> bool:
    return "'" not in text and WORDS[0] <= len(text.split()) <= WORDS[1]


def _pieces(prose: tuple[str, ...], draw: random.Random) -> Iterator[str]:
    """Prose in pieces of a breath or two, in no order."""
    texts = [text.split() for text in draw.sample(prose, len(prose))]
    for words in texts:
        length = draw.randint(8, 30)
        yield from (" ".join(words[at : at + length]) for at in range(0, len(words) - 3, length))


class Casting:
    """Who speaks a script."""

    def __init__(self, name: str, voices: tuple[str, ...], accents: tuple[str, ...]) -> None:
        self.name, self._voices, self._accents = name, voices, accents

    def draw(self, draw: random.Random) -> dict:
        voice, accent = draw.choice(self._voices), draw.choice(self._accents)
        return {"voices": {voice: 1.0}, "dialect": accent, "speed": round(draw.triangular(0.85, 1.3, 1.08), 2)}


def main() -> None:
    from voicelog.visiting import open_visit_or_demo

    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("file", type=Path)
    asked.add_argument("--characters", type=int, default=250_000)
    asked.add_argument("--prose", type=Path)
    given = asked.parse_args()
    reader = open_visit_or_demo(None).reader
    synthetic = tomllib.loads((data_folder("shared") / "splits.toml").read_text(encoding="utf-8"))["synthetic"]
    held_out = Casting("chatter", tuple(synthetic["voices"]), ACCENTS + 3 * tuple(synthetic["accents"]))
    lines = script(random.Random("chatter script"), reader, given.characters, held_out, _texts(given.prose))
    given.file.write_text("".join(json.dumps(line) + "\n" for line in lines), encoding="utf-8")


def _texts(index: Path | None) -> tuple[str, ...]:
    rows = map(json.loads, index.read_text(encoding="utf-8").splitlines()) if index else ()
    return tuple(row["text"] for row in rows if row.get("corpus") == "mini-librispeech")


if __name__ == "__main__":
    main()
