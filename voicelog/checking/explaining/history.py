"""Over time: slopes within the visit, and differences from the last record."""

from collections.abc import Sequence
from decimal import Decimal

from voicelog.checking.changes import compare
from voicelog.checking.explaining.findings import Findings, Section, Statement, chains
from voicelog.checking.naming import sign
from voicelog.checking.record import Taken, figure
from voicelog.checking.trend import FEWEST, Arrival, Slope, plateau, slope, time_to
from voicelog.checking.units import convert
from voicelog.checking.verdicts import judge
from voicelog.checking.weighing import Unknown
from voicelog.model import Outcome, Reading


def trend_section(findings: Findings) -> Section:
    """Quantities read four times or more: which way they move, and whether they have settled."""
    said = [_trend(part, findings) for chain in chains(findings).values() for part in _by_watch(chain)]
    return Section(title="Over time", statements=tuple(statement for statement in said if statement is not None))


def _by_watch(chain: Sequence[Taken]) -> list[list[Taken]]:
    """Each watch apart, and what was called outside of any."""
    parts: dict[int | None, list[Taken]] = {}
    for taken in chain:
        parts.setdefault(taken.watch, []).append(taken)
    return list(parts.values())


def _trend(chain: Sequence[Taken], findings: Findings) -> Statement | None:
    plainly = [t for t in chain if t.at is not None and figure(t.reading, t.reading.unit) is not None]
    if len(plainly) < FEWEST:
        return None
    reading = plainly[-1].reading
    times = [(t.at - plainly[0].at).total_seconds() for t in plainly]
    values = [float(figure(t.reading, reading.unit)) for t in plainly]
    found = slope(times, values)
    if isinstance(found, Unknown):
        return None
    text = f"{reading.place.key} {sign(reading.quantity)}: {_slope_words(found, reading, times, values, findings)}"
    return Statement(text=text, origins=tuple(t.origin for t in plainly))


def _slope_words(
    found: Slope, reading: Reading, times: Sequence[float], values: Sequence[float], findings: Findings
) -> str:
    unit, resolution = reading.unit, float(Decimal(1).scaleb(reading.value.figure.as_tuple().exponent))
    interval = f"({found.low:+.3g} to {found.high:+.3g})"
    moved = f"{found.per_minute:+.3g} {unit} a minute {interval} over {found.readings} readings"
    if plateau(times, values, resolution):
        return f"{moved}; it has settled at about {values[-1]:g} {unit}."
    limit = judge(reading, findings.sheet, findings.edition, findings.record)
    if limit.limit is None:
        return f"{moved}."
    if limit.outcome is Outcome.FAIL:
        return f"{moved}; it is beyond its limit already."
    arrival = time_to(float(convert(limit.limit, limit.unit, unit)), found)
    if not isinstance(arrival, Arrival):
        return f"{moved}; it does not clearly move toward its limit."
    return f"{moved}; at this rate it reaches its limit in {arrival.words}."


def previous_section(findings: Findings) -> Section:
    """The differences from the last record, the most important first."""
    if findings.previous is None:
        return Section(title="Against the last record", statements=())
    origin = (findings.previous.source,)
    # As it was found is what the last record can be compared with; without an item only where there is nothing else.
    alike = tuple(taken.reading for taken in sorted(findings.taken, key=lambda taken: not taken.unplugged))
    changes = compare(findings.previous, findings.sheet, alike)
    return Section(
        title="Against the last record",
        statements=tuple(Statement(text=f"{change.sentence}.", origins=origin) for change in changes),
    )
