"""What happens, on a terminal, line by line as it happens."""

from rich.console import Console
from rich.markup import escape

from voicelog.keeping.record import Record
from voicelog.model import Entry, EntryKind, Heard, Outcome
from voicelog.session import Watcher
from voicelog.talking.conversation import Conversation
from voicelog.talking.tones import Tone

# Never by colour alone: every tone has its own sign, every entry its own word.
_SIGNS = {Tone.PASS: "✓", Tone.FAIL: "✗", Tone.ATTENTION: "!", Tone.KEPT: "·", Tone.ASKED: "?"}
_STYLES = {Tone.PASS: "green", Tone.FAIL: "bold red", Tone.ATTENTION: "yellow", Tone.KEPT: "dim", Tone.ASKED: "cyan"}


class Screen(Watcher):
    """Prints what was heard, what was said back and what was kept."""

    def __init__(self, console: Console) -> None:
        self._console = console

    def heard(self, heard: Heard) -> None:
        if heard.texts:
            who = f"{heard.speaker}: " if heard.speaker else ""
            self._console.print(f"{_clock(heard.end_s)}  heard   {escape(who + ' '.join(heard.texts))}")

    def kept(self, entry: Entry, record: Record, talk: Conversation) -> None:
        if entry.kind in (EntryKind.STARTED, EntryKind.STOPPED):
            return
        verdict = entry.verdict
        sentence = f"  {verdict.sentence}" if verdict and verdict.outcome is not Outcome.NO_LIMIT else ""
        about = f" of entry {entry.refers}" if entry.refers else ""
        self._console.print(f"       entry {entry.number:>3}  {entry.kind.value}{about}[dim]{escape(sentence)}[/dim]")

    def spoke(self, text: str, tone: Tone | None) -> None:
        style = _STYLES.get(tone, "none")
        self._console.print(f"       said {_SIGNS.get(tone, ' ')}  [{style}]{escape(text)}[/{style}]")

    def lost(self, why: str) -> None:
        self._console.print(f"       [yellow]! {escape(why)}[/yellow]")


def _clock(seconds: float) -> str:
    minutes, tenths = divmod(round(seconds * 10), 600)  # rounded first: 59.96 is 1:00.0, never 0:60.0
    return f"{minutes:2d}:{tenths / 10:04.1f}"
