"""The live page follows a visit: after every line that is said, the page shows what the desk holds, and soon."""

import io
import json
import queue
import statistics
import threading
import time
import tomllib
from collections.abc import Iterator
from contextlib import contextmanager
from types import SimpleNamespace

import pytest
from rich.console import Console

from voicelog.hearing.ear import ScriptedEar
from voicelog.installation import Sheet
from voicelog.keeping.journal import read_entries
from voicelog.keeping.record import Record
from voicelog.live import Watchers, served_page
from voicelog.model import Entry, EntryKind, Number, Outcome, Standing
from voicelog.resources import data_folder
from voicelog.session import HAND, Watcher
from voicelog.talking.conversation import Conversation, Mode, Policy
from voicelog.talking.voice import SilentMouth
from voicelog.visit import open_visit
from voicelog.visiting import run

SAMPLES = data_folder("audio_samples")
SCRIPT = tomllib.loads((SAMPLES / "demo" / "script.toml").read_text(encoding="utf-8"))["line"]
END = "end of visit"
LINES = [line["says"] for line in SCRIPT if line["says"] != END] + ["circuit six polarity pass", "...", "... 20"]
LATE_MS = 100  # from the entry in the journal to the page that shows it

VERDICTS = {
    Outcome.PASS: ("✓", "within limit"),
    Outcome.FAIL: ("✗", "outside limit"),
    Outcome.MARGINAL: ("△", "near the limit"),
    Outcome.NO_LIMIT: ("–", "no limit known"),
}
STANDING = {
    Standing.AWAITING: "not yet answered",
    Standing.AFFIRMED: "affirmed",
    Standing.UNCHALLENGED: "not challenged",
    Standing.REPLACED: "replaced",
    Standing.WITHDRAWN: "withdrawn",
}

# Every change of the page, stamped in the frame that shows it with the clock by which entries are dated.
STAMP = """window.stamps = [];
new MutationObserver(() => { const seen = lastSeen;
  requestAnimationFrame(() => stamps.push([seen, performance.timeOrigin + performance.now()])); })
  .observe(document.querySelector('main'), {subtree: true, childList: true, characterData: true, attributes: true});"""
SEEN = """const words = (id) => document.getElementById(id).textContent;
const shown = (id) => document.getElementById(id).hidden ? '' : words(id);
return {event: lastSeen, value: words('value'), place: words('place'), name: words('name'),
  sign: words('sign'), verdict: words('verdict'),
  limit: words('limit'), standing: words('standing'), awaiting: words('awaiting'), caution: shown('caution'),
  last: [...document.querySelectorAll('#last li')].map((li) => [...li.children].map((s) => s.textContent)),
  asks: !document.querySelector('[data-answer=affirm]').disabled}"""


class Desk(Watcher):
    """What the session said at each entry, in order."""

    def __init__(self) -> None:
        self.seen: list[tuple[Entry, Record, Conversation]] = []

    def kept(self, entry: Entry, record: Record, talk: Conversation) -> None:
        self.seen.append((entry, record, talk))


class Lines:
    """Lines given one by one: the next only when it is asked for from outside."""

    def __init__(self) -> None:
        self.wanted, self._given = threading.Semaphore(0), queue.Queue()

    def say(self, line: str) -> None:
        self._given.put(line)
        assert self.wanted.acquire(timeout=10)  # the session has dealt with it and wants the next

    def end(self) -> None:
        self._given.put(None)

    def __iter__(self):
        try:
            self.wanted.release()
            while (line := self._given.get(timeout=30)) is not None:
                yield line
                self.wanted.release()
        finally:
            self.wanted.release()


@contextmanager
def visit_under_way(browser, tmp_path) -> Iterator[SimpleNamespace]:
    """A visit that waits for its next line, its page open in the browser."""
    from tests.showing.browser import complaints, requested, wait_for

    (tmp_path / "job.toml").write_bytes((SAMPLES / "demo" / "job.toml").read_bytes())
    opened, lines, desk, told = open_visit(tmp_path), Lines(), Desk(), Console(record=True, file=io.StringIO())
    hand: queue.SimpleQueue = queue.SimpleQueue()
    with served_page(opened.sheet, hand, False, told) as page:
        requested(browser), complaints(browser)
        address = told.export_text().split()[2]
        watcher = Watchers(page, desk)
        session = threading.Thread(
            target=run, args=(opened, ScriptedEar(lines, hand), SilentMouth(), Policy.EVERY, watcher), daemon=True
        )
        session.start()
        assert lines.wanted.acquire(timeout=10)
        browser.get(address)
        wait_for(browser, "lastSeen !== ''")
        browser.execute_script(STAMP)
        yield SimpleNamespace(lines=lines, desk=desk, sheet=opened.sheet, address=address, session=session)
        lines.end()
        session.join(10)


@pytest.fixture
def visit(browser, tmp_path):
    with visit_under_way(browser, tmp_path) as visit:
        yield visit
    browser.get("about:blank")


