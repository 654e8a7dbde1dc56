"""What a reviewer goes through: every reading, refusal and note, those that need an ear first."""

from collections.abc import Sequence
from datetime import tzinfo
from typing import Any

from voicelog.installation import Sheet
from voicelog.keeping.clips import is_trace
from voicelog.keeping.record import Line, Record
from voicelog.model import (
    Called,
    Command,
    Entry,
    EntryKind,
    Meaning,
    NotUnderstood,
    Noun,
    Number,
    Outcome,
    Place,
    Standing,
)
from voicelog.showing.log_page import VERDICT_CSS
from voicelog.showing.wording import (
    STANDING_WORDS,
    VERDICT_SIGNS,
    VERDICT_WORDS,
    Wording,
    plain_value,
)

NEAR_MARGIN = 6.0  # nats; below it the second guess is told as a reason to listen. It orders, it decides nothing
WORDS_ADDED = "words"  # action in the detail of a REVIEWED entry: free words about what it refers to
CORRECTING = (EntryKind.CORRECTED, EntryKind.WITHDRAWN, EntryKind.RESTORED)


class ReviewRow(Noun):
    """One row; every text is ready to be read."""

    number: int
    kind: str  # "reading", "refused", "noted"
    time: str
    place: str
    place_key: str
    name: str  # place in full words
    quantity: str
    quantity_key: str = ""
    value: str  # without its unit, as it would be typed
    unit: str = ""  # symbol, as kept
    unit_print: str = ""
    heard: str
    said_back: str = ""
    standing: str = ""
    settled: bool = True  # answered, or in no need of an answer
    counts: bool = False  # stands on the record
    gone: bool = False  # replaced or withdrawn
    corrected: bool = False  # a correction, or corrected since
    outcome: str = "none"
    sign: str = ""
    verdict: str = ""
    limit: str = ""
    source: str = ""
    caution: str = ""
    margin: float | None = None  # nats to the second guess; None when there was none
    second_guess: str = ""
    listen: tuple[str, ...] = ()  # why it needs an ear; empty when it does not
    rank: float = 0.0  # the smaller the earlier in "needs an ear first"
    sound: bool = False
    no_sound: str = ""
    speaker: str = ""
    story: tuple[str, ...] = ()  # what became of it, in order


def review_rows(
    entries: Sequence[Entry], record: Record, sheet: Sheet, wording: Wording, zone: tzinfo | None = None
) -> tuple[ReviewRow, ...]:
    """A row for each reading, refusal and note, in the order they happened."""
    removed = {e.refers for e in entries if is_trace(e)}
    names, current = _Names(sheet, wording), {line.number for line in record.current}
    rows = []
    for entry in entries:
        line, sound = record.line(entry.number), _sound(entry, removed)
        if line is not None and line.number == entry.number:
            rows.append(_reading(line, why_listen(line, line.number in current), names, wording, zone, sound))
        elif entry.kind in (EntryKind.REFUSED, EntryKind.NOTED):
            rows.append(_other(entry, names, zone, sound))
    return tuple(rows)


def why_listen(line: Line, is_current: bool) -> tuple[str, ...]:
    """Why a reading should be heard again before it is signed; no reason when it was removed or retested since."""
    entry, reasons = line.entry, []
    if line.removed:
        return ()
    if line.standing is Standing.AWAITING:
        reasons.append("it was never answered")
    elif not is_current:
        return ()
    if line.standing is Standing.UNCHALLENGED:
        reasons.append("nobody affirmed it")
    if entry.margin is not None and entry.margin < NEAR_MARGIN:
        reasons.append("the second guess is near")
    if line.verdict and line.verdict.outcome is Outcome.FAIL:
        reasons.append("it is outside its limit")
    return tuple(reasons)


class _Names:
    """Places in words; each is worked out once."""

    def __init__(self, sheet: Sheet, wording: Wording) -> None:
        self._sheet, self._wording, self._known = sheet, wording, {}
        self._several = len(sheet.boards) > 1

    def full(self, place: Place | None) -> str:
        key = place.key if place else ""
        if key not in self._known:
            self._known[key] = self._wording.place(place, self._sheet)
        return self._known[key]

    def short(self, place: Place | None) -> str:
        if place is None:
            return ""
        board = f"{place.board} " if self._several else ""
        return board + (place.circuit or place.rcd or "board")

    def meaning(self, meaning: Meaning | None) -> str:
        """A second guess, in words."""
        match meaning:
            case Called():
                value = self._wording.value(meaning.value, meaning.unit) if meaning.value else ""
                what = self._wording.symbol(meaning.quantity) if meaning.quantity else ""
                return " ".join(filter(None, (self.short(meaning.place), what, value)))
            case Command():
                return f"{meaning.name.replace('_', ' ')} {self.meaning(meaning.called)}".strip()
            case NotUnderstood():
                return meaning.why
        return ""


