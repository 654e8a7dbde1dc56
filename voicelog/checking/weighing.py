"""Weigh a value against a limit: what >, < and over range leave open is said, never guessed.

A comparison that the limit cannot settle is "cannot tell": marginal, never a pass.
"""

from decimal import ROUND_DOWN, ROUND_HALF_UP, Decimal

from voicelog.checking.units import convert
from voicelog.model import Comparison, Noun, Number, OpenCircuit, Outcome, OverRange, Reading

WORST_FIRST = (Outcome.FAIL, Outcome.MARGINAL, Outcome.NO_LIMIT, Outcome.PASS)


class Unknown(Noun):
    """There is no limit to weigh against, and why."""

    why: str


class Limit(Noun):
    """One limit that can say itself. Figures are in ``unit``."""

    sentence: str
    source: str
    unit: str = ""
    at_least: Decimal | None = None
    at_most: Decimal | None = None
    watch_below: Decimal | None = None  # passes, and marginal below this
    watch_above: Decimal | None = None  # passes, and marginal above this
    watch_says: str = "close to the limit"  # why a value beyond the watch figure is looked at twice

    @property
    def figure(self) -> Decimal | None:
        """The figure a person is told: the upper limit when there is one."""
        return self.at_most if self.at_most is not None else self.at_least


class Weighed(Noun):
    """The outcome, and what has to be said beside the limit's own sentence."""

    outcome: Outcome
    remark: str = ""
    bound: Decimal | None = None  # the figure that it turned on; None leaves it to the limit


def weigh(reading: Reading, limit: Limit) -> Weighed:
    """Weigh a number, over range or open circuit; InputError when the unit's dimension differs."""
    value = reading.value
    if isinstance(value, Number):
        return _weigh_number(convert(value.figure, reading.unit, limit.unit), value.comparison, limit)
    if isinstance(value, OverRange | OpenCircuit):
        return _weigh_boundless(value, limit)
    raise TypeError(f"{value.kind} cannot be weighed against a figure")


def _weigh_number(figure: Decimal, comparison: Comparison, limit: Limit) -> Weighed:
    parts = []
    if limit.at_most is not None:
        parts.append(_against_most(figure, comparison, limit))
    if limit.at_least is not None:
        parts.append(_against_least(figure, comparison, limit))
    return worst(parts)


def _against_most(figure: Decimal, comparison: Comparison, limit: Limit) -> Weighed:
    most, watch = limit.at_most, limit.watch_above
    failed = Weighed(outcome=Outcome.FAIL, bound=most)
    if comparison is Comparison.ABOVE:
        return failed if figure >= most else _cannot_tell(figure, comparison, limit)
    if figure > most:
        return failed if comparison is Comparison.EQUAL else _cannot_tell(figure, comparison, limit)
    if watch is not None and figure > watch:
        return Weighed(outcome=Outcome.MARGINAL, remark=_watched("Above", watch, limit))
    return Weighed(outcome=Outcome.PASS)


def _against_least(figure: Decimal, comparison: Comparison, limit: Limit) -> Weighed:
    least, watch = limit.at_least, limit.watch_below
    failed = Weighed(outcome=Outcome.FAIL, bound=least)
    if comparison is Comparison.BELOW:
        return failed if figure <= least else _cannot_tell(figure, comparison, limit)
    if figure < least:
        return failed if comparison is Comparison.EQUAL else _cannot_tell(figure, comparison, limit)
    if watch is not None and figure < watch:
        return Weighed(outcome=Outcome.MARGINAL, remark=_watched("Below", watch, limit), bound=least)
    return Weighed(outcome=Outcome.PASS)


def _watched(side: str, watch: Decimal, limit: Limit) -> str:
    return f"{side} {trimmed(watch)} {limit.unit}: {limit.watch_says}"


def _cannot_tell(figure: Decimal, comparison: Comparison, limit: Limit) -> Weighed:
    remark = f"Cannot tell: {comparison.value} {plain(figure)} {limit.unit} may lie on either side of the limit"
    return Weighed(outcome=Outcome.MARGINAL, remark=remark.strip())


def _weigh_boundless(value: OverRange | OpenCircuit, limit: Limit) -> Weighed:
    name = "Over range: above the instrument's span" if isinstance(value, OverRange) else "Open circuit"
    return Weighed(outcome=Outcome.FAIL if limit.at_most is not None else Outcome.PASS, remark=name)


def worst(parts: list[Weighed]) -> Weighed:
    """The worst of several; PASS when there are none."""
    return min(parts, key=lambda part: WORST_FIRST.index(part.outcome), default=Weighed(outcome=Outcome.PASS))


def down(figure: Decimal, decimals: int = 2) -> Decimal:
    """Rounded down: the safe side of an upper limit."""
    return figure.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_DOWN)


def nearest(figure: Decimal, decimals: int = 2) -> Decimal:
    """Rounded half up, as tables print."""
    return figure.quantize(Decimal(1).scaleb(-decimals), rounding=ROUND_HALF_UP)


def trimmed(figure: Decimal) -> str:
    """A computed figure without trailing zeros or exponent."""
    return f"{figure.normalize():f}"


def plain(figure: Decimal) -> str:
    """A figure without an exponent, its trailing zeros kept as they were given."""
    return f"{figure:f}"
