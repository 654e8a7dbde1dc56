"""One reading with everything that judging it may need, and the making of its verdict."""

from dataclasses import dataclass
from decimal import Decimal

from voicelog.checking.edition import Edition
from voicelog.checking.record import Record, figure, latest_figure
from voicelog.checking.weighing import Limit, Unknown, Weighed, weigh
from voicelog.installation import Board, Circuit, Rcd, Sheet
from voicelog.model import Outcome, Place, Reading, Verdict


@dataclass(frozen=True)
class Case:
    """A reading, what is installed there, the limits, and the readings that already stand."""

    reading: Reading
    sheet: Sheet
    edition: Edition
    record: Record = ()

    @property
    def place(self) -> Place:
        return self.reading.place

    @property
    def board(self) -> Board:
        return self.sheet.board(self.place.board)

    @property
    def circuit(self) -> Circuit | None:
        return self.sheet.circuit(self.place)

    @property
    def rcd(self) -> Rcd | None:
        return self.sheet.rcd(self.place)

    @property
    def protecting_rcd(self) -> Rcd | None:
        """Its own, or the nearest one before its board."""
        return self.sheet.protecting_rcd(self.place)

    def figure(self, unit: str) -> Decimal | None:
        """The plain figure of this reading; None for >, <, over range and words."""
        return figure(self.reading, unit)

    def other(self, quantity: str, unit: str, **conditions: str) -> Decimal | None:
        """The plain figure of the last reading of another quantity at the same place, or None."""
        return latest_figure(self.record, quantity, self.place, unit, **conditions)

    def against(self, limit: Limit | Unknown) -> Verdict:
        """The verdict of weighing this reading against a limit."""
        return self.unknown(limit) if isinstance(limit, Unknown) else self.verdict(weigh(self.reading, limit), limit)

    def verdict(self, weighed: Weighed, limit: Limit) -> Verdict:
        """A verdict that carries the limit's own sentence, source, figure and edition."""
        return Verdict(
            outcome=weighed.outcome,
            sentence=sentences(limit.sentence, weighed.remark),
            source=limit.source,
            edition=self.edition.label,
            limit=limit.figure if weighed.bound is None else weighed.bound,
            unit=limit.unit,
        )

    def unknown(self, unknown: Unknown) -> Verdict:
        """No limit is known here: the verdict says why."""
        return Verdict(outcome=Outcome.NO_LIMIT, sentence=sentences(unknown.why), edition=self.edition.label)

    def plainly(self, outcome: Outcome, sentence: str, source: str = "") -> Verdict:
        """A verdict on a word or a fact, where no figure is weighed."""
        return Verdict(outcome=outcome, sentence=sentences(sentence), source=source, edition=self.edition.label)


def sentences(*parts: str) -> str:
    """Parts as sentences: each with its full stop, empty ones left out."""
    return " ".join(f"{part.rstrip('.')}." for part in parts if part)