def value_of(entry: Entry) -> str:
    value = entry.reading.value
    if not isinstance(value, Number):
        return {"pass": "pass", "fail": "fail"}[value.word]
    return f"{value.comparison.value} {value.figure}".removeprefix("= ")


def name_of(entry: Entry, sheet: Sheet) -> str:
    place = entry.reading.place
    return sheet.board(place.board).circuit(place.circuit).name if place.circuit else ""


def where(entry: Entry) -> str:
    place = entry.reading.place
    return f"circuit {place.circuit}" if place.circuit else place.rcd or "at the board"


def same(page: dict, visit: SimpleNamespace) -> None:
    """The page against the last entry, record and conversation; nothing of the page's own code is asked."""
    entry, record, talk = visit.desk.seen[-1]
    asked = {Mode.CONFIRMING: "affirm, negative or correction"}.get(talk.mode, "a reading")
    assert page["awaiting"] == f"Awaiting {asked}."
    assert page["asks"] == (talk.mode is Mode.CONFIRMING)
    if not record.lines:
        return
    now, *before = reversed(record.lines[-6:])
    assert (page["value"], page["place"]) == (value_of(now.entry), where(now.entry))
    assert page["name"].lower() == name_of(now.entry, visit.sheet).lower()
    assert (page["sign"], page["verdict"]) == VERDICTS[now.verdict.outcome]
    assert page["limit"] == now.verdict.sentence
    assert (page["standing"], page["caution"]) == (STANDING[now.standing], now.verdict.caution)
    assert len(page["last"]) == len(before)
    for (place, value, tail), line in zip(page["last"], before, strict=True):
        assert place.split(",")[0] == where(line.entry) and value.startswith(value_of(line.entry))
        assert " ".join(VERDICTS[line.verdict.outcome]) in tail and STANDING[line.standing] in tail


def test_the_page_follows_a_visit_line_by_line_within_a_tenth_of_a_second(browser, visit):
    """The demonstration's script and a reading left unanswered, said as fast as the page can be read back: some 3 s."""
    from tests.showing.browser import complaints, requested, wait_for

    for line in LINES:
        before = len(visit.desk.seen)
        visit.lines.say(line)
        wait_for(browser, f"lastSeen.endsWith('-{len(visit.desk.seen)}')")
        assert len(visit.desk.seen) >= before
        same(browser.execute_script(SEEN), visit)
    took = sorted(_took_ms(browser, visit.desk.seen[1:]))
    print(json.dumps({"entries": len(took), "median_ms": statistics.median(took), "slowest_ms": took[-1]}))
    assert len(took) == len(visit.desk.seen) - 1 > 30
    assert statistics.median(took) < LATE_MS
    assert all(address.startswith(visit.address.split("?")[0]) for address in requested(browser))
    assert complaints(browser) == []


def _took_ms(browser, seen) -> list[float]:
    """From the date of each entry to the first frame in which the page shows it."""
    stamps: dict[int, float] = {}
    for event, at_ms in browser.execute_script("return stamps"):
        stamps.setdefault(int(event.split("-")[1]), at_ms)
    shown_ms = lambda number: min(at for event, at in stamps.items() if event >= number)  # noqa: E731
    return [shown_ms(entry.number) - entry.at.timestamp() * 1000 for entry, _, _ in seen]


@pytest.mark.parametrize(
    ("tap", "kinds", "standing"),
    [("affirm", ["affirmed"], Standing.AFFIRMED), ("negative", ["withdrawn"], Standing.WITHDRAWN)],
)
def test_a_tap_is_the_answer_and_the_journal_says_so(browser, visit, tmp_path, tap, kinds, standing):
    from tests.showing.browser import wait_for

    visit.lines.say("circuit one polarity pass")
    wait_for(browser, "document.getElementById('value').textContent === 'pass'")
    browser.find_element("css selector", f"[data-answer={tap}]").click()
    wait_for(browser, "document.getElementById('tapped').textContent.startsWith('Sent')")
    visit.lines.say("")  # nothing is said: a session that waits looks for taps now and then
    wait_for(browser, f"document.getElementById('standing').textContent === '{STANDING[standing]}'")
    called, *after = read_entries(tmp_path)[1:]
    assert [entry.kind.value for entry in after] == kinds
    assert after[0].refers == called.number and after[0].speaker == HAND


@pytest.mark.parametrize("last", [END, ""], ids=["ended by voice", "no more lines"])
def test_the_end_of_the_visit_shows_on_the_page_and_nothing_is_told_on_the_terminal(browser, tmp_path, capfd, last):
    from tests.showing.browser import complaints, wait_for

    with visit_under_way(browser, tmp_path) as visit:
        visit.lines.say("circuit one polarity pass")
        if last:
            visit.lines.say(last)
        began = time.monotonic()
    assert time.monotonic() - began < 5  # the open page does not hold the program up
    wait_for(browser, "document.getElementById('awaiting').textContent === 'The session has ended.'")
    wait_for(browser, "stream.readyState === EventSource.CLOSED")
    assert [entry.kind for entry, _, _ in visit.desk.seen[-1:]] == [EntryKind.STOPPED]
    assert capfd.readouterr().err == "" and complaints(browser) == []
