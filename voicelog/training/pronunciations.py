"""How training texts are spoken: the pronouncing dictionary, its gaps filled, and one way drawn for each utterance.

The dictionary is the public-domain Carnegie Mellon one, as the ``pocketsphinx``
wheel carries it. Words that it lacks are joined from two that it has, or spelt
by eSpeak NG. British readers drop R where no vowel follows.
"""

import importlib.resources
import json
import random
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from voicelog.hearing.phones import PHONE_ID, Pronunciation, non_rhotic

FIRST_WAY = 0.75  # how often the dictionary's first pronunciation is drawn where there are several
LETTER_A: Pronunciation = ("EY",)
NUMBER_WORDS = frozenset(
    {"zero", "oh", "nought", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "niner", "ten"}
    | {"double", "triple"}
)  # after which, or before which, a lone "a" is the letter
BEFORE_A_LETTER = frozenset({"type", "board", "circuit"})

# Words of the trade and British ways that the dictionary lacks ("|" parts the ways).
TRADE = {
    "nought": "N AO T", "megohm": "M EH G OW M", "megohms": "M EH G OW M Z", "kilohms": "K IH L OW M Z",
    "kilohm": "K IH L OW M", "gigohms": "G IH G OW M Z", "milliohms": "M IH L IY OW M Z",
    "milliamp": "M IH L IY AE M P", "milliamps": "M IH L IY AE M P S", "kiloamps": "K IY L OW AE M P S",
    "kilovolts": "K IH L OW V OW L T S", "microamps": "M AY K R OW AE M P S", "millivolts": "M IH L IY V OW L T S",
    "amps": "AE M P S", "anticlockwise": "AE N T IY K L AA K W AY Z", "wilco": "W IH L K OW",
    "gg": "JH IY JH IY", "niner": "N AY N ER", "zed": "Z EH D", "z": "Z IY|Z EH D", "rcd": "AA R S IY D IY",
    "metres": "M IY T ER Z", "millimetres": "M IH L IH M IY T ER Z", "w": "D AH B AH L Y UW",
    "h": "EY CH|HH EY CH",
}  # fmt: skip

# eSpeak NG's American phonemes, longest first.
FROM_IPA = (
    ("tʃ", "CH"), ("dʒ", "JH"), ("aɪ", "AY"), ("aʊ", "AW"), ("eɪ", "EY"), ("oʊ", "OW"), ("ɔɪ", "OY"), ("ɑːɹ", "AA R"),
    ("ɔːɹ", "AO R"), ("oːɹ", "AO R"), ("ɛɹ", "EH R"), ("ɪɹ", "IH R"), ("ʊɹ", "UH R"), ("ɜː", "ER"), ("ɚ", "ER"),
    ("iː", "IY"), ("uː", "UW"), ("ɑː", "AA"), ("ɔː", "AO"), ("ɹ", "R"), ("i", "IY"), ("u", "UW"), ("æ", "AE"),
    ("ɐ", "AH"), ("ə", "AH"), ("ʌ", "AH"), ("ɛ", "EH"), ("e", "EH"), ("ɪ", "IH"), ("ᵻ", "IH"), ("ʊ", "UH"),
    ("ɑ", "AA"), ("ɔ", "AO"), ("o", "OW"), ("a", "AE"), ("b", "B"), ("d", "D"), ("ð", "DH"), ("f", "F"), ("ɡ", "G"),
    ("h", "HH"), ("k", "K"), ("l", "L"), ("m", "M"), ("n", "N"), ("ŋ", "NG"), ("p", "P"), ("s", "S"), ("ʃ", "SH"),
    ("t", "T"), ("ɾ", "T"), ("θ", "TH"), ("v", "V"), ("w", "W"), ("j", "Y"), ("z", "Z"), ("ʒ", "ZH"), ("x", "K"),
)  # fmt: skip


def from_ipa(ipa: str) -> Pronunciation:
    """eSpeak NG's American IPA as phones; marks that stand for no phone are passed over."""
    phones, place = [], 0
    while place < len(ipa):
        symbol, ours = next((pair for pair in FROM_IPA if ipa.startswith(pair[0], place)), (ipa[place], ""))
        phones += ours.split()
        place += len(symbol)
    return tuple(phones)


