"""Numbers, both ways: what was said becomes an exact Decimal, and a Decimal is said back digit by digit.

The two directions live together because what is said back must read as what
was heard. Digits after the point are kept as spoken, so 2.50 is not 2.5.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from functools import cached_property
from pathlib import Path

from voicelog.errors import GrammarError
from voicelog.meaning.phrase import (
    Costly,
    Phrase,
    Repeat,
    Say,
    Tagged,
    first_spelling,
    one_of,
    optional,
    read_phrases,
    sequence,
)
from voicelog.model import Comparison, Number
from voicelog.resources import read_toml

# Rarer ways to say a number, in nats: they keep the ear from preferring them to plain ones.
RARE = 1.0


WHOLE = {"digits": range(10), "teens": range(10, 20), "tens": range(20, 100, 10), "scales": (100, 1000)}


@dataclass(frozen=True)
class NumberWords:
    """The words of grammars/numbers.toml: word -> what it stands for."""

    digits: dict[str, str]
    teens: dict[str, int]
    tens: dict[str, int]
    scales: dict[str, int]
    repeats: dict[str, int]
    point: tuple[str, ...]
    comparison: dict[Comparison, tuple[str, ...]]
    spoken_digit: dict[str, str]  # digit -> the word said back

    @cached_property
    def spoken_comparison(self) -> dict[Comparison, str]:
        """The first way to say each sign is the one said back."""
        return {Comparison.EQUAL: ""} | {sign: first_spelling(said[0]) for sign, said in self.comparison.items()}


def load_number_words(file: Path) -> NumberWords:
    """Read grammars/numbers.toml. Raises GrammarError naming the file."""
    try:
        table = read_toml(file.read_text(encoding="utf-8"))
        for kind, values in WHOLE.items():
            _look(table[kind], kind, values)
        return NumberWords(
            digits=_by_word(table["digits"], str),
            teens=_by_word(table["teens"], int),
            tens=_by_word(table["tens"], int),
            scales=_by_word(table["scales"], int),
            repeats=_by_word(table["repeats"], int),
            point=tuple(table["point"]["."]),
            comparison={Comparison(sign): _read(said, sign) for sign, said in table["comparison"].items()},
            spoken_digit={digit: said[0] for digit, said in table["digits"].items()},
        )
    except (OSError, LookupError, ValueError, TypeError, AttributeError) as error:
        raise GrammarError(f"the number words cannot be read ({error}).", where=file.name) from error


def _look(table: dict[str, list[str]], kind: str, values: Iterable[int]) -> None:
    """Raises ValueError where a number lacks its words, or a word is none."""
    if wrong := set(table) ^ {str(value) for value in values}:
        raise ValueError(f"[{kind}] has a number too many or too few: {min(wrong)}")
    for number, said in table.items():
        if not isinstance(said, list) or not said or not all(isinstance(word, str) and word.isalpha() for word in said):
            raise ValueError(f"[{kind}] {number} must be a list of words")


def _read(said: list[str], sign: str) -> tuple[str, ...]:
    """The phrases of a sign. Raises ValueError where there are none, GrammarError for one that does not read."""
    if not isinstance(said, list) or not said:
        raise ValueError(f"[comparison] {sign} must be a list of phrases")
    read_phrases(said, f"numbers.toml, {sign}")
    return tuple(said)


def _by_word(table: dict[str, list[str]], kind: type) -> dict:
    return {word: kind(meant) for meant, said in table.items() for word in said}


# ---------------------------------------------------------------- words -> number


class _NotANumber(Exception):
    pass


def read_number(said: tuple[str, ...], words: NumberWords) -> Decimal | None:
    """The exact number that the words say; None when they say none, or could say two.

    >>> read_number(("two", "point", "five", "zero"), words)  # Decimal("2.50")
    """
    try:
        return Decimal(_figure(said, words))
    except _NotANumber:
        return None


def _figure(said: tuple[str, ...], words: NumberWords) -> str:
    if said == ("oh",):  # alone it is an exclamation, and one sound away from "no"
        raise _NotANumber
    points = [index for index, word in enumerate(said) if word in words.point]
    if len(points) > 1 or not said:
        raise _NotANumber
    if not points:
        return _whole(said, words)
    before, after = said[: points[0]], said[points[0] + 1 :]
    return f"{_whole(before, words) if before else '0'}.{_fraction(after, words)}"


def _whole(said: tuple[str, ...], words: NumberWords) -> str:
    if all(word in words.digits or word in words.repeats for word in said):
        figures = _digit_string(said, words)
        if len(figures) > 1 and figures.startswith("0"):  # no instrument shows 05: a word was lost
            raise _NotANumber
        return figures
    return str(_natural(said, words))


def _fraction(said: tuple[str, ...], words: NumberWords) -> str:
    """Digits after the point, one by one, or a single two-digit number ("point twenty seven")."""
    if not said:
        raise _NotANumber
    if all(word in words.digits or word in words.repeats for word in said):
        return _digit_string(said, words)
    return str(_two_digits(said, words))


def _digit_string(said: tuple[str, ...], words: NumberWords) -> str:
    figures, times = [], 1
    for word in said:
        if word in words.repeats:
            if times != 1:
                raise _NotANumber
            times = words.repeats[word]
        else:
            figures.append(words.digits[word] * times)
            times = 1
    if times != 1:  # "double" with nothing behind it
        raise _NotANumber
    return "".join(figures)


def _natural(said: tuple[str, ...], words: NumberWords) -> int:
    thousand = _position(said, words, 1000)
    if thousand is None:
        return _hundreds(said, words)
    above = _count(said[:thousand], words)
    rest = said[thousand + 1 :]
    if not rest:
        return above * 1000
    joined = rest[1:] if rest[0] == "and" else rest
    below = _hundreds(joined, words)
    if rest[0] == "and" and below > 99 or below == 0:
        raise _NotANumber
    return above * 1000 + below


def _hundreds(said: tuple[str, ...], words: NumberWords) -> int:
    hundred = _position(said, words, 100)
    if hundred is None:
        return _below_a_thousand(said, words)
    above = _count(said[:hundred], words)
    rest = said[hundred + 1 :]
    if rest and rest[0] == "and":
        rest = rest[1:]
        if not rest:
            raise _NotANumber
    return above * 100 + (_two_digits(rest, words, one_figure=True) if rest else 0)


def _below_a_thousand(said: tuple[str, ...], words: NumberWords) -> int:
    """Twenty seven; or, as the trade says it, two thirty (230) and one fifty (150)."""
    if len(said) > 1 and said[0] in words.digits and words.digits[said[0]] != "0":
        return int(words.digits[said[0]]) * 100 + _two_digits(said[1:], words)
    return _two_digits(said, words, one_figure=True)


def _two_digits(said: tuple[str, ...], words: NumberWords, one_figure: bool = False) -> int:
    """Ten to ninety nine; one to nine too where ``one_figure`` allows."""
    match said:
        case (word,) if word in words.teens:
            return words.teens[word]
        case (word,) if word in words.tens:
            return words.tens[word]
        case (word,) if one_figure and words.digits.get(word, "0") != "0":
            return int(words.digits[word])
        case (ten, unit) if ten in words.tens and words.digits.get(unit, "0") != "0":
            return words.tens[ten] + int(words.digits[unit])
    raise _NotANumber


def _count(said: tuple[str, ...], words: NumberWords) -> int:
    """How many hundreds or thousands: "a", or one to ninety nine."""
    if said == ("a",):
        return 1
    return _two_digits(said, words, one_figure=True)


def _position(said: tuple[str, ...], words: NumberWords, scale: int) -> int | None:
    places = [index for index, word in enumerate(said) if words.scales.get(word) == scale]
    if len(places) > 1:
        raise _NotANumber
    return places[0] if places else None


# ---------------------------------------------------------------- number -> words


def say_number(number: Number, words: NumberWords) -> str:
    """Digit by digit, zeros kept: 2.50 is "two point five zero", > 200 "greater than two zero zero"."""
    figure = format(number.figure, "f")
    spoken = [words.point[0] if sign == "." else words.spoken_digit[sign] for sign in figure]
    return " ".join([*words.spoken_comparison[number.comparison].split(), *spoken])


# ---------------------------------------------------------------- the phrase of a number


def number_phrase(words: NumberWords, decimals: int) -> Phrase:
    """Every way to say a number with at most ``decimals`` digits after the point, tagged ``number``.

    Wider than what reads as a number: ``read_number`` has the last word.
    """
    whole = _whole_phrase(words)
    if decimals == 0:
        return Tagged(whole, "number")
    point = one_of(Say(word) for word in words.point)
    fraction = sequence(point, _fraction_phrase(words))
    return Tagged(one_of([sequence(whole, optional(fraction)), fraction]), "number")


def _digit_phrase(words: NumberWords) -> Phrase:
    return one_of(Say(word) for word in words.digits)


def _digits_phrase(words: NumberWords) -> Phrase:
    repeat = one_of(Say(word) for word in words.repeats)
    return Repeat(sequence(optional(repeat, RARE), _digit_phrase(words)))


def _non_zero(words: NumberWords) -> Phrase:
    return one_of(Say(word) for word, digit in words.digits.items() if digit != "0")


def _two_digits_phrase(words: NumberWords) -> Phrase:
    tens = one_of(Say(word) for word in words.tens)
    return one_of([one_of(Say(word) for word in words.teens), sequence(tens, optional(_non_zero(words)))])


def _whole_phrase(words: NumberWords) -> Phrase:
    two, one = _two_digits_phrase(words), _non_zero(words)
    below_hundred = one_of([two, one])
    hundred, thousand = (one_of(Say(word) for word, scale in words.scales.items() if scale == s) for s in (100, 1000))
    count = one_of([Say("a"), below_hundred])
    rest = optional(sequence(optional(Say("and")), below_hundred))
    hundreds = sequence(count, hundred, rest)
    thousands = sequence(count, thousand, optional(one_of([hundreds, sequence(optional(Say("and")), below_hundred)])))
    colloquial = Costly(sequence(one, two), RARE)
    return one_of([_digits_phrase(words), two, hundreds, Costly(thousands, RARE), colloquial])


def _fraction_phrase(words: NumberWords) -> Phrase:
    return one_of([_digits_phrase(words), Costly(_two_digits_phrase(words), RARE)])


def comparison_phrase(words: NumberWords) -> Phrase:
    """Greater than, less than; tagged ``comparison``."""
    return one_of(
        Tagged(read_phrases(said, "numbers.toml"), "comparison", sign.value) for sign, said in words.comparison.items()
    )
