"""Phrases for synthetic training speech: what the trade says, drawn at random.

The vocabulary is the trade's (common practice); the shapes are wider than the
grammars', because the network learns sounds and not sentences.
"""

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from voicelog.meaning.network import Network


def listed(text: str) -> tuple[str, ...]:
    """What stands between bars and line ends."""
    return tuple(" ".join(item.split()) for item in text.replace("\n", "|").split("|") if item.strip())


SAMPLED = 10_000  # sentences, to know which words are seldom drawn
DIGITS = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")
TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
ZEROS = ("zero", "oh", "nought")
LETTERS = tuple("abcdefghijklmnopqrstuvwxy") + ("zed", "zed")
QUANTITIES = listed("""
    earth leakage|d c leakage|r one plus r two|r two|ring r one|ring r n|ring r two|step two|step three
    insulation line to line|insulation line to earth|insulation neutral to earth|insulation line to neutral
    insulation line and neutral to earth|line to earth|neutral to earth|line to neutral|zed e|zed s|loop impedance
    earth fault loop impedance|external impedance|prospective fault current|prospective short circuit current|p f c
    r c d half times|r c d one times|r c d five times|r c d trip time|trip time|r c d ramp|ramp|polarity
    phase rotation|phase sequence|functional|test button|voltage|line to neutral voltage|line to earth voltage
    number of points|points served|main fuse|device rating|device type|r c d rating|r c d type|bonding
    main bonding water|main bonding gas|bonding oil|bonding structural steel|electrode|electrode resistance
    earth electrode|touch current|load current|frequency|cable size|conductor size|c p c|breaking capacity
    wander lead|end to end|continuity|insulation resistance|residual current|half cycle""")
CONDITIONS = listed("""
    at two fifty volts|at five hundred volts|at one thousand volts|at zero degrees|at one hundred and eighty degrees
    line one|line two|line three|l one|l two|l three""")
UNITS = listed("""
    milliamps|ohms|megohms|kilohms|kiloamps|milliseconds|volts|amps|seconds|milliamp|ohm|megohm|gigohms|microamps
    milliohms|millivolts|kilovolts|hertz|watts|kilowatts|metres|degrees|percent|millimetres
    millimetres squared""")
PROWORDS = listed("""
    affirm|affirmative|negative|correction|disregard|say again|read back|stand by|resume|next|skip|back|yes|no
    confirm|confirmed|cancel|stop|start|go|repeat|undo|go back|next circuit|skip circuit|help|wilco|roger|copy|over|out
    how copy|last reading|delete that|scratch that|pause|continue|finish|note|louder|quieter|what is missing
    where are we|open|close|board|circuit|distribution board|consumer unit|sub main""")
RESULTS = listed("""
    pass|fail|not applicable|limitation|satisfactory|unsatisfactory|correct|incorrect|open circuit|over range|off scale
    not tested|n a|confirmed|yes|no|clockwise|anticlockwise|type b|type c|type d|type a|type a c|type f|gg
    b s eighty eight""")
ROOMS = listed("""
    kitchen|kitchen sockets|stage left lights|stage right lights|upstairs lights|downstairs sockets|cooker|shower
    immersion heater|boiler|hall lights|landing|garage|workshop|office sockets|reception|plant room|lift|fire alarm
    emergency lighting|corridor|bathroom|bedroom|dining room|lounge|conservatory|utility room|garden|outside lights
    store room|server room|air conditioning|water heater|heating|hob|oven|dishwasher|washing machine|freezer|cold room
    pump|extract fan|roller shutter|door entry|intruder alarm|smoke alarms|car charger|solar|hand dryer|ground floor
    first floor|second floor|basement|loft|cellar|car park|canteen|changing rooms|foyer|auditorium|dimmer|bar
    box office|dressing rooms|north wing|east wing|south|west|ring final|radial|lighting|sockets""")
TALK = listed("""
    can you pass me the long screwdriver please|i will be back after lunch|the van is parked round the corner
    have you seen the drawings for this floor|put the kettle on would you|they said the power goes off at four
    it is raining again outside|who moved the ladder from the stairs|give me two minutes and i will have a look
    that one is behind the cupboard on the left|the customer wants it done by friday|mind your head on that beam
    we need another drum of cable|did you lock the door behind you|somebody rang about the other job this morning
    it was working perfectly well yesterday|turn the lights on when you get there|where did you leave the torch
    hold on i have dropped it|the radio is too loud in here|that looks like an old piece of work
    let me think about that for a moment|how long will the lift be out of order|there are three of us in today
    she said they would send a new one next week|all the way down to the end of the corridor
    this job should take about half an hour|what time does the building close|watch out for the wet paint
    i thought we had finished with that side|he will ring you back when he gets home""")


