"""What one glance must tell: the value now, what it is judged by, what is awaited, what came before, what is left."""

from collections.abc import Sequence
from datetime import tzinfo

from voicelog.installation import Sheet
from voicelog.keeping.record import Line, Record
from voicelog.model import Noun, Number, Standing
from voicelog.showing.log_page import VERDICT_CSS
from voicelog.showing.wording import (
    STANDING_WORDS,
    VERDICT_SIGNS,
    VERDICT_WORDS,
    Wording,
    circuit_name,
    plain_value,
)

LAST = 5  # lines shown below the value


class LiveLine(Noun):
    """One reading as a screen shows it; every text is ready to be read."""

    number: int  # of its journal entry: an answer names it
    time: str
    place: str  # "circuit 5", "RCD1", "the board"
    name: str  # "stage right sockets"
    quantity: str
    symbol: str
    value: str  # without its unit
    unit: str
    limit: str  # the limit's own sentence; empty when there is none
    caution: str
    outcome: str  # "pass", "marginal", "fail", "none": picks the shape of the badge
    sign: str
    verdict: str  # words
    standing: str


class LiveState(Noun):
    """All that a viewer sees at one moment."""

    job: str
    awaiting: str = ""  # what the program waits for, in words
    awaits: int = 0  # number of the reading that awaits an answer; 0 when none does
    now: LiveLine | None = None
    last: tuple[LiveLine, ...] = ()  # before ``now``, latest first
    left: tuple[str, ...] = ()  # what has no reading yet, in words
    left_count: int = 0
    notice: str = ""  # sound lost, disk full: must be seen
    ended: bool = False


def live_state(
    sheet: Sheet,
    record: Record,
    wording: Wording,
    awaiting: str = "",
    left: Sequence[str] = (),
    notice: str = "",
    ended: bool = False,
    zone: tzinfo | None = None,
    asks: bool = True,
) -> LiveState:
    """The state after the last entry of ``record``.

    ``left``: what is still to be measured, in words. ``asks``: whether the session waits for an answer now;
    a reading that was left unanswered takes none by hand.
    """
    shown = [live_line(line, sheet, wording, zone) for line in reversed(record.lines[-LAST - 1 :])]
    waiting = record.lines[-1] if record.lines and record.lines[-1].standing is Standing.AWAITING else None
    return LiveState(
        job=sheet.job.reference,
        awaiting=awaiting or ("an answer" if waiting else "a reading"),
        awaits=waiting.number if waiting and asks and not ended else 0,
        now=shown[0] if shown else None,
        last=tuple(shown[1:]),
        left=tuple(left),
        left_count=len(left),
        notice=notice,
        ended=ended,
    )


def live_line(line: Line, sheet: Sheet, wording: Wording, zone: tzinfo | None = None) -> LiveLine:
    """One line of the record as a screen shows it."""
    reading, verdict = line.reading, line.verdict
    place = reading.place
    return LiveLine(
        number=line.number,
        time=f"{line.entry.at.astimezone(zone):%H:%M:%S}",
        place=_place(line, sheet),
        name=circuit_name(place, sheet),
        quantity=wording.quantity(reading.quantity, reading.conditions),
        symbol=wording.symbol(reading.quantity),
        value=plain_value(reading.value),
        unit=wording.unit(reading.unit) if isinstance(reading.value, Number) else "",
        limit=verdict.sentence if verdict else "",
        caution=verdict.caution if verdict else "",
        outcome=VERDICT_CSS[verdict.outcome] if verdict else "none",
        sign=VERDICT_SIGNS[verdict.outcome] if verdict else "",
        verdict=VERDICT_WORDS[verdict.outcome] if verdict else "",
        standing=STANDING_WORDS[line.standing],
    )


def _place(line: Line, sheet: Sheet) -> str:
    """The board is named only where there is more than one."""
    place = line.reading.place
    board = f"{place.board} " if len(sheet.boards) > 1 else ""
    return board + (f"circuit {place.circuit}" if place.circuit else place.rcd or "at the board")