def read_dictionary(lines: Iterable[str]) -> dict[str, tuple[Pronunciation, ...]]:
    """``either IY DH ER`` and ``either(2) AY DH ER``, one a line -> every way of each word."""
    ways: dict[str, list[Pronunciation]] = {}
    for line in lines:
        word, *phones = line.split()
        ways.setdefault(re.sub(r"\(\d+\)$", "", word), []).append(tuple(phones))
    return {word: tuple(found) for word, found in ways.items()}


def bundled_dictionary() -> dict[str, tuple[Pronunciation, ...]]:
    """The Carnegie Mellon dictionary out of the pocketsphinx wheel, with the trade's words."""
    file = importlib.resources.files("pocketsphinx") / "model" / "en-us" / "cmudict-en-us.dict"
    trade = {word: tuple(tuple(way.split()) for way in ways.split("|")) for word, ways in TRADE.items()}
    return read_dictionary(file.read_text().splitlines()) | trade


def joined_from_two(word: str, dictionary: dict[str, tuple[Pronunciation, ...]]) -> tuple[Pronunciation, ...]:
    """``snow`` and ``man`` for ``snowman``; nothing where no two known words (of four and three letters) do."""
    for cut in range(4, len(word) - 2 if word.isalpha() else 0):
        first, second = word[:cut], word[cut:]
        if first in dictionary and second in dictionary:
            return (dictionary[first][0] + dictionary[second][0],)
    return ()


@dataclass(frozen=True)
class Lexicon:
    """Every word of the training texts with its ways of being said in America."""

    ways: dict[str, tuple[Pronunciation, ...]]

    def __contains__(self, word: str) -> bool:
        return word in self.ways

    def draw(self, text: str, british: bool, rng: random.Random) -> tuple[int, ...]:
        """The phone numbers of one way of saying ``text``. Raises KeyError for an unknown word."""
        words = text.split()
        phones: list[str] = []
        for place, word in enumerate(words):
            phones += LETTER_A if word == "a" and is_letter_a(words, place) else self._one_way(word, rng)
        spoken = non_rhotic(tuple(phones)) if british else phones
        return tuple(PHONE_ID[phone] for phone in spoken)

    def every_way(self, word: str) -> tuple[Pronunciation, ...]:
        """All ways, the letter's among those of a lone "a". Raises KeyError for an unknown word."""
        return (*self.ways[word], LETTER_A) if word == "a" else self.ways[word]

    def _one_way(self, word: str, rng: random.Random) -> Pronunciation:
        ways = self.ways[word]
        return ways[0] if len(ways) == 1 or rng.random() < FIRST_WAY else rng.choice(ways[1:])


def is_letter_a(words: list[str], place: int) -> bool:
    """Whether the lone "a" at ``place`` is the letter: beside other letters or digits, or after "type"."""
    beside = words[max(0, place - 1) : place] + words[place + 1 : place + 2]
    spelt = any(len(word) == 1 and word != "i" or word in NUMBER_WORDS or word == "zed" for word in beside)
    return len(words) == 1 or spelt or (place > 0 and words[place - 1] in BEFORE_A_LETTER)


def lexicon_for(texts: Iterable[str]) -> Lexicon:
    """The words of ``texts``; those that the dictionary lacks are joined from two or spelt by eSpeak NG."""
    from voicelog.training.synthesis import Phonemiser

    dictionary, phonemiser = bundled_dictionary(), Phonemiser()
    ways = {}
    for word in sorted({word for text in texts for word in text.split()}):
        found = dictionary.get(word) or joined_from_two(word, dictionary)
        ways[word] = found or (from_ipa(phonemiser.ipa(word, "en-us")),)
    return Lexicon({word: found for word, found in ways.items() if all(found)})


def write_lexicon(lexicon: Lexicon, file: Path) -> None:
    file.write_text(json.dumps({word: [" ".join(way) for way in ways] for word, ways in lexicon.ways.items()}))


def read_lexicon(file: Path) -> Lexicon:
    table = json.loads(file.read_text())
    return Lexicon({word: tuple(tuple(way.split()) for way in ways) for word, ways in table.items()})
