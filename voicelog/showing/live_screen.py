"""Between a session and the live page: whatever the session does becomes the state that viewers see."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from voicelog.installation import Sheet
from voicelog.keeping.record import Record
from voicelog.model import Entry, Heard
from voicelog.showing.live_state import live_state
from voicelog.showing.live_view import LiveView
from voicelog.showing.wording import Wording

AWAITED = {  # by what the dialogue is waiting for
    "listening": "a reading",
    "confirming": "an answer",
    "choosing": "a choice between two readings",
    "naming": "the name of the point",
    "dictating": "free words",
    "standing by": "“resume”: standing by",
}


@dataclass
class LiveScreen:
    """Watches a session: has the methods a session calls as things happen."""

    view: LiveView
    sheet: Sheet
    wording: Wording
    left: Callable[[Record], Sequence[str]] = lambda record: ()  # what has no reading yet, in words
    notice: str = ""
    record: Record = field(default_factory=Record)
    awaiting: str = AWAITED["listening"]
    ended: bool = False

    def heard(self, heard: Heard) -> None:
        """An utterance came in: nothing to show before its meaning is known."""

    def kept(self, entry: Entry, record: Record, talk: object) -> None:
        """An entry is on the journal; ``talk.mode`` says what is awaited."""
        mode = str(getattr(talk, "mode", "listening"))
        self.record, self.notice = record, ""
        self.awaiting, self.ended = AWAITED.get(mode, ""), mode == "ended"
        self._show()

    def spoke(self, text: str, tone: object) -> None:
        """Something is about to be said: the page shows what was kept, not what is said."""

    def lost(self, why: str) -> None:
        """Sound, or the room to keep it, was lost: shown until the next entry."""
        self.notice = why
        self._show()

    def _show(self) -> None:
        left = self.left(self.record)
        state = live_state(self.sheet, self.record, self.wording, self.awaiting, left, self.notice, self.ended)
        asks = self.awaiting == AWAITED["confirming"]
        self.view.publish(state if asks else state.model_copy(update={"awaits": 0}))
