"""Which phrases a person is asked to say: the trade's own, few, and between them everything worth hearing.

Every phone several times, every word for a digit, and both words of every
pair that is easily confused. Chosen greedily: at each turn the phrase that
brings most of what is still wanted for each second it takes to say.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from voicelog.learning.alignment import Pronounce
from voicelog.meaning.grammar import Grammar, Quantity
from voicelog.meaning.phrase import first_spelling

# Words of the trade that differ in a phone or two; common practice among people who take readings by voice.
CONFUSABLE = (
    ("five", "nine"), ("one", "nine"), ("oh", "four"), ("two", "three"), ("six", "seven"), ("thirteen", "thirty"),
    ("fourteen", "forty"), ("fifteen", "fifty"), ("sixteen", "sixty"), ("seventeen", "seventy"),
    ("eighteen", "eighty"), ("nineteen", "ninety"), ("ohms", "megohms"), ("milliamps", "microamps"),
)  # fmt: skip
DIGITS = ("zero", "nought", "oh", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "point")
COMPARED = ("greater", "less", "than", "over", "range")
EACH_PHONE = 4  # times
EACH_WORD = 2  # times, for confusable words and those without which a value is another
EACH_DIGIT = 3  # times, in ever other company
PROWORDS = ("affirm", "negative", "correction", "disregard", "again", "resume", "stand")  # said on the air
ANSWER = 2.0  # what an answer weighs; a word that a single phrase holds weighs one
PHONES_A_SECOND = 11.0  # of careful speech
ABOVE = 0.2  # share of values said to be greater or less than a figure
CONDITION = 0.4  # share of readings said with their condition, where they have one
AROUND_S = 0.5  # of silence before and after a phrase
LONGEST_PHRASE = 12  # words
CANDIDATES = 400


@dataclass
class Needs:
    """What is still wanted: phones and words, each so many times; what few phrases hold weighs more."""

    wanted: Counter[str] = field(default_factory=Counter)
    weight: dict[str, float] = field(default_factory=dict)

    def worth(self, parts: Counter[str]) -> float:
        held = ((part, min(count, self.wanted[part])) for part, count in parts.items() if self.wanted[part] > 0)
        return sum(count * self.weight[part] for part, count in held)

    def take(self, parts: Counter[str]) -> None:
        for part, count in parts.items():
            if part in self.wanted:
                self.wanted[part] -= count


def phrase_plan(grammar: Grammar, pronounce: Pronounce, minutes: float = 2.0, seed: int = 0) -> tuple[str, ...]:
    """Phrases to be said in about ``minutes``; the most telling come first, so that stopping early loses least.

    Raises ModelError for a word of the grammar without pronunciation.
    """
    candidates = list(dict.fromkeys(_candidates(grammar, np.random.default_rng(seed))))
    parts = {phrase: _parts(phrase, pronounce) for phrase in candidates}
    needs, chosen, seconds = _needs(parts), [], 0.0
    while candidates and seconds < minutes * 60:
        best = max(candidates, key=lambda phrase: needs.worth(parts[phrase]) / _seconds(parts[phrase]))
        if needs.worth(parts[best]) == 0:
            needs = _needs(parts)  # everything was heard: once more, in other company
        candidates.remove(best)
        chosen.append(best)
        needs.take(parts[best])
        seconds += _seconds(parts[best])
    return tuple(chosen)


def _parts(phrase: str, pronounce: Pronounce) -> Counter[str]:
    words = phrase.split()
    phones = [phone for word in words for phone in pronounce(word)[0]]
    return Counter([*phones, *words])


def _seconds(parts: Counter[str]) -> float:
    return AROUND_S + sum(count for part, count in parts.items() if part.isupper()) / PHONES_A_SECOND


def _needs(parts: dict[str, Counter[str]]) -> Needs:
    """Every phone that the candidates hold, digits, the words that are confused, and the answers."""
    times = {word: EACH_WORD for word in (*(word for pair in CONFUSABLE for word in pair), *PROWORDS, *COMPARED)}
    times |= dict.fromkeys(DIGITS, EACH_DIGIT)
    held = Counter(part for counts in parts.values() for part in counts)
    wanted = {part: EACH_PHONE if part.isupper() else times[part] for part in sorted(held) if _counts(part, times)}
    return Needs(Counter(wanted), {part: ANSWER if part in PROWORDS else held[part] ** -0.5 for part in wanted})


def _counts(part: str, times: dict[str, int]) -> bool:
    return part.isupper() or part in times


# ---------------------------------------------------------------- candidates


def _candidates(grammar: Grammar, rng: np.random.Generator) -> Iterator[str]:
    """Readings with their places, orders and answers, in the words of the grammar."""
    circuit = first_spelling(grammar.places.circuit[0])
    quantities = list(grammar.quantities.values())
    for number in range(CANDIDATES):
        quantity = quantities[number % len(quantities)]
        place = f"{circuit} {_count(grammar, rng)} " if number % 2 else ""
        says = f"{quantity.says} {_condition(quantity, rng)}".strip()
        phrase = f"{place}{says} {_value(grammar, quantity, rng)}".strip()
        if len(phrase.split()) <= LONGEST_PHRASE:
            yield phrase
    for command in grammar.commands.values():
        if command.takes in ("nothing", "call", "quantity"):
            yield from (f"{first_spelling(way)} {_object(command.takes, grammar, rng)}".strip() for way in command.said)


def _object(kind: str, grammar: Grammar, rng: np.random.Generator) -> str:
    """What is said after an order: a reading without its place, a quantity, or nothing."""
    quantity = list(grammar.quantities.values())[rng.integers(len(grammar.quantities))]
    value = {"nothing": "", "quantity": quantity.says}
    return value[kind] if kind in value else f"{quantity.says} {_value(grammar, quantity, rng)}"


def _condition(quantity: Quantity, rng: np.random.Generator) -> str:
    """One of its conditions as it is said, "at five hundred volts"; often none."""
    if not quantity.condition or rng.random() > CONDITION:
        return ""
    ways = [phrase for phrase in quantity.condition[0].said.values() if phrase]
    return first_spelling(str(rng.choice(ways))) if ways else ""


def _count(grammar: Grammar, rng: np.random.Generator) -> str:
    """A circuit's number as people say it: under forty."""
    words = grammar.numbers
    teens = [word for word, value in words.teens.items() if value < 20]
    digits = [word for word, digit in words.digits.items() if digit != "0"]
    tens = [word for word, value in words.tens.items() if value < 50]
    kind = rng.integers(3)
    if kind == 0:
        return str(rng.choice(digits))
    return str(rng.choice(teens)) if kind == 1 else f"{rng.choice(tens)} {rng.choice(digits)}"


