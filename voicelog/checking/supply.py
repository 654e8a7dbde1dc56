"""Voltage, phase rotation, polarity: what the supply looks like at a point. Voltages V."""

from decimal import Decimal

from voicelog.checking.case import Case
from voicelog.checking.weighing import Limit, Unknown, nearest, plain
from voicelog.model import Outcome, Verdict

LINE_TO_LINE = Decimal(400) / Decimal(230)  # nominal line-to-line over line-to-neutral voltage


def voltage_window_V(
    nominal_V: Decimal, between: str, low: Decimal, high: Decimal
) -> tuple[Decimal, Decimal] | Unknown:
    """The window between two conductors: 216.2 to 253.0 V for 230 V, 376 to 440 V line to line."""
    if between not in ("L-N", "L-E", "L-L"):
        return Unknown(
            why="no limit is known between neutral and earth; a few volts under load are usual (common practice)"
        )
    nominal = nearest(nominal_V * LINE_TO_LINE, 0) if between == "L-L" else nominal_V
    return nominal * low, nominal * high


def judge_voltage(case: Case) -> Verdict:
    """A voltage against the supply window."""
    between, rule = case.reading.conditions.get("between", "L-N"), case.edition.voltage
    window = voltage_window_V(case.sheet.supply.nominal_voltage_V, between, rule.low, rule.high)
    if isinstance(window, Unknown):
        return case.unknown(window)
    low, high = (edge.normalize() for edge in window)
    limit = Limit(
        sentence=f"{plain(low)} to {plain(high)} V, {between}", source=rule.origin, unit="V", at_least=low, at_most=high
    )
    return case.against(limit)


def judge_rotation(case: Case, found: str) -> Verdict:
    """Phase rotation: 1-2-3 is expected; reversed matters to every motor behind it."""
    source = "testers show 1-2-3 as correct: an instrument maker's manual p31 [seen on a page]"
    if found == "1-2-3":
        return case.plainly(Outcome.PASS, "Phase rotation 1-2-3 as expected", source)
    advice = "Reversed, 1-2-3 expected. Where the whole installation is so, a qualified person decides"
    return case.plainly(Outcome.FAIL, advice, source)
