"""How words are said by each voice: a small table first, the voice's own dictionary after it.

The table is ``grammars/voice.toml``, which explains its own syntax. The natural voice was taught with American
phonemes only: four symbols of its British dictionary (ɒ, a, Q and the length mark) were never trained, and its "four"
without R was heard as "five" in 20 trials of 27 by an independent recogniser. So British pronunciations are respelt
with symbols that it knows, and R is put back where the spelling has one after that vowel.
"""

import re
from collections.abc import Callable, Mapping
from pathlib import Path

from voicelog.errors import GrammarError
from voicelog.resources import data_folder, read_toml

LONGEST_RUN = 5  # words in the longest key: "r one plus r two"
WORD = re.compile(r"^(?P<word>.*?)(?P<mark>[,;:.?!]*)$")
NORTH_R = re.compile(r"[ao][aou]?r", re.IGNORECASE)  # board, four, quarter, store
VOWEL_R = re.compile(r"[aeiou]r", re.IGNORECASE)  # near, cure; not aluminium, actual
RESPELT = (
    ("ɪəɹ", "ɪɹ"),
    ("ɪə", "ɪɹ"),
    ("ɛːɹ", "ɛɹ"),
    ("ɛː", "ɛɹ"),
    ("ʊə", "ʊɹ"),
    ("ɜːɹ", "ɜɹ"),
    ("ɜː", "ɜɹ"),
    ("Q", "O"),
    ("a", "æ"),
    ("ɒ", "ɑ"),
    ("ː", ""),
)

Table = Mapping[str, str]


def spoken_words(voice: str, folder: Path | None = None) -> Table:
    """The table of one voice, ``natural`` or ``espeak``. Raises GrammarError when the file breaks its rules."""
    file = (folder or data_folder("grammars")) / "voice.toml"
    try:
        table = read_toml(file.read_text(encoding="utf-8"))[voice]
    except (OSError, ValueError, KeyError) as broken:
        raise GrammarError(f"the voice's words cannot be read: {broken}.", where=str(file)) from broken
    if not isinstance(table, dict):
        raise GrammarError("the words of a voice are a table of its own.", where=f"{file.name} [{voice}]")
    wrong = [key for key, value in table.items() if not isinstance(value, str) or not value or key != key.lower()]
    if wrong:
        raise GrammarError(f"the entry {wrong[0]!r} must be lower case and hold text.", where=f"{file.name} [{voice}]")
    return table


def say_words(clause: str, table: Table, otherwise: Callable[[str], str]) -> str:
    """The clause with each longest run of words in ``table`` replaced, and other words through ``otherwise``."""
    words = [WORD.match(word).group("word", "mark") for word in clause.split()]
    said, at = [], 0
    while at < len(words):
        length = _longest(words[at : at + LONGEST_RUN], table)
        run = words[at : at + max(length, 1)]
        text = " ".join(word for word, _ in run)
        said.append((table[text.lower()] if length else otherwise(text)) + run[-1][1])
        at += len(run)
    return " ".join(said)


def _longest(words: list[tuple[str, str]], table: Table) -> int:
    """How many of these words, from the first, make the longest key; a mark ends a run."""
    reach = next((count for count, (_, mark) in enumerate(words, start=1) if mark), len(words))
    lengths = range(reach, 0, -1)
    return next((n for n in lengths if " ".join(word for word, _ in words[:n]).lower() in table), 0)


def respell(british: str, spelling: str) -> str:
    """British phonemes in symbols that the natural voice was taught. ``spelling`` decides where R is put back."""
    north = "ɔɹ" if NORTH_R.search(spelling) else "ɔ"
    phonemes = british.replace("ɔːɹ", "ɔɹ").replace("ɔː", north)
    if not VOWEL_R.search(spelling):
        phonemes = phonemes.replace("ɪə", "iə").replace("ʊə", "uə")
    for old, new in RESPELT:
        phonemes = phonemes.replace(old, new)
    return phonemes
