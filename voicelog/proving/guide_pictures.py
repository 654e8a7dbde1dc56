"""The pictures of the guide, made from a visit: the live page, the review page, and the leakage of the report."""

import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console

from voicelog.demonstration import SILENT, run_demo
from voicelog.handing_over import report_for
from voicelog.keeping.record import fold
from voicelog.keeping.storage import refusal
from voicelog.live import Page
from voicelog.model import Entry, EntryKind, Outcome
from voicelog.proving.browser import chromium, wait_for
from voicelog.showing.live_view import LiveView
from voicelog.showing.review_desk import ReviewDesk
from voicelog.showing.review_view import ReviewView
from voicelog.showing.serving import Served
from voicelog.talking.conversation import Conversation, Mode
from voicelog.visit import Visit, open_visit

if TYPE_CHECKING:
    from selenium.webdriver import Chrome

SIZE = {"width": 1200, "height": 720, "deviceScaleFactor": 0.8, "mobile": False}
READY = """!document.getElementById('one').hidden && (document.getElementById('hear').hidden ||
  (document.getElementById('wave-path').getAttribute('d') || '').length > 100)"""


def of_the_demonstration(out: Path) -> Iterator[Path]:
    """Run the demonstration in a folder of its own and picture it; each path once it is written."""
    with tempfile.TemporaryDirectory() as folder:
        run_demo(Path(folder), SILENT, Console(quiet=True))
        yield from make(Path(folder) / "job", out)


def make(job: Path, out: Path) -> Iterator[Path]:
    """live.png, review.png and leakage.svg of a job, in ``out``. DeviceError without a browser."""
    visit = open_visit(job)
    entries = visit.job.entries()
    with chromium(SIZE["width"], SIZE["height"]) as browser:
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", SIZE)
        yield _written(out / "live.png", _live(browser, visit, entries))
        yield _written(out / "review.png", _review(browser, visit, entries))
    drawn = report_for(visit.job, entries).pictures
    yield _written(out / "leakage.svg", next(p.svg for p in drawn if p.title.startswith("Earth leakage")).encode())


def _live(browser: "Chrome", visit: Visit, entries: tuple[Entry, ...]) -> bytes:
    """The page at the moment that matters: the last reading outside its limit was said back and awaits its answer."""
    called = [entry for entry in entries if entry.kind is EntryKind.CALLED and entry.verdict]
    moment = next((e for e in reversed(called) if e.verdict.outcome is Outcome.FAIL), called[-1])
    view = LiveView(visit.sheet.job.reference, lambda tap: None)
    with Served(view.app) as served:
        record = fold(entries[: moment.number])
        Page(view, visit.sheet).kept(moment, record, Conversation(mode=Mode.CONFIRMING))
        browser.get(served.url)
        wait_for(browser, "shown > 0 && !document.querySelector('.fresh')")
        taken = browser.get_screenshot_as_png()
        view.close()
    return taken


def _review(browser: "Chrome", visit: Visit, entries: tuple[Entry, ...]) -> bytes:
    """The page as it opens: what needs an ear first, with its sound where one was kept."""

    def refuse(draft: object) -> Entry:
        raise AssertionError("a picture changes nothing")

    desk = ReviewDesk(visit.sheet, entries, refuse, "the reviewer")
    with Served(ReviewView(desk, visit.job.clips if visit.job.clips.is_dir() else None).app) as served:
        browser.get(served.url)
        wait_for(browser, READY)
        return browser.get_screenshot_as_png()


def _written(path: Path, data: bytes) -> Path:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
    except OSError as error:
        raise refusal(error, path) from None
    return path
