"""How words are pronounced: the file of the trade first, then the dictionaries that come with the voice.

A word that is not in ``grammars/pronunciations.toml`` is read both in American
and in British English by ``hibari.g2p`` (dictionaries, and a net for words
that they lack): the acoustic model learnt its phones from American readings,
and speakers in Britain say many words otherwise. Each way is also taken without the R
that no vowel follows.
"""

import hashlib
import re
import unicodedata
from collections.abc import Callable, Iterable
from functools import cached_property
from pathlib import Path

from voicelog.errors import GrammarError, ModelError
from voicelog.hearing.phones import PHONES, Pronunciation, non_rhotic
from voicelog.resources import data_folder, read_toml

FILE = "pronunciations.toml"

# The voice's phonemes (one sign each, American and British), longer strings first. Other signs are stress
# or length and stand for no phone.
FROM_VOICE = {
    "əɹ": "ER", "ɜɹ": "ER", "ɜ": "ER", "A": "EY", "I": "AY", "O": "OW", "Q": "OW", "W": "AW", "Y": "OY",
    "ʤ": "JH", "ʧ": "CH", "ɡ": "G", "ɹ": "R", "ɾ": "T", "T": "T", "ᵊ": "AH", "ᵻ": "IH", "a": "AE", "æ": "AE",
    "ɑ": "AA", "ɒ": "AA", "ɔ": "AO", "ə": "AH", "ɐ": "AH", "ʌ": "AH", "ɛ": "EH", "e": "EH", "i": "IY", "ɪ": "IH",
    "u": "UW", "ʊ": "UH", "ŋ": "NG", "ʃ": "SH", "ʒ": "ZH", "θ": "TH", "ð": "DH", "j": "Y", "h": "HH", "x": "K",
    "b": "B", "d": "D", "f": "F", "k": "K", "l": "L", "m": "M", "n": "N", "p": "P", "s": "S", "t": "T", "v": "V",
    "w": "W", "z": "Z",
}  # fmt: skip
_SIGNS = re.compile("|".join(FROM_VOICE))
_WORD = re.compile(r"[a-z']*[a-z][a-z']*")


class Lexicon:
    """Pronunciations by word; ``reader`` is asked for a word that ``table`` lacks."""

    def __init__(
        self,
        table: dict[str, tuple[Pronunciation, ...]],
        reader: Callable[[str], tuple[Pronunciation, ...]] | None = None,
    ) -> None:
        self._table = table
        self._known = {word: with_dropped_r(ways) for word, ways in table.items()}
        self._reader = reader

    def pronounce(self, word: str) -> tuple[Pronunciation, ...]:
        """Every way to say ``word``, the usual one first. Raises ModelError when there is none."""
        if word not in self._known:
            self._known[word] = with_dropped_r(self._read(word))
        return self._known[word]

    def with_own(self, own: dict[str, tuple[Pronunciation, ...]]) -> "Lexicon":
        """The same, and how one person says some words as well: their own way first."""
        table = {word: (*ways, *self.pronounce(word)) for word, ways in own.items()}
        return Lexicon({**self._table, **table}, self._reader)

    def digest(self) -> str:
        """Changes with the table; words of the reader follow from their spelling."""
        return hashlib.sha256(repr(sorted(self._table.items())).encode()).hexdigest()

    def _read(self, word: str) -> tuple[Pronunciation, ...]:
        plain = "".join(sign for sign in unicodedata.normalize("NFKD", word) if not unicodedata.combining(sign))
        ways = self._reader(plain) if self._reader and _WORD.fullmatch(plain) else ()
        if not ways:
            raise ModelError(
                f"the word {word!r} cannot be pronounced.",
                where=FILE,
                do=f"Write it as it sounds, in lower-case letters, or give its pronunciation in grammars/{FILE}.",
            )
        return ways


def bundled_lexicon() -> Lexicon:
    """The pronunciations of the trade, and the voice's dictionaries for all other words."""
    return Lexicon(read_pronunciations(data_folder("grammars") / FILE), VoiceReader())


def with_dropped_r(ways: Iterable[Pronunciation]) -> tuple[Pronunciation, ...]:
    """The ways, each followed by what a speaker says who drops R where no vowel follows."""
    both = (variant for way in ways for variant in (way, non_rhotic(way)))
    return tuple(dict.fromkeys(way for way in both if way))


def read_pronunciations(file: Path) -> dict[str, tuple[Pronunciation, ...]]:
    """``zed = "Z EH D"`` a line; raises GrammarError naming file and word."""
    try:
        entries = read_toml(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise GrammarError(f"the pronunciations cannot be read: {error}.", where=str(file)) from None
    return {word: _ways(word, said, str(file)) for word, said in entries.items()}


def _ways(word: str, said: object, where: str) -> tuple[Pronunciation, ...]:
    ways = tuple(tuple(way.split()) for way in said.split("|")) if isinstance(said, str) else ((),)
    unknown = sorted({phone for way in ways for phone in way} - set(PHONES))
    if unknown or not all(ways):
        wrong = f"{', '.join(unknown)} is not a phone" if unknown else "a way without phones"
        raise GrammarError(f"the pronunciation of {word!r} cannot be used: {wrong}.", where=where)
    return ways


def phones_of(phonemes: str) -> Pronunciation:
    """The voice's phonemes as phones of the acoustic model."""
    return tuple(FROM_VOICE[sign] for sign in _SIGNS.findall(phonemes))


class VoiceReader:
    """Reads a word with the dictionaries and nets of ``hibari.g2p``; they are loaded when the first word is asked."""

    def __call__(self, word: str) -> tuple[Pronunciation, ...]:
        ways = (phones_of(reader(word)) for reader in self._readers)
        return tuple(dict.fromkeys(way for way in ways if way))

    @cached_property
    def _readers(self) -> tuple[Callable[[str], str], ...]:
        from hibari.g2p import G2P

        return G2P(british=False), G2P(british=True)
