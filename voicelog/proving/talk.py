"""What people say on a site when they call no reading: ordinary sentences, numbers among them, and near misses.

Written for this bench alone and used nowhere in training. A near miss is a true sentence of the grammar with something
missing, something in the way, or ordinary talk around a part of it: what a strict grammar is most easily fooled by. No
sentence here is a complete reading.
"""

import random
from collections.abc import Callable, Iterator, Mapping

from voicelog.meaning.parsing import Context, Reader
from voicelog.model import Called

PLACES = ("the kitchen", "the hall", "upstairs", "the loft", "the store", "reception", "the plant room", "the yard")
PEOPLE = ("the caretaker", "my brother", "the plumber", "your mate", "the tenant", "the apprentice", "the manager")
THINGS = ("ladder", "kettle", "drill", "extension lead", "fuse", "panel", "ceiling tile", "heater", "radiator", "bin")
DAYS = ("Monday", "Tuesday", "this morning", "last week", "tomorrow", "next month", "Friday afternoon")
NUMBERS = (
    *("two", "three", "five", "six", "nine", "ten", "eleven", "twelve", "fifteen", "sixteen", "eighteen", "nineteen"),
    *(
        "twenty",
        "twenty five",
        "thirty",
        "forty one",
        "fifty",
        "sixty",
        "ninety",
        "a hundred and twenty",
        "two hundred",
    ),
    *("one point five", "two point two", "nought point five", "three and a half", "double nine", "seven zero four"),
)

ORDINARY = (
    "can you pass me the {thing} when you are done with it",
    "is there any tea left in {place} or did {person} finish it",
    "I parked the van round the back of {place}",
    "{person} said the {thing} was making a funny noise again",
    "hold that a second while I move the {thing}",
    "we will have to come back {day} and finish off {place}",
    "no no leave it where it is, it is fine",
    "yes that is what I told {person} {day}",
    "mind your head on the {thing} there",
    "did you ever get paid for that job at {place}",
    "correct me if I am wrong but {person} was here {day}",
    "okay let me just check with {person} first",
    "the light in {place} has been off since {day}",
    "I would not trust that {thing} as far as I could throw it",
    "what is left to do in {place} then",
    "stand by the door would you and wait for {person}",
    "there is water coming through by the {thing} in {place}",
    "he has passed his test and he failed it twice before",
    "say again, I had my back to you",
    "that was a long day, {day}, I was shattered",
)
NUMERICAL = (
    "we had {number} of them delivered {day} and {number} were broken",
    "it cost {number} quid and I got {number} back from {person}",
    "{person} lives at number {number} just past the school",
    "it is about {number} metres from {place} to {place}",
    "call me at half past {small} or {number} minutes after",
    "they want {number} points in {place} and {number} upstairs",
    "my phone number ends in {digit} {digit} {digit} {digit}",
    "room {digit} {digit} {digit} on the {small} floor has no heating",
    "the match finished {digit} {digit} after extra time",
    "she was born in nineteen {number}",
    "turn to page {number}, paragraph {digit}",
    "give it {number} minutes and then try {number} more",
    "there were {number} people in {place} {day}",
    "I make it {digit} point {digit} miles from {place}",
    "the code for the gate is {digit} {digit} {digit} {digit} I think",
    "it was {number} degrees in {place} {day}",
    "{number} volts or {number} volts, I can never remember",
    "his {thing} is rated at {number} amps or so he says",
    "we are on circuit training {day} at {small}",
    "{digit} {digit} {digit}, no, {digit} {digit} {digit}, write it down",
)
AROUND = (
    "was it {words} you said",
    "I think {words} was the one with {person} on it",
    "{person} reckons {words} or something like that",
    "last year {words} was fine wasn't it",
    "hang on, {words}, no that is not right",
    "{words} is what it says on the door of {place}",
    "nothing to do with {words} at all",
)
SHARES = {"ordinary": 0.35, "numerical": 0.4, "near": 0.25}


def sentence(draw: random.Random, reader: Reader) -> str:
    """One sentence, drawn by SHARES."""
    kind = draw.choices(list(SHARES), list(SHARES.values()))[0]
    return _KINDS[kind](draw, reader)


def _filled(frames: tuple[str, ...]) -> Callable[[random.Random, Reader], str]:
    return lambda draw, _: draw.choice(frames).format_map(_Slots(draw))


def _near(draw: random.Random, reader: Reader) -> str:
    """A damaged sentence of the grammar, mostly with ordinary words around it."""
    while True:
        words = _damaged(list(reader.network.sample(draw)), draw)
        if words and not is_reading(" ".join(words), reader):
            break
    text = " ".join(words)
    return draw.choice(AROUND).format_map(_Slots(draw, words=text)) if draw.random() < 0.7 else text


def _damaged(words: list[str], draw: random.Random) -> list[str]:
    """One to three words lost from one end or the middle."""
    if len(words) < 3:
        return words
    lost = draw.randint(1, min(3, len(words) - 2))
    at = draw.choice((0, len(words) - lost, draw.randint(0, len(words) - lost)))
    return words[:at] + words[at + lost :]


def is_reading(text: str, reader: Reader) -> bool:
    """Whether the words alone call a reading: a quantity with its value."""
    board = reader.sheet.boards[0].reference
    meaning = reader.read(tuple(text.lower().split()), Context(board=board))
    called = meaning if isinstance(meaning, Called) else getattr(meaning, "called", None)
    return called is not None and called.value is not None


class _Slots(Mapping):
    """Fills {place}, {number} and so on, each time anew."""

    def __init__(self, draw: random.Random, **given: str) -> None:
        self._draw, self._given = draw, given

    def __getitem__(self, name: str) -> str:
        return self._given.get(name) or self._draw.choice(_SLOTS[name])

    def __iter__(self) -> Iterator[str]:
        return iter(_SLOTS)

    def __len__(self) -> int:
        return len(_SLOTS)


_SLOTS = {
    "place": PLACES,
    "person": PEOPLE,
    "thing": THINGS,
    "day": DAYS,
    "number": NUMBERS,
    "small": ("two", "three", "four", "five", "six", "seven", "eight", "nine"),
    "digit": ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "oh"),
}
_KINDS = {"ordinary": _filled(ORDINARY), "numerical": _filled(NUMERICAL), "near": _near}
