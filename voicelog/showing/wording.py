"""The record in print: names of quantities, places and values as they are written for people.

Speaking is ``talking/phrasing.py``; this is its sibling on paper. Names and unit signs come from
``grammars/``, so a new kind of work needs no change here.
"""

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any, Literal

from voicelog.errors import GrammarError, InputError
from voicelog.installation import Sheet
from voicelog.model import (
    Choice,
    Comparison,
    Conditions,
    Noun,
    Number,
    OpenCircuit,
    Outcome,
    OverRange,
    Place,
    Reading,
    Result,
    Standing,
    Value,
)
from voicelog.resources import data_folder

RESULT_WORDS = {  # marks of the trade where it has them (common practice): LIM, N/A
    "pass": "pass",
    "fail": "fail",
    "no_trip": "no trip",
    "not_applicable": "N/A",
    "limitation": "LIM",
    "no_earth": "no earth",
}
EXTREME_WORDS = ("over_range", "open_circuit", "no_trip", "no_earth")  # a quantity's entry allows each by its key
VERDICT_WORDS = {
    Outcome.PASS: "within limit",
    Outcome.MARGINAL: "near the limit",
    Outcome.FAIL: "outside limit",
    Outcome.NO_LIMIT: "no limit known",
}
VERDICT_SIGNS = {Outcome.PASS: "✓", Outcome.MARGINAL: "△", Outcome.FAIL: "✗", Outcome.NO_LIMIT: "–"}
STANDING_WORDS = {
    Standing.AWAITING: "not yet answered",
    Standing.AFFIRMED: "affirmed",
    Standing.UNCHALLENGED: "not challenged",
    Standing.REPLACED: "replaced",
    Standing.WITHDRAWN: "withdrawn",
}
CODE_WORDS = {  # common practice of periodic inspection, in our own words; the edition in force decides
    "C1": "danger is there now: make safe at once",
    "C2": "could become dangerous: act urgently",
    "C3": "improvement is advised",
    "FI": "look further without delay",
    "LIM": "not done because of a limitation",
}
CAUTIONS = (
    "A verdict here is an aid, not a decision: the edition of the standard in force, local codes and a qualified "
    "person decide.",
    "Test readings are taken by skilled persons only, with the circuit safely isolated and proved dead wherever the "
    "test allows it. Nothing on this page is advice to work live.",
)


class QuantityWords(Noun):
    """How one quantity is written, and what may be written for it."""

    name: str
    symbol: str
    units: tuple[str, ...] = ("",)  # symbols; columns and axes use the first
    kind: Literal["number", "result", "choice"] = "number"
    choices: tuple[str, ...] = ()
    words: frozenset[str] = frozenset()  # of over_range, open_circuit, no_trip, no_earth
    greatest: Decimal = Decimal(0)  # in the first unit; 0: no bound


class Wording:
    """Everything of one kind of work in written words."""

    def __init__(
        self, quantities: dict[str, QuantityWords], units: dict[str, str], factors: dict[str, Decimal]
    ) -> None:
        self.quantities, self.units, self.factors = quantities, units, factors

    def quantity(self, key: str, conditions: Conditions | None = None) -> str:
        """``insulation resistance, live to earth, 500 V``."""
        known = self.quantities.get(key)
        return ", ".join([known.name if known else key, *map(_condition, (conditions or {}).items())])

    def symbol(self, key: str) -> str:
        known = self.quantities.get(key)
        return known.symbol if known else key

    def unit(self, symbol: str) -> str:
        return self.units.get(symbol, symbol)

    def value(self, value: Value, unit: str = "") -> str:
        """``0.27 Ω``, ``> 500 MΩ``, ``over range``, ``LIM``: digits exactly as kept."""
        text = plain_value(value)
        return f"{text} {self.unit(unit)}" if unit and isinstance(value, Number) else text

    def reading(self, reading: Reading) -> str:
        return self.value(reading.value, reading.unit)

    def place(self, place: Place | None, sheet: Sheet | None = None) -> str:
        """``DB1 circuit 5, stage right sockets``; ``DB1 RCD1``; ``DB1, at the board``."""
        if place is None:
            return ""
        if place.circuit:
            name = circuit_name(place, sheet)
            return f"{place.board} circuit {place.circuit}{', ' + name if name else ''}"
        return f"{place.board} {place.rcd}" if place.rcd else f"{place.board}, at the board"

    def in_unit(self, figure: Decimal, unit: str, wanted: str) -> Decimal:
        """The same figure in another unit of its dimension; a power of ten moves the point, digits stay.

        KeyError for a symbol that ``grammars/units.toml`` does not have.
        """
        if unit == wanted:
            return figure
        shift = (self.factors[unit] / self.factors[wanted]).normalize().adjusted()
        return figure.scaleb(shift)