LACKING = ("two", "three", "four", "six", "seven", "nine")  # in the recordings of single words by many people
IN_NUMBERS = (*ZEROS, "point", "double", "one", "five", "eight")
ONE_WORD = tuple(word for word in (*UNITS, *PROWORDS, *RESULTS) if " " not in word)
SPELLABLE = tuple(word for word in " ".join((*ROOMS, *TALK, *QUANTITIES)).split() if 2 < len(word) < 9)


@dataclass(frozen=True)
class Phrase:
    """Words as training wants them: lower case, letters apart."""

    words: str
    spelled: bool = False  # a lone "a" is the letter


def strip_words(words: str) -> str:
    return " ".join(words.split())


def digit_by_digit(digits: str, rng: random.Random) -> str:
    """ "7703" as seven seven zero three, or double seven oh three."""
    out, place = [], 0
    while place < len(digits):
        digit = digits[place]
        name = rng.choice(ZEROS) if digit == "0" else DIGITS[int(digit)]
        if digit == "9" and rng.random() < 0.06:
            name = "niner"
        run = len(digits[place:]) - len(digits[place:].lstrip(digit))
        take = 3 if run >= 3 and rng.random() < 0.4 else 2 if run >= 2 and rng.random() < 0.5 else 1
        out.append({1: "", 2: "double ", 3: "triple "}[take] + name)
        place += take
    return " ".join(out)


