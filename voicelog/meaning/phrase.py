"""The phrase syntax of the grammar files, and the tree it stands for.

earth leakage       words in this order
(zed|zee) s         one of several
[earth] leakage     may be left out
"""

import re
from collections.abc import Iterable
from dataclasses import dataclass

from voicelog.errors import GrammarError


@dataclass(frozen=True)
class Say:
    """One spoken word."""

    word: str


@dataclass(frozen=True)
class Sequence:
    """Parts said one after the other; no parts at all is silence."""

    parts: tuple["Phrase", ...]


@dataclass(frozen=True)
class OneOf:
    """One of several ways to say it."""

    ways: tuple["Phrase", ...]


@dataclass(frozen=True)
class Repeat:
    """The part once or more."""

    part: "Phrase"


@dataclass(frozen=True)
class Repaired:
    """The part, or the part again after a word of repair, as often as need be: "seven, no wait, seven point two"."""

    part: "Phrase"
    repair: "Phrase"


@dataclass(frozen=True)
class Tagged:
    """A part that means something: ``name`` is what it fills, ``value`` with what.

    A tag without a value stands for the very words said.
    """

    part: "Phrase"
    name: str
    value: str | None = None


@dataclass(frozen=True)
class Costly:
    """A part less likely than its neighbours, by ``cost`` nats."""

    part: "Phrase"
    cost: float


Phrase = Say | Sequence | OneOf | Repeat | Repaired | Tagged | Costly
SILENCE = Sequence(())


def sequence(*parts: Phrase) -> Phrase:
    """Parts in order."""
    return parts[0] if len(parts) == 1 else Sequence(tuple(parts))


def one_of(ways: Iterable[Phrase]) -> Phrase:
    """One of the ways, in the order given and each only once."""
    distinct = tuple(dict.fromkeys(ways))
    return distinct[0] if len(distinct) == 1 else OneOf(distinct)


def optional(part: Phrase, cost: float = 0.0) -> Phrase:
    """The part, or nothing."""
    return OneOf((SILENCE, Costly(part, cost) if cost else part))


def words(text: str) -> Phrase:
    """Plain words, without any syntax."""
    return sequence(*(Say(word) for word in text.split()))


_TOKEN = re.compile(r"[a-z']+|[()\[\]|]")


def read_phrase(text: str, where: str = "") -> Phrase:
    """Read one phrase of a grammar file.

    Raises GrammarError when the text holds anything but lower-case words and balanced brackets.
    """
    tokens = _TOKEN.findall(text)
    if "".join(tokens) != re.sub(r"\s+", "", text):
        raise GrammarError(
            f"the phrase {text!r} holds something other than lower-case words and ( | ) [ ].", where=where
        )
    phrase, rest = _read_ways(tokens, text, where)
    if rest:
        raise GrammarError(f"the phrase {text!r} closes a bracket that was never opened.", where=where)
    return phrase


def read_phrases(texts: Iterable[str], where: str = "") -> Phrase:
    """One of several phrases."""
    return one_of(read_phrase(text, where) for text in texts)


def _read_ways(tokens: list[str], text: str, where: str) -> tuple[Phrase, list[str]]:
    ways = []
    while True:
        part, tokens = _read_sequence(tokens, text, where)
        ways.append(part)
        if not tokens or tokens[0] != "|":
            return one_of(ways), tokens
        tokens = tokens[1:]


def _read_sequence(tokens: list[str], text: str, where: str) -> tuple[Phrase, list[str]]:
    parts = []
    while tokens and tokens[0] not in ")]|":
        token, tokens = tokens[0], tokens[1:]
        if token in "([":
            part, tokens = _read_bracket(token, tokens, text, where)
            parts.append(part)
        else:
            parts.append(Say(token))
    if not parts:
        raise GrammarError(f"the phrase {text!r} has an empty part.", where=where)
    return sequence(*parts), tokens


def _read_bracket(opening: str, tokens: list[str], text: str, where: str) -> tuple[Phrase, list[str]]:
    closing = {"(": ")", "[": "]"}[opening]
    part, tokens = _read_ways(tokens, text, where)
    if not tokens or tokens[0] != closing:
        raise GrammarError(f"the phrase {text!r} opens {opening} without closing it.", where=where)
    return (optional(part) if opening == "[" else part), tokens[1:]


def spellings(phrase: Phrase) -> list[tuple[str, ...]]:
    """Every way to say a phrase, in order. Only for phrases without Repeat."""
    match phrase:
        case Say(word):
            return [(word,)]
        case Sequence(parts):
            said = [()]
            for part in parts:
                said = [before + after for before in said for after in spellings(part)]
            return said
        case OneOf(ways):
            return [way for one in ways for way in spellings(one)]
        case Tagged(part) | Costly(part):
            return spellings(part)
    raise TypeError("a phrase that repeats has no end of spellings")


def first_spelling(phrase: str) -> str:
    """The fullest first way to say a phrase: the one the program says back."""
    said = spellings(read_phrase(phrase))
    first = said[0] if said[0] and len(said[0]) >= len(said[-1]) else said[-1]
    return " ".join(first)