def _reading(
    line: Line, listen: tuple[str, ...], names: _Names, wording: Wording, zone: tzinfo | None, sound: dict[str, Any]
) -> ReviewRow:
    entry, reading, verdict = line.entry, line.reading, line.verdict
    return ReviewRow(
        number=entry.number,
        kind="reading",
        time=f"{entry.at.astimezone(zone):%H:%M:%S}",
        place=names.short(reading.place),
        place_key=reading.place.key,
        name=names.full(reading.place),
        quantity=wording.quantity(reading.quantity, reading.conditions),
        quantity_key=reading.quantity,
        value=plain_value(reading.value),
        unit=reading.unit,
        unit_print=wording.unit(reading.unit) if isinstance(reading.value, Number) else "",
        heard=" ".join(entry.words),
        said_back=entry.said_back,
        standing=STANDING_WORDS[line.standing],
        settled=line.standing is not Standing.AWAITING,
        counts=line.stands,
        gone=line.removed is not None,
        corrected=any(e.kind in CORRECTING for e in line.history),
        outcome=VERDICT_CSS[verdict.outcome] if verdict else "none",
        sign=VERDICT_SIGNS[verdict.outcome] if verdict else "",
        verdict=VERDICT_WORDS[verdict.outcome] if verdict else "not judged",
        limit=verdict.sentence if verdict else "",
        source=verdict.source if verdict else "",
        caution=verdict.caution if verdict else "",
        margin=entry.margin,
        second_guess=names.meaning(entry.rival),
        listen=listen,
        rank=_rank(bool(listen), not line.removed and line.standing is Standing.AWAITING, entry.margin),
        speaker=entry.speaker,
        story=tuple(_told(e) for e in line.history),
        **sound,
    )


def _noted(entry: Entry) -> str:
    """What was noted: "observation", "unplugged tea urn"."""
    return f"{entry.detail.get('kind', 'note')} {entry.detail.get('item', '')}".strip()


def _other(entry: Entry, names: _Names, zone: tzinfo | None, sound: dict[str, Any]) -> ReviewRow:
    refused = entry.kind is EntryKind.REFUSED
    unverified = entry.detail.get("words") == "unverified"
    listen = ("it made no reading",) if refused else ("its words are unverified",) if unverified else ()
    return ReviewRow(
        number=entry.number,
        kind="refused" if refused else "noted",
        time=f"{entry.at.astimezone(zone):%H:%M:%S}",
        place=names.short(entry.place),
        place_key=entry.place.key if entry.place else "",
        name=names.full(entry.place),
        quantity="not taken" if refused else _noted(entry),
        value=entry.detail.get("code", ""),
        heard=" ".join(entry.words),
        said_back=entry.said_back or entry.detail.get("why", ""),
        margin=entry.margin,
        second_guess=names.meaning(entry.rival),
        listen=listen,
        rank=_rank(bool(listen), False, entry.margin),
        speaker=entry.speaker,
        story=(_told(entry),),
        **sound,
    )


def _rank(listens: bool, unanswered: bool, margin: float | None) -> float:
    """Unanswered first, then what has reasons to be heard, nearest second guess first, then the rest."""
    order = 0 if unanswered else 1 if listens else 2
    return order * 1e6 + min(1e5, 1e5 if margin is None else margin)


def _sound(entry: Entry, removed: set[int | None]) -> dict[str, Any]:
    if not entry.clip:
        return {"sound": False, "no_sound": "no sound was kept"}
    gone = entry.number in removed
    return {"sound": not gone, "no_sound": "the sound was removed" if gone else ""}


def _told(entry: Entry) -> str:
    """One entry of a line's history."""
    by = f" by {entry.detail['by']}" if entry.detail.get("by") else ""
    why = f": {entry.reason}" if entry.reason else ""
    words = f" “{entry.detail['text']}”" if entry.detail.get("action") == WORDS_ADDED else ""
    what = entry.detail.get("action") or entry.kind.value
    return f"line {entry.number}: {what}{words}{by}{why}"
