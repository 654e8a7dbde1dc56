"""Units: exact decimal factors within one dimension, and never across two.

The symbols and factors are those of ``grammars/units.toml`` (a test holds the two together).
"""

from decimal import Decimal

from voicelog.errors import InputError

FACTORS: dict[str, tuple[str, Decimal]] = {  # symbol: (dimension, base units in one of these)
    "ohm": ("resistance", Decimal(1)),
    "kohm": ("resistance", Decimal(1_000)),
    "Mohm": ("resistance", Decimal(1_000_000)),
    "Gohm": ("resistance", Decimal(1_000_000_000)),
    "uA": ("current", Decimal("0.000001")),
    "mA": ("current", Decimal("0.001")),
    "A": ("current", Decimal(1)),
    "kA": ("current", Decimal(1_000)),
    "mV": ("voltage", Decimal("0.001")),
    "V": ("voltage", Decimal(1)),
    "ms": ("time", Decimal("0.001")),
    "s": ("time", Decimal(1)),
    "": ("count", Decimal(1)),  # of what is only counted
}


def dimension(unit: str) -> str:
    """The dimension of a unit symbol; InputError for a symbol that is not known."""
    if unit not in FACTORS:
        raise InputError(f"the unit {unit!r} is not known.", do=f"Use one of: {', '.join(filter(None, FACTORS))}.")
    return FACTORS[unit][0]


def convert(figure: Decimal, unit: str, wanted: str) -> Decimal:
    """``figure`` in ``unit`` as so many ``wanted``, exactly; InputError when the dimensions differ."""
    if dimension(unit) != dimension(wanted):
        raise InputError(
            f"{dimension(unit)} cannot be given as {dimension(wanted)}.",
            where=f"{figure} {unit or '(no unit)'}",
            do=f"Say the value in {wanted or 'plain figures'}.",
        )
    if unit == wanted:
        return figure
    return figure * FACTORS[unit][1] / FACTORS[wanted][1]