def cardinal(number: int) -> str:
    """0 to 999,999 as a British speaker says it."""
    if number < 10:
        return DIGITS[number]
    if number < 20:
        return TEENS[number - 10]
    if number < 100:
        return strip_words(TENS[number // 10 - 2] + " " + (DIGITS[number % 10] if number % 10 else ""))
    if number < 1000:
        rest = f" and {cardinal(number % 100)}" if number % 100 else ""
        return f"{DIGITS[number // 100]} hundred{rest}"
    rest = number % 1000
    joined = "" if not rest else (" and " if rest < 100 else " ") + cardinal(rest)
    return f"{cardinal(number // 1000)} thousand{joined}"


def _digits(rng: random.Random, least: int, most: int) -> str:
    length = rng.randint(least, most)
    digits = [str(rng.randrange(10))]
    while len(digits) < length:
        digits.append(digits[-1] if rng.random() < 0.22 else str(rng.randrange(10)))
    return "".join(digits)


def digit_string(rng: random.Random) -> Phrase:
    return Phrase(digit_by_digit(_digits(rng, 3, 10), rng))


def whole_part(rng: random.Random) -> str:
    top = rng.choice((10, 100, 100, 1000, 10_000))
    number = rng.randrange(top)
    if rng.random() < 0.5:
        return digit_by_digit(str(number), rng)
    if 100 <= number < 1000 and rng.random() < 0.2:
        return f"{DIGITS[number // 100]} {cardinal(number % 100) if number % 100 > 9 else 'oh ' + DIGITS[number % 10]}"
    return cardinal(number)


def value(rng: random.Random) -> str:
    prefix = rng.choice(("", "", "", "", "", "greater than ", "less than ", "more than ", "over ", "under "))
    fraction = f" point {digit_by_digit(_digits(rng, 1, 3), rng)}"
    whole = rng.choice((rng.choice(ZEROS), whole_part(rng), whole_part(rng), ""))
    number = whole + fraction if rng.random() < 0.6 or not whole else whole
    return strip_words(prefix + number)


def circuit(rng: random.Random) -> str:
    number = rng.randrange(1, 60)
    named = rng.choice(ROOMS) + (f" {DIGITS[rng.randrange(1, 5)]}" if rng.random() < 0.25 else "")
    numbered = "circuit " + (cardinal(number) if rng.random() < 0.7 else digit_by_digit(str(number), rng))
    return rng.choice((numbered, numbered, named, f"board {rng.choice('abcdefgh')} {numbered}"))


def reading(rng: random.Random) -> Phrase:
    where = circuit(rng) + " " if rng.random() < 0.55 else ""
    condition = " " + rng.choice(CONDITIONS) if rng.random() < 0.2 else ""
    figure = value(rng) if rng.random() < 0.85 else rng.choice(RESULTS)
    unit = " " + rng.choice(UNITS) if rng.random() < 0.55 else ""
    return Phrase(strip_words(where + rng.choice(QUANTITIES) + condition + " " + figure + unit))


def bare_value(rng: random.Random) -> Phrase:
    return Phrase(strip_words(value(rng) + " " + (rng.choice(UNITS) if rng.random() < 0.6 else "")))


def command(rng: random.Random) -> Phrase:
    tail = rng.choice(("", "", " " + value(rng), " " + circuit(rng), " " + rng.choice(QUANTITIES)))
    return Phrase(strip_words(rng.choice(PROWORDS) + tail))


def outcome(rng: random.Random) -> Phrase:
    lead = rng.choice((circuit(rng) + " ", "", "")) + rng.choice((*QUANTITIES, ""))
    return Phrase(strip_words(lead + " " + rng.choice(RESULTS)))


def spelling(rng: random.Random) -> Phrase:
    letters = [rng.choice(LETTERS) for _ in range(rng.randint(2, 6))]
    tail = digit_by_digit(_digits(rng, 1, 3), rng) if rng.random() < 0.6 else ""
    return Phrase(strip_words(" ".join(letters) + " " + tail), spelled=True)


def address(rng: random.Random) -> Phrase:
    colour = rng.choice(("red", "green", "blue", "white", "black", "brown", "grey", "yellow"))
    act = rng.choice(("set", "put", "place", "bin", "lay", "mark", "test", "check"))
    link = rng.choice(("at", "by", "in", "with", "on"))
    tail = rng.choice(("now", "again", "please", "soon"))
    return Phrase(f"{act} {colour} {link} {rng.choice(LETTERS)} {rng.choice(DIGITS)} {tail}", spelled=True)


def naming(rng: random.Random) -> Phrase:
    return Phrase(circuit(rng) + rng.choice(("", " " + rng.choice(ROOMS))))


def talk(rng: random.Random) -> Phrase:
    return Phrase(rng.choice(TALK))


def telephone_number(rng: random.Random) -> Phrase:
    """Nine to eleven digits in two to four breaths, as people give numbers away."""
    digits, parts = _digits(rng, 9, 11), []
    while digits:
        size = rng.choice((2, 3, 3, 4, 5))
        parts.append(digit_by_digit(digits[:size], rng))
        digits = digits[size:]
    return Phrase(rng.choice((" ", ", ", ", ")).join(parts))


def spelt_word(rng: random.Random) -> Phrase:
    """A word of the trade or of ordinary talk, letter by letter, sometimes said first."""
    word = rng.choice(SPELLABLE)
    spelt = " ".join("zed" if letter == "z" and rng.random() < 0.7 else letter for letter in word)
    return Phrase(rng.choice(("", "", word + ", ")) + spelt, spelled=True)


Shapes = tuple[tuple[float, Callable[[random.Random], Phrase]], ...]  # how often each is drawn

SHAPES: Shapes = (
    (0.24, reading), (0.12, bare_value), (0.08, command), (0.08, outcome), (0.17, digit_string),
    (0.07, telephone_number), (0.08, spelling), (0.05, spelt_word), (0.04, address), (0.04, naming), (0.03, talk),
)  # fmt: skip


def single_word(rng: random.Random) -> Phrase:
    """A digit, a letter, or a word of the trade, by itself: the digits that recordings of people lack come up most."""
    (words,) = rng.choices((LACKING, IN_NUMBERS, LETTERS, ONE_WORD), (0.45, 0.15, 0.25, 0.15))
    return Phrase(rng.choice(words), spelled=True)


DIGITS_AND_LETTERS: Shapes = (
    (0.40, digit_string), (0.22, telephone_number), (0.14, spelling), (0.14, spelt_word), (0.10, address),
)  # fmt: skip


class Sampler(Protocol):
    """Where phrases come from."""

    def draw(self, rng: random.Random) -> Phrase: ...


@dataclass(frozen=True)
class PhraseSampler:
    """Draws phrases; the shapes' weights sum to 1."""

    shapes: Shapes = SHAPES

    def draw(self, rng: random.Random) -> Phrase:
        weights = [weight for weight, _ in self.shapes]
        (shape,) = rng.choices([shape for _, shape in self.shapes], weights)
        return shape(rng)


@dataclass(frozen=True)
class GrammarSampler:
    """Draws from the network of words that the program listens for, and for the rest from ``others``.

    Mostly, of a few sentences one of several words is taken, the one with the
    word that is drawn most seldom, so that every word of the grammar comes up.
    """

    network: Network
    share: float = 0.4
    others: PhraseSampler = PhraseSampler()
    tries: int = 6
    as_they_come: float = 0.2  # of its sentences, one that was not chosen: mostly a short command
    fewest: int = 3  # words: shorter ones are commands, which come up anyway
    most: int = 16

    def draw(self, rng: random.Random) -> Phrase:
        if rng.random() > self.share:
            return self.others.draw(rng)
        drawn = [self.network.sample(rng) for _ in range(self.tries)]
        if rng.random() < self.as_they_come:
            return Phrase(" ".join(drawn[0]), spelled=True)
        best = max(drawn, key=lambda words: (self.fewest <= len(words) <= self.most, self._rarity(words)))
        return Phrase(" ".join(best), spelled=True)

    def _rarity(self, words: tuple[str, ...]) -> float:
        return max((1 / (1 + self._often[word]) for word in words), default=0.0)

    @cached_property
    def _often(self) -> Counter[str]:
        """How often each word comes in many sentences."""
        rng = random.Random(0)
        return Counter(word for _ in range(SAMPLED) for word in self.network.sample(rng))
