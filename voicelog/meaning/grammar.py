"""The grammar files as frozen nouns: quantities, units, commands, results, and how places are said."""

from decimal import Decimal
from typing import Literal

from pydantic import Field, field_validator

from voicelog.meaning.numbers import NumberWords
from voicelog.meaning.phrase import first_spelling
from voicelog.model import Noun

Phrases = tuple[str, ...]


class Unit(Noun):
    """A unit of grammars/units.toml."""

    symbol: str
    said: Phrases
    dimension: str
    factor: Decimal  # base units of the dimension in one of these
    print: str  # as written for people

    @property
    def spoken(self) -> str:
        return first_spelling(self.said[0])

    @property
    def spoken_of_one(self) -> str:
        """ "milliamp", where the unit is also called so."""
        singular = self.spoken.removesuffix("s")
        return singular if singular in self.said else self.spoken


Only = Literal["", "ring", "rcd"]  # ring final circuits alone, circuits behind an RCD, or all


class Condition(Noun):
    """What distinguishes several readings of one quantity: a test voltage, a multiple."""

    key: str
    said: dict[str, str]  # value kept -> phrase
    default: str  # taken when nothing is said; empty when it must be said
    alone: bool = False  # a value may follow it without the quantity, where that is asked for

    def spoken(self, value: str) -> str:
        phrase = self.said.get(value)
        return first_spelling(phrase) if phrase else ""


class Quantity(Noun):
    """One quantity of a kind of work."""

    key: str
    name: str
    symbol: str
    said: Phrases
    says: str
    value: Literal["number", "result", "choice"]
    units: tuple[str, ...] = ("",)
    places: tuple[Literal["circuit", "rcd", "board"], ...]
    greatest: Decimal = Decimal(0)  # in the first unit
    decimals: int = 0
    over_range: bool = False
    open_circuit: bool = False
    no_trip: bool = False
    no_earth: bool = False
    only: Only = ""
    exact: bool = False  # counted or read from a plate: never more or less than a figure
    choices: dict[str, str] = Field(default_factory=dict)
    condition: tuple[Condition, ...] = ()

    @property
    def unit_must_be_said(self) -> bool:
        return len(self.units) > 1


class CommandWord(Noun):
    """One proword or order of grammars/commands.toml."""

    key: str
    said: Phrases
    takes: Literal["nothing", "call", "reading", "place", "quantity", "item", "sequence", "code", "number"]
    does: str
    before: Phrases = ()  # said for it too where a call follows at once
    typed: Phrases = ()  # written for the first of these; never heard so, for the ear would take digits for it
    asks: bool = False  # a quantity may follow without its value: that is asked for
    around: tuple[str, str] | None = None  # the same said in two parts, with what it takes between them
    then: str = ""  # key of an order that may follow in the same breath
    after: Literal["", "name"] = ""  # what any words typed behind what it takes are


class ResultWord(Noun):
    """A result that is a word instead of a figure."""

    key: Literal["pass", "fail", "not_applicable", "limitation", "no_trip", "no_earth", "over_range", "open_circuit"]
    said: Phrases
    for_: Literal["any", "result", "no_trip", "no_earth", "over_range", "open_circuit"] = Field(alias="for")


class PlaceWords(Noun):
    """grammars/places.toml."""

    circuit: Phrases
    phase: Phrases
    tails: Phrases
    board: Phrases
    repair: Phrases
    everything: Phrases
    to: Phrases
    letters: dict[str, str]
    codes: dict[str, Phrases]


class Step(Noun):
    """One test of a sequence."""

    quantity: str
    conditions: dict[str, str]


class TestSequence(Noun):
    """A set of tests on one circuit, in the trade's order."""

    key: str
    said: Phrases
    only: Only
    steps: tuple[Step, ...]

    @field_validator("steps", mode="before")
    @classmethod
    def _read_steps(cls, steps: list[str]) -> list[dict]:
        return [_read_step(step) for step in steps]


class Grammar(Noun):
    """All that can be said about one kind of work; ``version`` is a digest of its files."""

    model_config = {**Noun.model_config, "arbitrary_types_allowed": True}

    kind: str
    version: str
    numbers: NumberWords
    units: dict[str, Unit]
    quantities: dict[str, Quantity]
    commands: dict[str, CommandWord]
    results: dict[str, ResultWord]
    places: PlaceWords
    sequences: dict[str, TestSequence]


def _read_step(step: str) -> dict:
    """ "rcd_time: multiple=1" as quantity and conditions."""
    quantity, _, rest = step.partition(":")
    conditions = dict(pair.strip().partition("=")[::2] for pair in rest.split(",") if pair.strip())
    return {"quantity": quantity.strip(), "conditions": conditions}
