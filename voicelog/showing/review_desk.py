"""What a reviewer may do to the record. Everything is a new entry; what was there stays there.

change     a new reading in place of a line, affirmed by the reviewer's hand
answer     affirm or withdraw a line
add words  free words about a line or note
sign off   the reviewer answers for a place; refused while anything there awaits an answer
"""

import threading
from collections.abc import Callable, Sequence
from typing import Literal

from pydantic import StrictInt

from voicelog.errors import InputError
from voicelog.installation import Sheet
from voicelog.keeping.record import Line, Record, fold
from voicelog.model import Draft, Entry, EntryKind, Noun, Place, Reading, Standing, Verdict
from voicelog.showing.review_rows import WORDS_ADDED, ReviewRow, review_rows
from voicelog.showing.schedule import SIGNED_OFF, signed_off
from voicelog.showing.wording import Wording, load_wording, written

CHANGED = "changed in review"  # action in the detail of the CORRECTED entry


class Change(Noun):
    """Another value for a line."""

    line: StrictInt  # "true" is no number
    value: str  # as written: "0.27", "> 500", "over range", "LIM"
    unit: str = ""  # symbol
    reason: str


class Answer(Noun):
    """A line affirmed or withdrawn by hand."""

    line: StrictInt  # "true" is no number
    answer: Literal["affirm", "withdraw"]
    reason: str = ""


class Words(Noun):
    """Free words about a line or note."""

    line: StrictInt  # "true" is no number
    text: str
    reason: str = ""


class SignOff(Noun):
    """A place that the reviewer answers for."""

    place: str  # its key: "DB1/5"


class Stale(Exception):
    """The line is not what the reviewer saw: look again."""


class ReviewDesk:
    """The record under review. ``append`` is the journal's; may be used from several threads."""

    def __init__(
        self,
        sheet: Sheet,
        entries: Sequence[Entry],
        append: Callable[[Draft], Entry],
        reviewer: str,
        judge: Callable[[Reading], Verdict] | None = None,
        wording: Wording | None = None,
    ) -> None:
        self.sheet, self.reviewer, self.wording = sheet, reviewer, wording or load_wording()
        self._append, self._judge = append, judge
        self._one_at_a_time = threading.Lock()
        self.entries: list[Entry] = list(entries)
        self.record: Record = fold(entries)

    def rows(self) -> tuple[ReviewRow, ...]:
        return review_rows(self.entries, self.record, self.sheet, self.wording)

    @property
    def signed_off(self) -> tuple[str, ...]:
        return signed_off(self.entries)

    def entry(self, number: int) -> Entry | None:
        """An entry by its number; None when there is none."""
        return self.entries[number - 1] if 1 <= number <= len(self.entries) else None

    def change(self, change: Change) -> int:
        """Number of the new line. Raises InputError for what is no value, Stale when the line no longer counts."""
        with self._one_at_a_time:
            line = self._open_line(change.line)
            reason = _said(change.reason, "a reason")
            value = written(change.value, change.unit, line.reading.quantity, self.wording)
            reading = line.reading.model_copy(update={"value": value, "unit": change.unit})
            detail = {"action": CHANGED, "by": self.reviewer}
            draft = Draft(kind=EntryKind.CORRECTED, place=reading.place, reading=reading, refers=change.line)
            told = {"verdict": self._verdict(reading), "reason": reason, "detail": detail}
            new = self._keep(draft.model_copy(update=told))
            self._keep(Draft(kind=EntryKind.AFFIRMED, refers=new.number, detail=self._by_hand()))
            return new.number

    def answer(self, answer: Answer) -> int:
        """Number of the entry that answers. Raises Stale, or InputError when a withdrawal gives no reason."""
        with self._one_at_a_time:
            line = self._open_line(answer.line)
            if answer.answer == "affirm" and line.standing is Standing.AFFIRMED:
                raise Stale("That line was affirmed already.")
            withdraws = answer.answer == "withdraw"
            reason = _said(answer.reason, "a reason") if withdraws else answer.reason
            kind = EntryKind.WITHDRAWN if withdraws else EntryKind.AFFIRMED
            return self._keep(Draft(kind=kind, refers=answer.line, reason=reason, detail=self._by_hand())).number

    def add_words(self, words: Words) -> int:
        """Number of the entry that carries the words. Raises InputError when there are none, or no such entry."""
        with self._one_at_a_time:
            if self.entry(words.line) is None:
                raise InputError(f"there is no entry {words.line}.", do="Choose one of the list.")
            detail = {"action": WORDS_ADDED, "text": _said(words.text, "some words"), "by": self.reviewer}
            draft = Draft(kind=EntryKind.REVIEWED, refers=words.line, reason=words.reason, detail=detail)
            return self._keep(draft).number

    def sign_off(self, wish: SignOff) -> int:
        """Number of the entry that signs. Raises InputError while something there awaits an answer."""
        with self._one_at_a_time:
            place = self._place(wish.place)
            waiting = [str(line.number) for line in self.record.unconfirmed if line.reading.place.key == wish.place]
            if waiting:
                raise InputError(
                    f"line {', '.join(waiting)} awaits an answer.", where=wish.place, do="Settle it first."
                )
            detail = {"action": SIGNED_OFF, "by": self.reviewer}
            return self._keep(Draft(kind=EntryKind.REVIEWED, place=place, detail=detail)).number

    # ------------------------------------------------------------ parts

    def _open_line(self, number: int) -> Line:
        line = self.record.line(number)
        if line is None or line.number != number:
            raise InputError(f"entry {number} is no reading.", do="Choose one of the list.")
        if line.removed:
            raise Stale(f"Line {number} was {line.removed.value} meanwhile.")
        return line

    def _place(self, key: str) -> Place:
        for line in self.record.lines:
            if line.reading.place.key == key:
                return line.reading.place
        raise InputError(f"nothing was measured at {key!r}.", do="Choose one of the list.")

    def _verdict(self, reading: Reading) -> Verdict | None:
        return self._judge(reading) if self._judge else None

    def _by_hand(self) -> dict[str, str]:
        return {"action": "by hand, in review", "by": self.reviewer}

    def _keep(self, draft: Draft) -> Entry:
        entry = self._append(draft)
        self.entries.append(entry)
        self.record = self.record.with_entry(entry)
        return entry


def _said(text: str, what: str) -> str:
    text = " ".join(text.split())
    if not text:
        raise InputError(f"{what} is needed: it stays on the record beside the change.")
    return text