def plain_value(value: Value) -> str:
    """The value without its unit."""
    match value:
        case Number(figure=figure, comparison=comparison):
            sign = "" if comparison is Comparison.EQUAL else f"{comparison.value} "
            return f"{sign}{figure:f}"
        case OverRange():
            return "over range"
        case OpenCircuit():
            return "open circuit"
        case Result(word=word):
            return RESULT_WORDS[word]
        case Choice(word=word):
            return word
    raise TypeError(f"not a value: {value!r}")


def written(text: str, unit: str, quantity: str, wording: Wording) -> Value:
    """The value that ``text`` writes: the way back from ``plain_value``. InputError says why it is none."""
    known = wording.quantities.get(quantity)
    if known is None:
        raise InputError(f"the quantity {quantity!r} is not known.", do="Choose one of the grammar's.")
    text = " ".join(text.split())
    value = _number(text) or _word(text, known)
    if value is None or not _may_be(value, known):
        raise InputError(f"{text!r} is no value of {known.name}.", do=f"Write {_permitted(known)}.")
    if isinstance(value, Number):
        _check_span(value, unit, known, wording)
    return value


def _number(text: str) -> Number | None:
    found = re.fullmatch(r"([<>]?)\s*(\d{1,9}(?:\.\d{1,6})?)", text, re.ASCII)
    return Number(figure=Decimal(found[2]), comparison=Comparison(found[1] or "=")) if found else None


def _word(text: str, known: QuantityWords) -> Value | None:
    for word, print_ in RESULT_WORDS.items():
        if text.casefold() == print_.casefold():
            return Result(word=word)
    if text.casefold() == "over range":
        return OverRange()
    if text.casefold() == "open circuit":
        return OpenCircuit()
    return Choice(word=text) if text in known.choices else None


def _may_be(value: Value, known: QuantityWords) -> bool:
    match value:
        case Number():
            return known.kind == "number"
        case Choice():
            return known.kind == "choice"
        case Result(word="not_applicable" | "limitation"):
            return True
        case Result(word="pass" | "fail"):
            return known.kind == "result"
        case Result(word=word):
            return word in known.words
    return value.kind in known.words


def _permitted(known: QuantityWords) -> str:
    own = {"number": ["a figure such as 0.27 or > 500"], "result": ["pass", "fail"], "choice": list(known.choices)}
    extremes = [word.replace("_", " ") for word in EXTREME_WORDS if word in known.words]
    return ", ".join([*own[known.kind], *extremes, "LIM or N/A"])


def _check_span(value: Number, unit: str, known: QuantityWords, wording: Wording) -> None:
    if unit not in known.units:
        units = ", ".join(wording.unit(symbol) for symbol in known.units if symbol) or "no unit"
        raise InputError(f"{known.name} is not given in {wording.unit(unit) or 'no unit'}.", do=f"Use {units}.")
    if known.greatest and wording.in_unit(value.figure, unit, known.units[0]) > known.greatest:
        span = wording.value(Number(figure=known.greatest), known.units[0])
        raise InputError(f"{wording.value(value, unit)} is beyond what {known.name} can be.", do=f"At most {span}.")


def circuit_name(place: Place, sheet: Sheet | None) -> str:
    """What the sheet calls the circuit; empty when the sheet does not know it."""
    for board in sheet.boards if sheet else ():
        for circuit in board.circuits:
            if (board.reference, circuit.number) == (place.board, place.circuit):
                return circuit.name
    return ""


def load_wording(kind: str = "fixed-wiring", folder: Path | None = None) -> Wording:
    """The written words of one kind of work. GrammarError when its files cannot be read."""
    folder = folder or data_folder("grammars")
    quantities = {row["key"]: _quantity_words(row) for row in _toml(folder / f"{kind}.toml").get("quantity", ())}
    units = _toml(folder / "units.toml")
    prints = {symbol: row.get("print", symbol) for symbol, row in units.items()}
    factors = {symbol: Decimal(row.get("factor", "1")) for symbol, row in units.items()}
    return Wording(quantities, prints, factors)


def _quantity_words(row: dict[str, Any]) -> QuantityWords:
    return QuantityWords(
        name=row["name"],
        symbol=row["symbol"],
        units=tuple(row.get("units", ("",))),
        kind=row["value"],
        choices=tuple(row.get("choices", ())),
        words=frozenset(key for key in EXTREME_WORDS if row.get(key)),
        greatest=Decimal(row.get("greatest", "0")),
    )


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise GrammarError(f"cannot be read: {error}.", where=str(path)) from error


def _condition(item: tuple[str, str]) -> str:
    key, value = item
    match key:
        case "test_voltage_V":
            return f"at {value} V"
        case "multiple":
            return f"{value} × IΔn"
        case "half_cycle":
            return f"{value}°"
        case "between" | "part":
            return value.replace("-", "–")
        case "point":
            return f"at {value}"
    return f"{key.replace('_', ' ')} {value}"