def _value(grammar: Grammar, quantity: Quantity, rng: np.random.Generator) -> str:
    if quantity.value == "choice":
        return first_spelling(str(rng.choice(list(quantity.choices.values()))))
    if quantity.value == "result":
        results = [result.said[0] for result in grammar.results.values() if result.for_ in ("result", "any")]
        return first_spelling(str(rng.choice(results)))
    if quantity.over_range and rng.random() < ABOVE:
        return first_spelling(grammar.results["over_range"].said[0])
    unit = grammar.units[str(rng.choice(quantity.units))].spoken if quantity.units[0] else ""
    above = str(rng.choice(_comparisons(grammar))) + " " if quantity.over_range and rng.random() < ABOVE else ""
    return f"{above}{_figure(grammar, quantity, rng)} {unit}".strip()


def _comparisons(grammar: Grammar) -> list[str]:
    return [said for said in grammar.numbers.spoken_comparison.values() if said]


def _figure(grammar: Grammar, quantity: Quantity, rng: np.random.Generator) -> str:
    """Digits before and after the point, or a number between thirteen and ninety-nine."""
    words, digits = grammar.numbers, list(grammar.numbers.digits)
    if quantity.decimals and rng.random() < 0.6:
        after = rng.choice(digits, min(quantity.decimals, 2))
        return " ".join([str(rng.choice(digits)), words.point[0], *map(str, after)])
    kind = rng.integers(4)
    if kind == 0:
        return str(rng.choice([word for word, value in words.teens.items() if value > 12]))
    if kind == 3:
        return f"{rng.choice(digits[1:])} {next(iter(words.scales))}"
    tens = str(rng.choice(list(words.tens)))
    return tens if kind == 1 else f"{tens} {rng.choice([word for word, digit in words.digits.items() if digit != '0'])}"
