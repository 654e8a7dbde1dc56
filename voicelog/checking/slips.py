"""Slips of the decimal point and of the unit: a figure that is 10, 100 or 1000 times another. Pure figures."""

from decimal import Decimal
from typing import Literal

from voicelog.model import Noun

CLOSE = Decimal("0.20")  # how far a ratio may lie from a power of ten and still look like one (common practice)


class Slip(Noun):
    """How one figure would have to be moved to agree with another."""

    kind: Literal["decimal", "unit"]
    power: int  # the called figure is 10 ** power times the expected one

    @property
    def sentence(self) -> str:
        """What it looks like, in words."""
        size = f"{10 ** abs(self.power)} times {'more' if self.power > 0 else 'less'}"
        cause = "the decimal point" if self.kind == "decimal" else "the unit"
        return f"{size}: perhaps {cause}"


def slip_between(called: Decimal, expected: Decimal, close: Decimal = CLOSE) -> Slip | None:
    """A slip when ``called`` is nearly a power of ten times ``expected``; None when it is not.

    One or two places look like the decimal point, three or six like a unit.
    """
    if called <= 0 or expected <= 0:
        return None
    ratio = called / expected
    power = _nearest_power(ratio)
    if power == 0 or abs(ratio / Decimal(10) ** power - 1) > close:
        return None
    if abs(power) in (1, 2):
        return Slip(kind="decimal", power=power)
    return Slip(kind="unit", power=power) if abs(power) in (3, 6) else None


def same_digits(one: Decimal, other: Decimal) -> bool:
    """Whether two figures differ only by where the decimal point stands."""
    return _digits(one) == _digits(other)


def _digits(figure: Decimal) -> str:
    return "".join(map(str, figure.as_tuple().digits)).strip("0")


def _nearest_power(ratio: Decimal) -> int:
    return int(ratio.log10().to_integral_value())
