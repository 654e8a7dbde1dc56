"""The grammar files as frozen nouns: quantities, units, commands, results, and how places are said."""

import hashlib
from decimal import Decimal
from pathlib import Path
from typing import Literal

from pydantic import Field, ValidationError, field_validator

from voicelog.errors import GrammarError
from voicelog.meaning.numbers import NumberWords, load_number_words
from voicelog.meaning.phrase import read_phrase, spellings
from voicelog.model import Noun
from voicelog.resources import data_folder, read_toml

Phrases = tuple[str, ...]
_FILES = ("units", "commands", "results", "places", "sequences")


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
    takes: Literal["nothing", "call", "reading", "place", "quantity", "item", "sequence", "code"]
    does: str
    before: Phrases = ()  # said for it too where a call follows at once
    typed: Phrases = ()  # written for the first of these; never heard so, for the ear would take digits for it
    around: tuple[str, str] | None = None  # the same said in two parts, with what it takes between them
    then: str = ""  # key of an order that may follow in the same breath


class ResultWord(Noun):
    """A result that is a word instead of a figure."""

    key: str
    said: Phrases
    for_: str = Field(alias="for")


class PlaceWords(Noun):
    """grammars/places.toml."""

    circuit: Phrases
    phase: Phrases
    tails: Phrases
    board: Phrases
    repair: Phrases
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
    only: Literal["", "ring", "rcd"]
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


def first_spelling(phrase: str) -> str:
    """The fullest first way to say a phrase: the one the program says back."""
    said = spellings(read_phrase(phrase))
    first = said[0] if said[0] and len(said[0]) >= len(said[-1]) else said[-1]
    return " ".join(first)


def load_grammar(kind: str = "fixed-wiring", folder: Path | None = None) -> Grammar:
    """Read the grammar files of one kind of work.

    Raises GrammarError naming file and entry when a file is missing or breaks its rules.
    """
    folder = folder or data_folder("grammars")
    tables = {name: _table(folder / f"{name}.toml") for name in (*_FILES, kind)}
    grammar = Grammar(
        kind=kind,
        version=_digest(folder, ("numbers", *tables)),
        numbers=load_number_words(folder / "numbers.toml"),
        units={s: _unit(s, table) for s, table in tables["units"].items()},
        quantities=_keyed(Quantity, tables[kind].get("quantity", []), f"{kind}.toml"),
        commands=_keyed(CommandWord, tables["commands"].get("command", []), "commands.toml"),
        results=_keyed(ResultWord, tables["results"].get("result", []), "results.toml"),
        places=_noun(PlaceWords, tables["places"], "places.toml", "places"),
        sequences=_keyed(TestSequence, tables["sequences"].get("sequence", []), "sequences.toml"),
    )
    _check(grammar)
    return grammar


def _table(file: Path) -> dict:
    try:
        return read_toml(file.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise GrammarError("there is no such grammar file.", where=file.name) from error
    except (OSError, ValueError) as error:
        raise GrammarError(f"the file is not readable TOML ({error}).", where=file.name) from error


def _digest(folder: Path, names: tuple[str, ...]) -> str:
    content = b"".join((folder / f"{name}.toml").read_bytes() for name in sorted(names))
    return hashlib.sha256(content).hexdigest()[:12]


def _noun(kind: type, table: dict, file: str, entry: str):
    try:
        return kind.model_validate(table)
    except ValidationError as error:
        first = error.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise GrammarError(f"{field}: {first['msg']}.", where=f"{file}, {entry}") from error


def _unit(symbol: str, table: object) -> Unit:
    if not isinstance(table, dict):
        raise GrammarError("a unit is a table of its own.", where=f"units.toml, {symbol}")
    return _noun(Unit, {**table, "symbol": symbol}, "units.toml", symbol)


def _keyed(kind: type, rows: object, file: str) -> dict:
    if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
        raise GrammarError("its entries are tables, each in double brackets.", where=file)
    found = {}
    for number, row in enumerate(rows, start=1):
        noun = _noun(kind, row, file, str(row.get("key", f"entry {number}")))
        if noun.key in found:
            raise GrammarError("the same key stands twice.", where=f"{file}, {noun.key}")
        found[noun.key] = noun
    if not found:
        raise GrammarError("the file holds no entry.", where=file)
    return found


def _check(grammar: Grammar) -> None:
    """What no single entry can check: phrases read, units exist, what is said back can be heard."""
    file = f"{grammar.kind}.toml"
    for unit in grammar.units.values():
        for phrase in unit.said:
            read_phrase(phrase, f"units.toml, {unit.symbol}")
    for command in grammar.commands.values():
        for phrase in command.said:
            read_phrase(phrase, f"commands.toml, {command.key}")
    for sequence in grammar.sequences.values():
        for step in sequence.steps:
            if step.quantity not in grammar.quantities:
                raise GrammarError(
                    f"the step {step.quantity!r} is no quantity of {file}.", where=f"sequences.toml, {sequence.key}"
                )
    for quantity in grammar.quantities.values():
        _check_quantity(quantity, grammar, f"{file}, {quantity.key}")


def _check_quantity(quantity: Quantity, grammar: Grammar, where: str) -> None:
    ways = {" ".join(way) for phrase in quantity.said for way in spellings(read_phrase(phrase, where))}
    if quantity.says not in ways:
        raise GrammarError(
            f"it is said back as {quantity.says!r}, which is none of the phrases in 'said'.", where=where
        )
    for unit in quantity.units:
        if unit and unit not in grammar.units:
            raise GrammarError(f"the unit {unit!r} is not in units.toml.", where=where)
    for condition in quantity.condition:
        for phrase in condition.said.values():
            read_phrase(phrase, where)
    for phrase in quantity.choices.values():
        read_phrase(phrase, where)
    if quantity.value == "number" and quantity.greatest <= 0:
        raise GrammarError("a quantity of numbers needs the greatest figure that can be meant.", where=where)
