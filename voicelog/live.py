"""The live page of a visit: what happens goes out to it, and taps come back as answers by hand."""

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console

from voicelog.hearing.ear import Hand, Pressed
from voicelog.installation import Sheet
from voicelog.keeping.record import Record
from voicelog.model import Entry, EntryKind, Heard, Place
from voicelog.session import Watcher
from voicelog.showing.live_state import LiveState, live_state
from voicelog.showing.live_view import LiveView, Tap
from voicelog.showing.serving import Served, qr_for_page, qr_for_terminal
from voicelog.showing.wording import Wording, load_wording
from voicelog.talking.conversation import Conversation, Mode
from voicelog.talking.telling import USUAL
from voicelog.talking.tones import Tone

_AWAITING = {
    Mode.CONFIRMING: "affirm, negative or correction",
    Mode.CHOOSING: "which of the two",
    Mode.NAMING: "the name of the point",
    Mode.DICTATING: "the dictation",
    Mode.STANDING_BY: "standing by: say resume",
}


class Watchers(Watcher):
    """Several watchers as one."""

    def __init__(self, *watchers: Watcher) -> None:
        self._watchers = watchers

    def heard(self, heard: Heard) -> None:
        for watcher in self._watchers:
            watcher.heard(heard)

    def kept(self, entry: Entry, record: Record, talk: Conversation) -> None:
        for watcher in self._watchers:
            watcher.kept(entry, record, talk)

    def spoke(self, text: str, tone: Tone | None) -> None:
        for watcher in self._watchers:
            watcher.spoke(text, tone)

    def lost(self, why: str) -> None:
        for watcher in self._watchers:
            watcher.lost(why)


class Page(Watcher):
    """Publishes every change to the live page."""

    def __init__(self, view: LiveView, sheet: Sheet) -> None:
        self._view, self._sheet = view, sheet
        self._wording: Wording = load_wording()
        self._record, self._state = Record(), LiveState(job=sheet.job.reference)

    def kept(self, entry: Entry, record: Record, talk: Conversation) -> None:
        self._record = record
        self._publish(
            live_state(
                self._sheet,
                record,
                self._wording,
                awaiting=_AWAITING.get(talk.mode, "a reading"),
                asks=talk.mode is Mode.CONFIRMING,
                left=tuple(_left(self._sheet, record, self._wording)),
                ended=entry.kind is EntryKind.STOPPED,
            )
        )

    def lost(self, why: str) -> None:
        self._publish(self._state.model_copy(update={"notice": why}))

    def _publish(self, state: LiveState) -> None:
        self._state = state
        self._view.publish(state)


def _left(sheet: Sheet, record: Record, wording: Wording) -> Iterator[str]:
    """The usual readings that circuits still lack, in words."""
    measured = {(line.reading.place.key, line.reading.quantity) for line in record.current}
    for board in sheet.boards:
        for circuit in board.circuits:
            key = Place(board=board.reference, circuit=circuit.number).key
            lacking = [wording.symbol(quantity) for quantity in USUAL if (key, quantity) not in measured]
            if lacking:
                yield f"circuit {circuit.number}: {', '.join(lacking)}"


@contextmanager
def served_page(sheet: Sheet, hand: "Hand[Pressed]", network: bool, console: Console) -> Iterator[Page]:
    """The page while it is served; says where. DeviceError when it cannot be."""

    def tapped(tap: Tap) -> None:
        hand.put(Pressed(tap.answer, tap.line))

    invitation: list[str] = []  # known once the page is served
    view = LiveView(sheet.job.reference, tapped, lambda: qr_for_page(invitation[0]) if invitation else "")
    with Served(view.app, network=network) as served:
        console.print(f"The page: {served.url}", markup=False)
        if served.invitation:
            invitation.append(served.invitation)
            console.print(f"For a phone on the same network:\n{qr_for_terminal(served.invitation)}", markup=False)
        try:
            yield Page(view, sheet)
        finally:
            view.close()
