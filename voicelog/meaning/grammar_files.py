"""The grammar files read and checked: each problem is named by file and entry."""

import hashlib
from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from voicelog.errors import GrammarError
from voicelog.meaning.grammar import (
    CommandWord,
    Grammar,
    Phrases,
    PlaceWords,
    Quantity,
    ResultWord,
    Step,
    TestSequence,
    Unit,
)
from voicelog.meaning.numbers import load_number_words
from voicelog.meaning.phrase import read_phrase, spellings
from voicelog.resources import data_folder, read_toml

_FILES = ("units", "commands", "results", "places", "sequences")
_PLACE_PHRASES = ("circuit", "phase", "tails", "board", "repair", "everything", "to")


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


# ---------------------------------------------------------------- what no single entry can check


def _check(grammar: Grammar) -> None:
    """Phrases read, what an entry names exists, what is said back can be heard."""
    for where, phrases in _phrases(grammar):
        for phrase in phrases:
            read_phrase(phrase, where)
    for command in grammar.commands.values():
        if command.then and command.then not in grammar.commands:
            raise GrammarError(
                f"there is no command {command.then!r} to follow.", where=f"commands.toml, {command.key}"
            )
    for sequence in grammar.sequences.values():
        for step in sequence.steps:
            _check_step(step, grammar, f"sequences.toml, {sequence.key}")
    for quantity in grammar.quantities.values():
        _check_quantity(quantity, grammar, f"{grammar.kind}.toml, {quantity.key}")


def _phrases(grammar: Grammar) -> Iterator[tuple[str, Phrases]]:
    """All phrases, with file and entry."""
    for unit in grammar.units.values():
        yield f"units.toml, {unit.symbol}", unit.said
    for command in grammar.commands.values():
        yield f"commands.toml, {command.key}", (*command.said, *command.before, *command.typed, *(command.around or ()))
    for result in grammar.results.values():
        yield f"results.toml, {result.key}", result.said
    for sequence in grammar.sequences.values():
        yield f"sequences.toml, {sequence.key}", sequence.said
    for name in _PLACE_PHRASES:
        yield f"places.toml, {name}", getattr(grammar.places, name)
    for code, said in grammar.places.codes.items():
        yield f"places.toml, {code}", said
    for quantity in grammar.quantities.values():
        conditions = (phrase for condition in quantity.condition for phrase in condition.said.values())
        yield f"{grammar.kind}.toml, {quantity.key}", (*quantity.said, *conditions, *quantity.choices.values())


def _check_step(step: Step, grammar: Grammar, where: str) -> None:
    quantity = grammar.quantities.get(step.quantity)
    if quantity is None:
        raise GrammarError(f"the step {step.quantity!r} is no quantity of {grammar.kind}.toml.", where=where)
    known = {condition.key: condition.said for condition in quantity.condition}
    for key, value in step.conditions.items():
        if value not in known.get(key, ()):
            raise GrammarError(f"the step {step.quantity!r} has no condition {key}={value}.", where=where)


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
        if condition.default and condition.default not in condition.said:
            raise GrammarError(f"the default {condition.default!r} of {condition.key} cannot be said.", where=where)
    if quantity.value == "number" and quantity.greatest <= 0:
        raise GrammarError("a quantity of numbers needs the greatest figure that can be meant.", where=where)
