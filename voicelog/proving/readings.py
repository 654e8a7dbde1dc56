"""Readings as a crew would find them on the demonstration sheet, drawn at random but consistent with each other.

R1+R2 follows from cable and length (milliohm per metre at 20 C: IEC 60228, as in shared/conductors.toml), Zs is Ze plus
that, insulation is mostly beyond what the instrument shows, trip times and leakages lie where healthy ones do (common
practice). A tenth of the figures are off by a third, so that some fail.
"""

import random
from decimal import Decimal

from voicelog.checking.continuity import predicted_r1_r2
from voicelog.installation import Board, Circuit, Sheet
from voicelog.meaning.numbers import say_number
from voicelog.model import Comparison, Number, OverRange, Place, Reading, Result
from voicelog.proving.mishearing import Utterance, Words
from voicelog.talking.phrasing import Phrasing

ZE_OHM = Decimal("0.21")
CENT, TENTH = Decimal("0.01"), Decimal("0.1")
NATURALLY = 0.5  # share of figures whose whole part is said as a number, "twenty eight point four"


def round_of(sheet: Sheet, draw: random.Random) -> tuple[Reading, ...]:
    """Every circuit of the sheet once, test by test: each place, quantity and condition comes only once."""
    circuits = ((board, circuit) for board in sheet.boards for circuit in board.circuits)
    return tuple(reading for board, circuit in circuits for reading in _circuit(board, circuit, draw))


def _circuit(board: Board, circuit: Circuit, draw: random.Random) -> tuple[Reading, ...]:
    place = Place(board=board.reference, circuit=circuit.number)
    r1_r2 = _near(_expected(circuit), draw)
    volts = {"test_voltage_V": "500"}
    readings = [
        Reading(place=place, quantity="r1_r2", value=Number(figure=r1_r2), unit="ohm"),
        _insulation(place, "ir_le", volts, draw),
        _insulation(place, "ir_ll", volts, draw),
        Reading(place=place, quantity="polarity", value=Result(word="pass")),
        Reading(place=place, quantity="zs", value=Number(figure=ZE_OHM + r1_r2), unit="ohm"),
        _figure(place, "earth_leakage", "mA", Decimal(draw.randint(5, 350)) * CENT),
    ]
    if circuit.rcd:
        time = _figure(place, "rcd_time", "ms", Decimal(draw.randint(120, 390)) * TENTH)
        readings.append(time.model_copy(update={"conditions": {"multiple": "1", "half_cycle": "0"}}))
    return tuple(readings)


def _expected(circuit: Circuit) -> Decimal:
    found = predicted_r1_r2(circuit.cable, ring=circuit.ring) if circuit.cable else None
    return found if isinstance(found, Decimal) else Decimal("0.45")


def _near(expected: Decimal, draw: random.Random) -> Decimal:
    factor = draw.uniform(0.9, 1.1) * (1.33 if draw.random() < 0.1 else 1.0)
    return max((expected * Decimal(str(factor))).quantize(CENT), CENT)


def _figure(place: Place, quantity: str, unit: str, figure: Decimal) -> Reading:
    return Reading(place=place, quantity=quantity, value=Number(figure=figure), unit=unit)


def _insulation(place: Place, quantity: str, conditions: dict[str, str], draw: random.Random) -> Reading:
    value = draw.choice(
        (
            OverRange(),
            Number(figure=Decimal(draw.choice(("200", "500", "999"))), comparison=Comparison.ABOVE),
            Number(figure=Decimal(draw.randint(15, 450))),
            Number(figure=Decimal(draw.randint(8, 199)) * TENTH),
        )
    )
    unit = "" if isinstance(value, OverRange) else "Mohm"
    return Reading(place=place, quantity=quantity, value=value, unit=unit, conditions=conditions)


def said(reading: Reading, phrasing: Phrasing, draw: random.Random) -> Utterance:
    """The reading as a person calls it: by the circuit's number, its figure digit by digit or as a number."""
    value = reading.value
    unit = phrasing.grammar.units[reading.unit].spoken if reading.unit else ""
    figure = _figure_words(value, phrasing, draw) if isinstance(value, Number) else phrasing.value(value, "")
    return Utterance(
        place=_words(phrasing.place(reading.place, with_name=False)),
        quantity=_words(phrasing.quantity(reading.quantity, reading.conditions)),
        value=_words(figure),
        unit=_words(unit),
    )


def _figure_words(number: Number, phrasing: Phrasing, draw: random.Random) -> str:
    digits = say_number(number, phrasing.grammar.numbers)
    whole, _, rest = str(number.figure).partition(".")
    if len(whole) != 2 or draw.random() > NATURALLY:
        return digits
    before = digits.split(" ".join(phrasing.grammar.numbers.spoken_digit[d] for d in whole))[0]
    decimals = f" point {' '.join(phrasing.grammar.numbers.spoken_digit[d] for d in rest)}" if rest else ""
    return f"{before}{phrasing.number(int(whole))}{decimals}"


def _words(text: str) -> Words:
    return tuple(text.replace(",", " ").split())
