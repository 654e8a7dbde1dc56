"""What is said back, in words. What is said must read as what was kept: the tests read it back in.

Values are said digit by digit with their unit, places from the record and not
from the words heard, the verdict after the value as a second cue.
"""

import re
from decimal import Decimal

from voicelog.installation import Sheet
from voicelog.meaning.grammar import Grammar
from voicelog.meaning.numbers import say_number
from voicelog.meaning.phrase import first_spelling
from voicelog.meaning.utterances import Utterances
from voicelog.model import (
    Choice,
    Number,
    OpenCircuit,
    Outcome,
    OverRange,
    Place,
    Reading,
    Result,
    Value,
    Verdict,
)

_VERDICT_WORDS = {Outcome.PASS: "pass", Outcome.MARGINAL: "marginal", Outcome.FAIL: "fail", Outcome.NO_LIMIT: ""}


class Phrasing:
    """Puts the record of one job into spoken words."""

    def __init__(self, grammar: Grammar, sheet: Sheet) -> None:
        self.grammar, self.sheet = grammar, sheet
        self._utterances = Utterances(grammar, sheet)

    # ------------------------------------------------------------ places

    def place(self, place: Place, with_name: bool = True) -> str:
        """ "circuit five, stage right sockets"; "r c d one"; "tails"."""
        board = self._board(place)
        if place.circuit:
            return f"{board}circuit {self._designation(place.circuit)}{self._name(place) if with_name else ''}"
        if place.rcd:
            return board + self.reference(place.rcd)
        return f"{board}tails"

    def places(self, places: list[Place]) -> str:
        """One after the other without their names; a board is said once for those in a row on it."""
        boards = ("", *(place.board for place in places))
        said = (
            self.place(place, with_name=False).removeprefix(self._board(place) if place.board == before else "")
            for before, place in zip(boards, places, strict=False)
        )
        return ", ".join(said)

    def reference(self, reference: str) -> str:
        """ "RCD1" as "r c d one"."""
        return self._utterances.spoken_reference(reference)

    def _board(self, place: Place) -> str:
        """Said only where there is more than one."""
        if len(self.sheet.boards) < 2:
            return ""
        return f"board {self.reference(place.board)}, "

    def _designation(self, number: str) -> str:
        figures, _, phase = number.partition("L")
        if not figures.isdigit():
            return self.reference(number)
        said = self._utterances.natural(figures)
        return f"{said} line {self._utterances.natural(phase)}" if phase else said

    def _name(self, place: Place) -> str:
        circuit = self.sheet.circuit(place)
        name = self._utterances.spoken_name(circuit.name) if circuit else ""
        return f", {name}" if name else ""

    # ------------------------------------------------------------ values

    def quantity(self, key: str, conditions: dict[str, str]) -> str:
        """ "insulation live to earth at five hundred volts"; a condition that is taken for granted stays unsaid."""
        quantity = self.grammar.quantities[key]
        said = [quantity.says]
        for condition in quantity.condition:
            kept = conditions.get(condition.key, "")
            if kept and (kept != condition.default or condition.key == "test_voltage_V"):
                said.append(condition.spoken(kept))
        return " ".join((*said, *self._at_point(conditions)))

    def _at_point(self, conditions: dict[str, str]) -> tuple[str, ...]:
        """ "at point three", of "point 3: switch plate cloakroom": its words are unverified, its number is not."""
        if "point" not in conditions:
            return ()
        word, _, number = conditions["point"].partition(":")[0].rpartition(" ")
        return ("at", word, self.number(int(number))) if number.isdecimal() else ("at", conditions["point"])

    def value(self, value: Value, unit: str, quantity: str = "") -> str:
        """Digit by digit with the unit."""
        match value:
            case Number():
                said = say_number(value, self.grammar.numbers)
                return f"{said} {self._unit(unit, value.figure)}" if unit else said
            case OverRange():
                return self._result("over_range")
            case OpenCircuit():
                return self._result("open_circuit")
            case Result(word=word):
                return self._result(word)
            case Choice(word=word):
                choices = self.grammar.quantities[quantity].choices if quantity else {}
                return first_spelling(choices[word]) if word in choices else word
        raise TypeError(f"not a value: {value!r}")

    def _unit(self, unit: str, figure: Decimal) -> str:
        """ "One milliamp", but "one point zero milliamps"."""
        known = self.grammar.units[unit]
        return known.spoken_of_one if str(figure) == "1" else known.spoken

    def _result(self, key: str) -> str:
        return first_spelling(self.grammar.results[key].said[0])

    # ------------------------------------------------------------ readings

    def reading(self, reading: Reading, with_name: bool = True) -> str:
        """ "circuit five, stage right sockets. zed s, zero point two seven ohms"."""
        return f"{self.place(reading.place, with_name)}. {self.measured(reading)}"

    def measured(self, reading: Reading) -> str:
        """Quantity and value, without the place."""
        quantity = self.quantity(reading.quantity, reading.conditions)
        return f"{quantity}, {self.value(reading.value, reading.unit, reading.quantity)}"

    def verdict(self, verdict: Verdict, reading: Reading) -> str:
        """ "pass"; "fail, limit one point zero nine ohms"; nothing when the value itself says it."""
        said = _VERDICT_WORDS[verdict.outcome]
        if isinstance(reading.value, Result) and reading.value.word == said:
            return ""
        if verdict.outcome is not Outcome.FAIL or verdict.limit is None:
            return said
        number = say_number(Number(figure=verdict.limit), self.grammar.numbers)
        unit = self._unit(verdict.unit, verdict.limit) if verdict.unit in self.grammar.units else ""
        return f"{said}, limit {number} {unit}".rstrip()

    def remark(self, text: str) -> str:
        """A written remark as it is spoken: figures digit by digit, symbols as units."""
        text = text.replace("R1+R2", "r one plus r two")
        symbol = "|".join(sorted(filter(None, self.grammar.units), key=len, reverse=True))
        measure = rf"(?P<figure>\d+(?:\.\d+)?)(?: (?P<of>{symbol})\b)?|(?<=[a-z] )(?P<alone>{symbol})\b"
        return re.sub(r"\bZ([es])\b", r"zed \1", re.sub(measure, self._measure, text))

    def _measure(self, found: re.Match[str]) -> str:
        if found["alone"]:
            return self.grammar.units[found["alone"]].spoken
        said = self._figure(found["figure"])
        return f"{said} {self._unit(found['of'], Decimal(found['figure']))}" if found["of"] else said

    def _figure(self, text: str) -> str:
        return say_number(Number(figure=Decimal(text)), self.grammar.numbers)

    def number(self, number: int) -> str:
        """A small whole number as people say it: "twelve"."""
        return self._utterances.natural(str(number))

    def count(self, number: int, one: str, many: str) -> str:
        """ "no readings", "one reading", "twelve readings"."""
        if number == 0:
            return f"no {many}"
        return f"{self.number(number)} {one if number == 1 else many}"
